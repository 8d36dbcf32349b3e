"""Which pieces are in the furnace now, from the marks so far. Standard library only."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from soakwitness.analysis.packet.piece import PacketModel
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
    def empty_s(self) -> float | None:
        """When the last came out [s], None while one is in."""
        times = [stay.pull_s for stay in self.stays if stay.pull_s is not None]
        return max(times) if times and len(times) == len(self.stays) else None


@dataclass(frozen=True)
class Lot:
    """Pieces of one charge that heat alike and came out together.

    ``places`` are those of their stays among all, ``pieces`` their names (none: nobody named them), ``pull_s`` [s] when
    they came out; ``rides``: in from the beginning, without a load mark. ``thickness_mm`` is as the log book has it.
    """

    charge: int
    load_s: float
    pull_s: float | None
    pieces: tuple[str, ...]
    places: tuple[int, ...]
    rides: bool
    packet: PacketModel | None
    thickness_mm: float | None


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


def lots_of(
    charges: Sequence[Charge],
    packet_of: Callable[[str | None], PacketModel | None],
    thickness_mm_of: Callable[[str | None], float | None],
) -> tuple[Lot, ...]:
    """Put together the pieces that heat alike and came out together, in the order of loading.

    ``packet_of``, ``thickness_mm_of``: packet and thickness [mm] of a piece by its name, None for one without a name.
    Returns the lots; their ``places`` count the stays of all charges one after the other.
    """
    lots: list[Lot] = []
    place = 0
    for charge in charges:
        alike: dict[tuple[object, ...], list[tuple[int, PieceStay]]] = {}
        for stay in charge.stays:
            key = (packet_of(stay.piece), thickness_mm_of(stay.piece), stay.pull_s, stay.piece is None)
            alike.setdefault(key, []).append((place, stay))
            place += 1
        for many in alike.values():
            first = many[0][1]
            lots.append(
                Lot(
                    charge=charge.number,
                    load_s=charge.load_s,
                    pull_s=first.pull_s,
                    pieces=tuple(stay.piece for _, stay in many if stay.piece is not None),
                    places=tuple(at for at, _ in many),
                    rides=first.charge is None,
                    packet=packet_of(first.piece),
                    thickness_mm=thickness_mm_of(first.piece),
                )
            )
    return tuple(lots)
