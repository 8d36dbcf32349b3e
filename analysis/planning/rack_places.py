"""Blades in their places: the thick ones at the ends of the rack, where the chamber reaches them best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.planning.plan import PieceToPlan
from soakwitness.firmware_bridge.common.wording import counted
from soakwitness.firmware_bridge.furnace.rack import Rack


class TooMany(AnalysisError):
    """More packets than the rack has slots."""


def placed(pieces: Sequence[PieceToPlan], rack: Rack | None) -> tuple[PieceToPlan, ...]:
    """Pieces with their slots: those on record as they are, the others spread over what is free.

    One that lies on the hearth, and every one where no rack is known, has none.

    Raises TooMany where the slots do not suffice.
    """
    if rack is None:
        return tuple(pieces)
    known = [rack.slot_of(one.place) if one.packet.heated_faces == 2 else None for one in pieces]
    held = [slot for slot in known if slot is not None]
    if len(set(held)) != len(held):
        known, held = [None] * len(pieces), []
    waiting = [n for n, one in enumerate(pieces) if known[n] is None and one.packet.heated_faces == 2]
    free = [slot for slot in range(1, rack.slots + 1) if slot not in held]
    if len(waiting) > len(free):
        upright = len(waiting) + len(held)
        raise TooMany(
            f"{counted(upright, 'packet')}: the rack has {counted(rack.slots, 'slot')}. Plan two charges, one by one."
        )
    slots = _from_outside(_spread(free, len(waiting)))
    thick_first = sorted(waiting, key=lambda n: -pieces[n].packet.steel_mm)
    mixed = len({pieces[n].packet.steel_mm for n in waiting}) > 1
    given = dict(zip(thick_first, slots, strict=True)) if mixed else dict(zip(waiting, sorted(slots), strict=True))
    return tuple(replace(one, slot=known[n] or given.get(n)) for n, one in enumerate(pieces))


def _spread(free: Sequence[int], count: int) -> list[int]:
    """So many of the free slots, as far from each other as they can be."""
    if count < 2:
        return [free[len(free) // 2]] if count else []
    return [free[round(n * (len(free) - 1) / (count - 1))] for n in range(count)]


def _from_outside(slots: Sequence[int]) -> list[int]:
    """The outermost first, from both ends in turn."""
    left, ordered = list(slots), []
    while left:
        ordered.append(left.pop(0))
        if left:
            ordered.append(left.pop())
    return ordered
