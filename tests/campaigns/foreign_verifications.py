"""The verification on runs of a generator whose author had not read its rules.

Run it: ``python tests/campaigns/foreign_verifications.py [RUNS [FIRST_SEED]]`` (1000 from seed 0 by default).
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.foreign_truth import foreign_tally

TROUBLES = (
    "false pass",
    "false fail",
    "false pass, not clear",
    "false fail, not clear",
    "not decided though clear",
    "standing hold called missing",
    "soak outside low..high",
    "cause named wrongly",
    "load came after the chamber left",
    "no readings",
)


def main() -> None:
    """Print the counts, and where what went wrong did."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    tally = foreign_tally(range(first, first + runs))
    print(", ".join(f"{len(tally[name])} {name}" for name in ("runs", "clear", "holds", "soaks", "causes named")))
    for name in TROUBLES:
        print(f"  {name}: {len(tally[name])}  {tally[name][:12] or ''}")


if __name__ == "__main__":
    main()
