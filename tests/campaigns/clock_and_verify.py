"""The soak clock, reading by reading, beside ``verify`` of the same record, on runs of all kinds.

Run it: ``python tests/campaigns/clock_and_verify.py [RUNS [FIRST_SEED]]`` (200 from seed 0 by default; some two seconds
a run). ``tests/test_clock_and_verify.py`` is its short form.
"""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.clock_agreement import tally_of
from tests.clock_runs import clock_run

COUNTED = ("runs", "complete told", "passes", "distances")
TROUBLES = (
    "complete although verify fails",
    "never complete although verify passes",
    "piece unknown to the clock",
    "no readings",
)


def main() -> None:
    """Print the counts, where the two differed, and how far the soaks were apart."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    tally = tally_of(clock_run(seed) for seed in range(first, first + runs))
    print(", ".join(f"{len(tally[name])} {name}" for name in COUNTED))
    for name in TROUBLES:
        print(f"  {name}: {len(tally[name])}  {tally[name][:12] or ''}")
    distances = [(abs(off_s), *which) for off_s, *which in tally["distances"]]  # type: ignore[misc]
    apart = sorted(distances, key=lambda one: one[0])
    if apart:
        quantiles = [median(off_s for off_s, *_ in apart), apart[int(0.95 * (len(apart) - 1))][0], apart[-1][0]]
        print("  soaks apart: median {:.1f} s, 95 % {:.1f} s, worst {:.1f} s".format(*quantiles))
        for off_s, *which in apart[:-11:-1]:
            print(f"    {off_s:.0f} s  {which}")


if __name__ == "__main__":
    main()
