"""Which sensor speaks for the chamber, chosen in one place: over role, health and last reading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

# A load sensor speaks for the chamber only where nothing else does; an ambient sensor never.
ORDER = ("control", "recording", "over-temperature", "reference", "survey", "load")


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
