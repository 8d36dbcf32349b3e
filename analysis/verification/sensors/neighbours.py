"""Who stood beside whom in the rack, as far as it is on record, for the packet estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakwitness.analysis.packet.piece import packet_of
from soakwitness.analysis.packet.rack import Beside, beside, full
from soakwitness.analysis.verification.inputs.stays import Stay, piece_spec
from soakwitness.analysis.verification.sensors.work import MARKED_LATE_S
from soakwitness.firmware_bridge.common.wording import Says, counted

if TYPE_CHECKING:
    from soakwitness.analysis.packet.piece import PacketModel
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.firmware_bridge.furnace.rack import Rack


@dataclass(frozen=True)
class Neighbours:
    """Every stay's packet (None: nothing is known of it) and the stays that share the rack with it."""

    rack: Rack | None
    stays: tuple[Stay, ...]
    packets: tuple[PacketModel | None, ...]

    def where(self, index: int) -> Beside | None:
        """Where a stay's packet stood; None where it is taken to have stood alone.

        Packets count as side by side where they went in within two minutes of each other; one that was pulled before
        the others counts on. One that lay on the hearth is not in the rack.
        """
        packet = self.packets[index]
        if self.rack is None or packet is None or packet.heated_faces == 1:
            return None
        if self.stays[index].piece is None:
            return full(self.rack, packet)
        together = self._together(index)
        packets = [found for n in together if (found := self.packets[n]) is not None]
        return beside(self.rack, packets, [_place(self.stays[n]) for n in together], together.index(index))

    def not_known(self, indices: Sequence[int]) -> Says | None:
        """What is not known of the neighbours of the stays that were judged by an estimate."""
        if self.rack is None:
            many = [index for index in indices if self.stays[index].piece and len(self._together(index)) > 1]
            return Says.plain(NO_RACK) if many else None
        unknown = [
            index for index in indices if (at := self.where(index)) is not None and not at.known and not at.alone
        ]
        if not unknown:
            return None
        names = [name for index in unknown if (name := self.stays[index].piece) is not None]
        if not names:
            slots = counted(self.rack.slots, "packet")
            return Says.plain(
                f"Who stood in the rack is not on record: judged as the middle one of {slots}, a full rack."
            )
        return Says.plain(
            f"Their places in the rack are not all on record ({', '.join(names)}): each is judged as in the middle of "
            "them, the thickest beside it."
        )

    def _together(self, index: int) -> list[int]:
        mine = self.stays[index].load_s
        return [n for n, stay in enumerate(self.stays) if self._stands(n) and _at_once(mine, stay.load_s)]

    def _stands(self, index: int) -> bool:
        packet = self.packets[index]
        return packet is not None and packet.heated_faces != 1


NO_RACK = (
    "What stood beside each packet is not known (no [rack] in the furnace file): each is taken to have stood alone, "
    "and packets side by side lag more."
)


def _place(stay: Stay) -> str | None:
    return stay.info.place if stay.info is not None else None


def _at_once(one_s: float | None, other_s: float | None) -> bool:
    if one_s is None or other_s is None:
        return one_s is other_s
    return abs(one_s - other_s) <= MARKED_LATE_S


def neighbours_of(
    rack: Rack | None, stays: tuple[Stay, ...], recipe: Recipe, measured: PacketModel | None
) -> Neighbours:
    """Every stay's packet, the measured one turned to it, else one with generic figures."""
    packets = tuple(packet_of(measured, piece_spec(recipe, stay.info), recipe.steel) for stay in stays)
    return Neighbours(rack, stays, packets)
