"""Thermocouple faults of a hand that had not read the rules: is the right one named, or the test that would tell?

Run it: ``python -m tests.campaigns.foreign_diagnoses [CASES [FIRST_SEED [KIND]]]`` (200 from seed 0 by default).
"""

from __future__ import annotations

import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

from tests.campaigns.foreign_calibrations import SHOWN
from tests.foreign_diagnosis_cases import HEALTHY, KINDS, DiagnosisCase, diagnosis_case
from tests.foreign_diagnosis_entry import Diagnosed, diagnosed, tells

# a name that says the same of the circuit in other words
SAME = {
    ("tip moved", "place difference"),
    ("place difference", "tip moved"),
    ("coarse display", "healthy, scatter"),
}
OUTCOMES = (
    "named right",
    "right first, cannot tell",
    "cannot tell, test tells",
    "cannot tell, test does not tell",
    "cannot tell, right one not among",
    "says that no cause fits",
    "wrong alone",
    "refused",
)
GOOD = OUTCOMES[:3]


def judged(case: DiagnosisCase, found: Diagnosed) -> str:
    """Which of the outcomes it is."""

    def right(cause: str | None) -> bool:
        return cause == case.truth.kind or (case.truth.kind, cause) in SAME

    if found.refused:
        return "refused"
    if found.cause is not None:
        return "named right" if right(found.cause) else "wrong alone"
    if not found.between:
        return "says that no cause fits"
    if not any(right(cause) for cause in found.between):
        return "cannot tell, right one not among"
    if right(found.first):
        return "right first, cannot tell"
    return "cannot tell, test tells" if tells(case, found) else "cannot tell, test does not tell"


def healthy_blamed(case: DiagnosisCase, found: Diagnosed) -> bool:
    """Whether a sound circuit is said to have a fault, and nothing else."""
    return case.truth.kind in HEALTHY and judged(case, found) == "wrong alone"


Tally = dict[str, dict[str, list[int]]]


def tally_of(seeds: Iterable[int], kind: str | None = None) -> tuple[Tally, list[str]]:
    """Seeds by kind and outcome, and a line for each case that went wrong."""
    tally: Tally = defaultdict(lambda: defaultdict(list))
    lines = []
    for seed in seeds:
        case = diagnosis_case(seed, kind)
        with tempfile.TemporaryDirectory() as folder:
            found = diagnosed(case, Path(folder))
        told = judged(case, found)
        tally[case.truth.kind][told].append(seed)
        if healthy_blamed(case, found):
            tally[case.truth.kind]["healthy named a fault"].append(seed)
        if told not in GOOD:
            lines.append(f"{seed} {case.truth.kind} ({case.truth.form}) {told}: {found.words[:150]}")
    return tally, lines


def main(cases: int = 200, first: int = 0, kind: str | None = None) -> int:
    """Print the counts with the seeds of what went wrong."""
    tally, lines = tally_of(range(first, first + cases), kind)
    print("\n".join(lines))
    for name in KINDS:
        if name in tally:
            found = tally[name]
            whole = sum(len(found[told]) for told in OUTCOMES)
            good = sum(len(found[told]) for told in GOOD)
            print(f"{name}: {good} of {whole} good")
            for told in (*OUTCOMES, "healthy named a fault"):
                if found[told]:
                    seeds = "" if told in GOOD else "   " + " ".join(map(str, found[told][:SHOWN]))
                    print(f"  {told:34} {len(found[told])}{seeds}")
    totals = {told: sum(len(found[told]) for found in tally.values()) for told in OUTCOMES}
    sound = sum(len(found[told]) for name, found in tally.items() if name in HEALTHY for told in OUTCOMES)
    blamed = sum(len(found["healthy named a fault"]) for found in tally.values())
    print(f"all {cases}: good {100 * sum(totals[told] for told in GOOD) / cases:.1f} %, ", end="")
    print(", ".join(f"{told} {count}" for told, count in totals.items()))
    print(f"healthy named a fault: {blamed} of {sound}")
    return 0


if __name__ == "__main__":
    cases, first = [*map(int, sys.argv[1:3]), *(200, 0)[len(sys.argv[1:3]) :]]
    sys.exit(main(cases, first, sys.argv[3] if len(sys.argv) > 3 else None))
