"""Calibrations by a hand that had not read the rules: does the U that is stated cover, and is what contradicts stopped?

Run it: ``python -m tests.campaigns.foreign_calibrations [CASES [FIRST_SEED [KIND]]]`` (200 from seed 0 by default).
"""

from __future__ import annotations

import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.foreign_calibration_cases import CONTRADICTIONS, JUDGED_LATER, KINDS, CalibrationCase, calibration_case
from tests.foreign_calibration_entry import Answer, entered
from tests.foreign_chains import Chain

READINGS = 9  # places along the correction at which it is compared
SHOWN = 14


@dataclass
class Count:
    """Of one kind: how many, how many of them were right, seeds of the others."""

    whole: float = 0.0
    right: float = 0.0
    failing: list[int] = field(default_factory=list)

    def add(self, seed: int, right: float, whole: float = 1.0) -> None:
        """One more; the seed is kept where not all of it is right."""
        self.whole, self.right = self.whole + whole, self.right + right
        if right < whole:
            self.failing.append(seed)

    def __str__(self) -> str:
        share = f"{100.0 * self.right / self.whole:5.1f} %" if self.whole else "    -  "
        seeds = " ".join(map(str, self.failing[:SHOWN])) + (" ..." if len(self.failing) > SHOWN else "")
        return f"{self.right:g} of {self.whole:g} {share}" + (f"   not: {seeds}" if seeds else "")


Tally = dict[tuple[str, str], Count]


def stretches_covered(answer: Answer, chain: Chain) -> tuple[int, int]:
    """How many of the stretches have the true error within U, and how many there are."""
    inside = [abs(s.error_c - float(chain.error_c(s.reference_c))) <= s.expanded_c for s in answer.stretches]
    return sum(inside), len(inside)


def correction_covered(answer: Answer, chain: Chain) -> tuple[int, int]:
    """The same at places along the correction, over all of the range in which it is stated."""
    assert answer.table is not None
    table = answer.table
    readings = np.linspace(table.reading_c[0], table.reading_c[-1], READINGS)
    correction = np.interp(readings, table.reading_c, table.correction_c)
    expanded = np.interp(readings, table.reading_c, table.expanded_c)
    true = chain.true_c(readings) - readings
    return int(np.sum(np.abs(correction - true) <= expanded)), READINGS


def later_covered(case: CalibrationCase, answer: Answer) -> bool | None:
    """Whether the judged day's correction covers what is true then; None where nothing was said to be known."""
    found = answer.later
    if found is None or found.expanded_c is None or case.later is None:
        return None
    true_c = -float(case.truth.later.error_c(case.later.judged_c))
    return abs(found.correction_c - true_c) <= found.expanded_c


def judged(case: CalibrationCase, answer: Answer, tally: Tally) -> None:
    """Enter a case's outcome into the counts."""
    kind, seed = case.kind, case.seed

    def count(what: str, right: float, whole: float = 1.0) -> None:
        tally[kind, what].add(seed, right, whole)

    count("cases", 1)
    if kind in CONTRADICTIONS:
        chains = case.truth.chains
        covered = not answer.refused and all(
            here == of
            for chain in chains
            for here, of in (stretches_covered(answer, chain), correction_covered(answer, chain))
        )
        count("stopped or covered", answer.refused or covered)
        count("stopped", answer.refused)
        count("stopped or a word said beside it", answer.refused or bool(answer.said))
        return
    if kind != "narrow check after wide":  # a check need not become a correction: the judged day counts
        count("not refused though usable", not answer.refused)
        if answer.refused:
            return
    chain = case.truth.chains[0]
    if answer.stretches:
        count("covered at stretches", *stretches_covered(answer, chain))
    if answer.table is not None:
        count("covered by the correction", *correction_covered(answer, chain))
    if kind in JUDGED_LATER:
        held = later_covered(case, answer)
        count("something known on the judged day", held is not None)
        if held is not None:
            count("covered on the judged day", held)


def tally_of(seeds: Iterable[int], kind: str | None = None) -> Tally:
    """Counts of many cases."""
    tally: Tally = defaultdict(Count)
    for seed in seeds:
        case = calibration_case(seed, kind)
        with tempfile.TemporaryDirectory() as folder:
            answer = entered(case, Path(folder))
        judged(case, answer, tally)
    return tally


def lines_of(tally: Tally) -> list[str]:
    """A block for each kind that was drawn."""
    lines = []
    for kind in KINDS:
        found = {what: count for (of, what), count in tally.items() if of == kind}
        if found:
            lines.append(f"{kind}: {found['cases'].whole:g}")
            lines += [f"  {what:34} {count}" for what, count in found.items() if what != "cases"]
    return lines


def main(cases: int = 200, first: int = 0, kind: str | None = None) -> int:
    """Print the counts with the seeds of what went wrong."""
    print("\n".join(lines_of(tally_of(range(first, first + cases), kind))))
    return 0


if __name__ == "__main__":
    cases, first = [*map(int, sys.argv[1:3]), *(200, 0)[len(sys.argv[1:3]) :]]
    sys.exit(main(cases, first, sys.argv[3] if len(sys.argv) > 3 else None))
