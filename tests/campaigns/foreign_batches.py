"""Batches of small workshops by a hand that had not read the rules: is the true cause named, and nothing else?

Long form: python -m tests.campaigns.foreign_batches [CASES [FIRST]]
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.foreign_batch_entry import CAN_ENTER, audited, entered
from tests.foreign_causes import a_case
from tests.foreign_workshop import Case

# What may be said of a truth, as patterns on the name of a cause. The effect alone ("short soak" of a power cut) is
# no answer where the record shows what it came of.
RIGHT = {
    "short soak": r"short soak|program",
    "program time": r"short soak|program",
    "program temperature": r"program|too cold|too hot|setpoint",
    "sensor reads wrong": r"thermocouple|sensor|offset",
    "load late": r"lag|overload|late behind|thick|heavy",
    "power cut": r"power|mains|outage",
    "door open": r"door",
    "circuit trips": r"circuit|element|phase|power|mains|trip",
    "element dies": r"circuit|element|phase|power|mains",
    "quench late": r"quench",
    "warm plates": r"plates",
    "foil leaked": r"foil|leak|skin|surface|decarb",
    "cold late": r"cold treatment",
    "cold not done": r"cold treatment",
    "oven reads wrong": r"oven|temper(ed|ing)?\b",
    "temper not done": r"temper\b.*(missed|not done|left out)|no temper\b",
    "wrong steel": r"bar\b|steel|\blot\b",
    "new lot": r"\blot\b|bar\b|steel",
    "tester off": r"tester",
    "another operator": r"operator|person|\bhand\b",
    "part of the rack": r"place|rack",
    "hold far too long": r"too long|long soak|long hold|held long|program",
    "nowhere on record": r"(?!)",
}
MISTAKEN = {
    "setpoint 3 lower": r"program|too cold|setpoint",
    "20 s more to the plates": r"quench|plates",
    "door dip while equalising": r"door|power|short soak|interrupt",
    "gap with enough soak": r"gap|short soak|missing",
    "mains 4 % low": r"mains|element|power",
    "tester 0.9 off": r"tester",
    "temper 12 hotter": r"temper(ed|ing)?\b",
    "cold at 5 h": r"cold treatment",
    "another name on the sheet": r"operator|person|\bhand\b",
    "half a millimetre thicker": r"lag|overload|thick",
}


@dataclass(frozen=True)
class Answer:
    """What was said of a case: the causes claimed, the likeliest first."""

    case: Case
    says: str
    claimed: tuple[str, ...]

    @property
    def sort(self) -> str:
        """Class of the case; one whose evidence no command takes yet is a class of its own."""
        recorded = self.case.truth.on_record(CAN_ENTER)
        if self.case.sort in ("known", "two") and len(recorded) < len(self.case.truth.causes):
            return "cannot be entered yet"
        return self.case.sort

    def right(self, truth: str, of: Sequence[str]) -> bool:
        """Whether a cause among these says this truth."""
        pattern = RIGHT[truth] + ("|too cold" if self.case.house.shop.imported and "sensor" in truth else "")
        return any(re.search(pattern, cause) for cause in of)

    def true_in(self, count: int) -> bool:
        """Whether any true cause is among the first."""
        return any(self.right(truth, self.claimed[:count]) for truth in self.case.truth.causes)

    @property
    def by_coincidence(self) -> str | None:
        """The coincidence that is called most likely."""
        if not self.claimed or self.true_in(1):
            return None
        for name in self.case.truth.coincidences:
            if re.search(MISTAKEN[name], self.claimed[0]):
                return name
        return None


def answered(case: Case, said: dict[str, Any]) -> Answer:
    """Read the answer of ``audit --json``."""
    ranked = sorted(said["causes"], key=lambda cause: cause["rank"])
    return Answer(case, said["says"], tuple(cause["cause"].lower() for cause in ranked if cause["claimed"]))


def ask(seed: int) -> Answer:
    """Draw a case, enter it, ask."""
    case = a_case(seed)
    with tempfile.TemporaryDirectory() as folder:
        return answered(case, audited(case, entered(case, Path(folder))))


def failings(answer: Answer) -> list[str]:
    """What is wrong with an answer, by kind."""
    found = []
    causes = answer.case.truth.causes
    if answer.sort == "good":
        return ["good accused"] if answer.claimed else []
    if answer.sort in ("hidden", "cannot be entered yet"):
        if answer.claimed and not answer.true_in(1):  # a good guess is no fault
            found.append("something claimed")
    elif answer.sort == "known":
        found += [kind for kind, count in (("not first", 1), ("not in two", 2)) if not answer.true_in(count)]
    elif not all(answer.right(cause, answer.claimed[:3]) for cause in causes):
        found.append("not both in three")
    if answer.sort in ("known", "two") and not answer.claimed:
        found.append("silent")
    if answer.case.truth.coincidences and answer.by_coincidence:
        found.append(f"coincidence: {answer.by_coincidence}")
    return found


def tally(seeds: Sequence[int]) -> tuple[list[Answer], dict[str, dict[str, list[int]]]]:
    """All answers, and by class and failing the seeds."""
    answers, by = [], defaultdict[str, dict[str, list[int]]](lambda: defaultdict(list))
    for seed in seeds:
        answer = ask(seed)
        answers.append(answer)
        for failing in failings(answer):
            by[answer.sort][failing].append(seed)
    return answers, by


def main(cases: int = 200, first: int = 0) -> int:
    """Print the counts; 1 where something failed."""
    began = time.monotonic()
    answers, by = tally(range(first, first + cases))
    for answer in answers:
        if failings(answer):
            print(f"{answer.case.seed} {', '.join(failings(answer))}: {answer.case}. Said: {answer.says}")
    print(f"{cases} cases, {(time.monotonic() - began) / max(cases, 1):.1f} s each")
    for sort in ("known", "two", "hidden", "good", "cannot be entered yet"):
        of = [answer for answer in answers if answer.sort == sort]
        print(f"{sort}: {len(of)}")
        for failing, seeds in sorted(by.get(sort, {}).items()):
            print(f"  {failing}: {len(seeds)} ({', '.join(map(str, seeds[:30]))})")
    beside = [a for a in answers if a.case.truth.coincidences and a.case.sort != "good"]
    print(
        f"bad with a coincidence beside: {len(beside)}, it most likely: {sum(bool(a.by_coincidence) for a in beside)}"
    )
    known = [a for a in answers if a.sort == "known"]
    each = Counter(a.case.truth.causes[0] for a in known)
    first_right = Counter(a.case.truth.causes[0] for a in known if a.true_in(1))
    print("first, by cause: " + ", ".join(f"{c} {first_right[c]}/{n}" for c, n in sorted(each.items())))
    return int(any(by.values()))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
