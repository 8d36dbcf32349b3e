"""Which pieces are in the furnace now, from the marks so far. Standard library only."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from soakwitness.firmware_bridge.marks.charges import Known, PieceStay, drop_unnamed, read_charges
from soakwitness.firmware_bridge.runfolder.contents import Mark


@dataclass(frozen=True)
class Charge:
    """Pieces that went in together at ``load_s`` [s], each with its stay; ``number`` counts the charges from 1."""

    number: int
    load_s: float
    stays: tuple[PieceStay, ...]

    @property
    def pieces(self) -> tuple[str, ...]:
        """Names of the pieces, as far as they have any."""
        return tuple(stay.piece for stay in self.stays if stay.piece is not None)

    @property
    def unnamed(self) -> bool:
        """Whether a part of it has no name."""
        return any(stay.piece is None for stay in self.stays)

    @property
    def inside(self) -> tuple[str, ...]:
        """Named pieces that are still in."""
        return tuple(stay.piece for stay in self.stays if stay.piece is not None and stay.pull_s is None)

    @property
    def empty_s(self) -> float | None:
        """When the last came out [s], None while one is in."""
        return _last_pull_s(self.stays)

    def end_s(self, pieces: tuple[str, ...]) -> float | None:
        """When the last of these pieces came out [s], None while one is in; no names: what has none."""
        return _last_pull_s([s for s in self.stays if (s.piece in pieces if pieces else s.piece is None)])


def charges_of(
    marks: Iterable[Mark], *, loaded_cold_s: float | None, known: Sequence[Known] = ()
) -> tuple[Charge, ...]:
    """Read the charges from the marks of a run so far.

    ``loaded_cold_s``: start of a run whose charge rides the first ramp [s]: a charge without a load mark is in from
    then on. None: loaded hot, nothing is in without a mark. ``known``: pieces that the log book has in this run.
    Returns in the order of loading. How marks are read: ``firmware_bridge.common.charges``.
    """
    read = read_charges(marks, known=known, cold_since_s=loaded_cold_s)
    together: dict[tuple[str | None, float], list[PieceStay]] = {}
    for stay in drop_unnamed(read.stays):
        if stay.load_s is not None:
            together.setdefault((stay.charge, stay.load_s), []).append(stay)
    return tuple(
        Charge(number, load_s, tuple(stays)) for number, ((_, load_s), stays) in enumerate(together.items(), start=1)
    )


def _last_pull_s(stays: Sequence[PieceStay]) -> float | None:
    times = [stay.pull_s for stay in stays if stay.pull_s is not None]
    return max(times) if times and len(times) == len(stays) else None
