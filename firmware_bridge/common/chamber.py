"""Which sensor speaks for the chamber, chosen in one place: over role, health and last reading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

# A load sensor speaks for the chamber only where nothing else does; an ambient sensor never.
ORDER = ("control", "recording", "over-temperature", "reference", "survey", "load")
FEWEST_READINGS = 5
USABLE_SHARE = 0.5
READS_ON_S = 60.0
GAP_PERIODS = 3.0
ROOM_C = 20.0


@dataclass(frozen=True)
class Seen:
    """How a sensor was read so far: how often, from when to when [s], ``gaps_s`` [s] of that without a reading.

    ``last_c`` and ``highest_c`` are its last and its highest reading [degC].
    """

    count: int
    first_s: float
    last_s: float
    gaps_s: float
    last_c: float
    highest_c: float

    def usable(self, begin_s: float, end_s: float) -> bool:
        """Whether it has enough readings to count: five, and no gaps for more than half of the time."""
        missing = self.gaps_s + (self.first_s - begin_s) + (end_s - self.last_s)
        return self.count >= FEWEST_READINGS and missing <= (1.0 - USABLE_SHARE) * (end_s - begin_s)

    def reads_on(self, end_s: float, period_s: float) -> bool:
        """Whether it was read to the end, or until it had lost half of its heat."""
        if not self.count:
            return False
        cooled = self.last_c < (self.highest_c + ROOM_C) / 2.0
        return cooled or end_s - self.last_s <= max(GAP_PERIODS * period_s, READS_ON_S)


@dataclass(frozen=True)
class Candidate:
    """A sensor that may speak for the chamber.

    ``fit``: it has a value (at one moment), or enough readings (over a run). ``reads_on``: it was read to the end, so
    that one that stopped gives way to another that went on.
    """

    name: str
    role: str
    fit: bool = True
    reads_on: bool = True


def chamber_of(candidates: Iterable[Candidate]) -> str | None:
    """Name of the sensor that speaks for the chamber; None where none is fit to."""
    fit = [(*_rank(one), number, one.name) for number, one in enumerate(candidates) if one.fit and one.role in ORDER]
    return min(fit)[-1] if fit else None


def _rank(candidate: Candidate) -> tuple[bool, bool, int]:
    return candidate.role == "load", not candidate.reads_on, ORDER.index(candidate.role)
