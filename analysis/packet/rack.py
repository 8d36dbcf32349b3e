"""Packets side by side in a rack: how their faces see each other, and the chamber only through the openings.

Standard library only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.packet.view_factors import Between, between
from soakwitness.firmware_bridge.furnace.rack import Rack

LEAST_GAP_MM = 0.5  # packets that touch or overlap on paper stand so far apart


@dataclass(frozen=True)
class Row:
    """What stands in the slots of a rack, from the first to the last; None is an empty slot.

    ``widths_mm`` [mm], shape of the slots, are the packets' own where they are known; empty: the rack's usual.
    """

    rack: Rack
    slots: tuple[PacketModel | None, ...]
    widths_mm: tuple[float, ...] = ()

    @property
    def filled(self) -> tuple[int, ...]:
        """Slots that hold a packet, from 0 on."""
        return tuple(n for n, packet in enumerate(self.slots) if packet is not None)

    @property
    def packets(self) -> tuple[PacketModel, ...]:
        """The packets, without the empty slots."""
        return tuple(packet for packet in self.slots if packet is not None)

    def width_mm(self, slot: int) -> float:
        """Width of the packet in a slot, which is its height [mm]."""
        return self.widths_mm[slot] if self.widths_mm else self.rack.width_mm

    def gap_mm(self, one: int, other: int) -> float:
        """From face to face of the packets in two slots [mm]."""
        thick = [thickness_mm(packet) for packet in (self.slots[one], self.slots[other]) if packet is not None]
        return max(self.rack.spacing_mm * (other - one) - sum(thick) / 2.0, LEAST_GAP_MM)

    def views(self, one: int, other: int) -> tuple[Between, Between]:
        """What the facing sides of the packets in two slots see."""
        return between(
            self.rack.length_mm,
            self.width_mm(one),
            self.width_mm(other),
            self.gap_mm(one, other),
            floor=self.rack.stands_on == "floor",
        )


def thickness_mm(packet: PacketModel) -> float:
    """Thickness of a whole packet [mm]: blades, and on each side foil and gap."""
    return packet.thickness_mm * packet.blades + (2.0 * (packet.foil_mm + packet.gap_mm) if packet.foil else 0.0)


def exchanged(eps: Any, other_eps: Any, mine: Between, theirs: Between) -> tuple[Any, Any, Any, Any]:
    """Radiation factors of two facing grey sides, each on its own area [-]; emissivities are numbers or arrays.

    With the radiosities J1 = e1 E1 + (1 - e1)(F11 J1 + F12 J2 + F1c Ec) and the same for J2, solved: the heat into a
    face is sigma [S12 (T2^4 - T1^4) + S1c (Tc^4 - T1^4)]. Returns S12, S1c, S21, S2c.
    """
    dark, other_dark = 1.0 - eps, 1.0 - other_eps
    own, other_own = 1.0 - dark * mine.itself, 1.0 - other_dark * theirs.itself
    crossed = dark * other_dark * mine.neighbour * theirs.neighbour
    divisor = own * other_own - crossed
    both = eps * other_eps / divisor
    to_chamber = eps * (other_own * mine.chamber + mine.neighbour * other_dark * theirs.chamber) / divisor
    other_to_chamber = other_eps * (own * theirs.chamber + theirs.neighbour * dark * mine.chamber) / divisor
    return both * mine.neighbour, to_chamber, both * theirs.neighbour, other_to_chamber


@dataclass(frozen=True)
class Beside:
    """A packet in its ``slot`` (from 0 on) of a row; not ``known``: the worst place that it may have had."""

    row: Row
    slot: int
    known: bool

    @property
    def alone(self) -> bool:
        """Whether nothing stands beside it."""
        return len(self.row.filled) < 2


def beside(rack: Rack, packets: Sequence[PacketModel], places: Sequence[str | None], mine: int) -> Beside:
    """Where a packet stood among those that went in with it.

    ``packets`` went in together, ``places`` are their places on record. Where one of them names no slot, or two the
    same, the packet is taken to have stood in the middle of all, shoulder to shoulder, the thickest next to it.
    """
    slots = [rack.slot_of(place) for place in places]
    there = [slot for slot in slots if slot is not None]
    if len(there) == len(packets) == len(set(there)):
        held = dict(zip(there, packets, strict=True))
        row = Row(rack, tuple(held.get(slot) for slot in range(1, rack.slots + 1)))
        return Beside(row, there[mine] - 1, known=True)
    others = [packet for n, packet in enumerate(packets) if n != mine]
    thickest = sorted(others, key=thickness_mm, reverse=True)[: rack.slots - 1]
    before, after = thickest[1::2], thickest[0::2]
    return Beside(Row(rack, (*before[::-1], packets[mine], *after)), len(before), known=False)


def alike(rack: Rack, packet: PacketModel, slot: int, filled: Sequence[int]) -> Beside:
    """A packet in a slot among others of its like in the slots that are filled, both counted from 1."""
    held = {slot, *filled}
    row = Row(rack, tuple(packet if number in held else None for number in range(1, rack.slots + 1)))
    return Beside(row, slot - 1, known=True)


def full(rack: Rack, packet: PacketModel) -> Beside:
    """The middle of a rack that is full of the like, of which nothing is on record."""
    return Beside(Row(rack, (packet,) * rack.slots), rack.slots // 2, known=False)


def felt_alone(where: Beside) -> PacketModel:
    """The lone packet that follows the chamber as this one does if its neighbours are as warm as it.

    Across an opening it then exchanges with the chamber alone. Neighbours are a little warmer or colder, so this is for
    the clock beside the furnace, not for a verdict.
    """
    row, filled = where.row, where.row.filled
    packet, at = row.slots[where.slot], filled.index(where.slot)
    assert packet is not None
    seen = [packet.eps_o] * 2
    for side, n in enumerate((at - 1, at)):
        if 0 <= n < len(filled) - 1:
            one, other = (row.slots[filled[n + k]] for k in (0, 1))
            assert one is not None
            assert other is not None
            factors = exchanged(one.eps_o, other.eps_o, *row.views(filled[n], filled[n + 1]))
            seen[side] = factors[3] if side == 0 else factors[1]
    return replace(packet, eps_o=sum(seen) / 2.0)
