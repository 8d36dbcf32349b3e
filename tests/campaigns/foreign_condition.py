"""Years of a furnace by a hand that had not read the rules: what is asked of its condition, and what is answered.

Long form: python -m tests.campaigns.foreign_condition [HEALTHY [EACH FAULT [FIRST [KIND...]]]]
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.foreign_year_entry import asked, enter_runs, opened
from tests.foreign_years import FAULTS, REPAIRED, Year, a_year

FIRST_ASKED = 12  # runs; before it nobody would
EVERY = 3  # runs between two questions in a healthy year
EVERY_AFTER = 1  # and after a fault has begun, where runs are counted
# What names a fault rightly: a pattern on the part, and one on the sentence beside it. Today one part stands for
# mains and element alike; that is right where nothing on record could part them.
RIGHT: dict[str, tuple[str, str]] = {
    "element ages": (r"^(?!.*rather than (the |an )?element).*(element|less power)", r""),
    "one of six elements": (r"^(?!.*rather than (the |an )?element).*(element|less power)", r""),
    "mains 5 % low": (r"^(?!.*rather than (the )?mains).*(mains|less power)", r""),
    "mains swing": (r"^(?!.*rather than (the )?mains).*(mains|less power)", r"up and down|swing"),
    "door seal": (r"seal|door|insulation", r""),
    "insulation": (r"insulation|brick", r""),
    "sensor 12 off": (r"thermocouple|sensor", r""),
    "sensor drifts": (r"thermocouple|sensor", r""),
    "relay sticks": (r"relay|switch", r""),
    "moved to a cold room": (r"room|ambient|season", r""),
    REPAIRED: (r"(?!)", r""),
}
NEEDED = {  # runs within which a person with the bare chart would know it
    "element ages": 8,
    "one of six elements": 2,
    "mains 5 % low": 3,
    "mains swing": 8,
    "door seal": 8,
    "insulation": 8,
    "sensor 12 off": 5,
    "sensor drifts": 8,
    "relay sticks": 8,
    "moved to a cold room": 8,
}


@dataclass(frozen=True)
class Said:
    """An answer after so many runs: parts named, each with its sentence."""

    runs: int
    says: str
    parts: tuple[tuple[str, str], ...]

    @property
    def moved(self) -> bool:
        """Whether figures are said to have moved which fit no part."""
        return not self.parts and re.search(r"\bmoved\b", self.says) is not None and "nothing" not in self.says.lower()

    def right(self, kind: str) -> bool:
        """Whether a part named is the one at fault."""
        part, words = RIGHT[kind]
        return any(re.search(part, name, re.I) and re.search(words, says, re.I) for name, says in self.parts)

    def wrong(self, kind: str) -> tuple[str, ...]:
        """Parts named that are not at fault."""
        part = RIGHT.get(kind, (r"(?!)", ""))[0]
        return tuple(name for name, _ in self.parts if not re.search(part, name, re.I))


def answers(year: Year) -> Iterator[Said]:
    """Let the year go by and ask after every few runs."""
    asks = list(range(FIRST_ASKED, (year.begins or len(year.runs)) + 1, EVERY))
    asks += [] if year.begins is None else list(range(year.begins + EVERY_AFTER, len(year.runs) + 1, EVERY_AFTER))
    with tempfile.TemporaryDirectory() as folder:
        entered = 0
        for runs in asks:
            with opened(Path(folder)) as book:
                enter_runs(book, year, entered, runs)
            entered = runs
            yield read(runs, asked(Path(folder)))


def read(runs: int, said: dict[str, Any]) -> Said:
    """Read the answer of ``condition --json``."""
    return Said(runs, said["says"], tuple((part["part"], part["says"]) for part in said["parts"]))


@dataclass(frozen=True)
class Lived:
    """A year and all its answers."""

    year: Year
    said: tuple[Said, ...]

    @property
    def before(self) -> tuple[Said, ...]:
        """Answers while nothing was wrong; of a repaired furnace those after the repair."""
        if self.year.kind == REPAIRED:
            return tuple(s for s in self.said if s.runs > (self.year.begins or 0))
        return tuple(s for s in self.said if self.year.begins is None or s.runs <= self.year.begins)

    @property
    def after(self) -> tuple[Said, ...]:
        """Answers since the fault began."""
        return () if self.year.kind == REPAIRED else self.said[len(self.before) :]

    @property
    def needed(self) -> int | None:
        """Runs with the fault to be seen until it is named rightly; None: never."""
        shows = self.year.shows or 0
        return next((max(1, s.runs - shows) for s in self.after if s.right(self.year.kind)), None)

    @property
    def wrong(self) -> Counter[str]:
        """Wrong parts named since the fault began."""
        return Counter(name for s in self.after for name in s.wrong(self.year.kind))

    def lines(self) -> list[str]:
        """What went wrong."""
        out = [f"after {s.runs}: {s.says}" for s in self.before if s.parts or s.moved]
        if self.after and (self.needed is None or self.needed > NEEDED[self.year.kind]):
            out.append(
                f"named {'never' if self.needed is None else f'after {self.needed} runs'}: {self.after[-1].says}"
            )
        return [f"{self.year.seed} {self.year}: {line}" for line in out + [f"wrong: {n}" for n in self.wrong]]


def live(kind: str, seeds: Sequence[int]) -> list[Lived]:
    """Years of a kind."""
    return [Lived(year, tuple(answers(year))) for year in (a_year(seed, kind) for seed in seeds)]


def of_nothing(lived: Sequence[Lived]) -> str:
    """Counts of what was said while nothing was wrong."""
    every = [(one.year.seed, s) for one in lived for s in one.before]
    named = Counter(name for _, s in every for name, _ in s.parts)
    seeds = sorted({seed for seed, s in every if s.parts})
    return (
        f"{len(every)} questions, a part named in {sum(bool(s.parts) for _, s in every)}, "
        f"moved in {sum(s.moved for _, s in every)}; {dict(named)} seeds {seeds}"
    )


def of_fault(kind: str, lived: Sequence[Lived]) -> str:
    """How soon a fault was named, and what else was."""
    wrong: Counter[str] = sum((one.wrong for one in lived), Counter())
    needed = [one.needed for one in lived]
    in_time = [n for n in needed if n is not None and n <= NEEDED[kind]]
    late = [one.year.seed for one in lived if one.needed is None or one.needed > NEEDED[kind]]
    return (
        f"named within {NEEDED[kind]} runs in {len(in_time)} of {len(lived)}; runs needed "
        f"{', '.join('never' if n is None else str(n) for n in needed)}; wrong {dict(wrong)}; late seeds {late}"
    )


def main(healthy: int = 40, each: int = 4, first: int = 0, kinds: Sequence[str] = ()) -> int:
    """Print the counts; 1 where a fault was not named in time, or something was named that is well."""
    began, years, failed = time.monotonic(), 0, False
    results = defaultdict[str, list[Lived]](list)
    for kind in kinds or ("healthy", *FAULTS, REPAIRED):
        results[kind] = live(kind, range(first, first + (healthy if kind == "healthy" else each)))
        years += len(results[kind])
        for line in (line for one in results[kind] for line in one.lines()):
            print(line, flush=True)
            failed = True
    print(f"{years} years, {(time.monotonic() - began) / max(years, 1):.1f} s each")
    for kind, lived in results.items():
        print(f"{kind}: {of_nothing(lived) if kind in ('healthy', REPAIRED) else of_fault(kind, lived)}")
    faulty = [one for kind, lived in results.items() if kind in FAULTS for one in lived]
    print(f"before any fault: {of_nothing(faulty)}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:4]), kinds=sys.argv[4:]))
