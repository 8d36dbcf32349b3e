"""What the soak clock needs, out of all that is known of a run."""

from __future__ import annotations

from collections.abc import Sequence

from soakwitness.analysis.live.clock_inputs import ClockInputs
from soakwitness.analysis.live.packet import latest_packet
from soakwitness.analysis.packet.piece import PacketModel, packet_of
from soakwitness.analysis.run_inputs.known_inputs import RunInputs
from soakwitness.analysis.verification.inputs.stays import piece_spec
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.runfolder.contents import Mark


def clock_inputs_of(inputs: RunInputs, marks: Sequence[Mark]) -> ClockInputs:
    """Corrections as tables, and each piece's packet as the verification takes it.

    Returns for a charge that nobody names: the packet that lags most of those that were entered for the run and are
    named by no mark, else the recipe's.
    """
    tables = {
        name: tuple(zip(one.table_reading_c, one.table_correction_c, strict=True))
        for name, one in inputs.corrections.items()
    }
    recipe = inputs.recipe
    if recipe is None:
        return ClockInputs(tables)
    named = {name.casefold() for mark in marks if not mark.struck for name in mark.pieces}
    packets = {piece.id: packet for piece in inputs.pieces if (packet := _packet(inputs, piece)) is not None}
    unnamed = [packet for name, packet in packets.items() if name.casefold() not in named]
    usual = packet_of(inputs.model, recipe.packet, recipe.steel)
    return ClockInputs(tables, packets, latest_packet(unnamed) or usual)


def _packet(inputs: RunInputs, piece: PieceInfo) -> PacketModel | None:
    assert inputs.recipe is not None
    return packet_of(inputs.model, piece_spec(inputs.recipe, piece), inputs.recipe.steel)
