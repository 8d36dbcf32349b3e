"""Long campaigns of the verification on random runs with known truth; short forms are among the tests.

Run it: ``python tests/campaigns/verifications.py [SOAK_RUNS [ASSIGNMENT_RUNS]]`` (300 and 400 by default).
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.soak_truth import soak_tally
from tests.synthetic import KINDS, assignment_case, wrong_holds


def main() -> None:
    """Print what went wrong, and the counts."""
    soaks = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    courses = int(sys.argv[2]) if len(sys.argv) > 2 else 400
    for wire in (None, "2"):
        print(f"{soaks} runs, {'U stated' if wire is None else 'class 2 wire, no calibration'}:")
        tally = soak_tally(range(soaks), wire=wire)
        print("  " + ", ".join(f"{name} {count}" for name, count in tally.items()))
    wrong = holds = 0
    for seed in range(courses):
        case = assignment_case(seed, KINDS[seed % len(KINDS)])
        bad = wrong_holds(case)
        holds += len(case.truth)
        wrong += len(bad)
        if bad:
            print(f"  seed {seed}, {case.kind}: holds {bad}")
    print(f"{courses} runs to assign: {holds - wrong} of {holds} holds right")


if __name__ == "__main__":
    main()
