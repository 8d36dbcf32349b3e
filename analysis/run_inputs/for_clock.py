"""What the soak clock needs, out of all that is known of a run."""

from __future__ import annotations

from collections.abc import Sequence

from soakwitness.analysis.live.clock_inputs import Calibrated, ClockInputs
from soakwitness.analysis.live.packet import latest_packet
from soakwitness.analysis.packet.piece import PacketModel, packet_of
from soakwitness.analysis.packet.rack import beside, felt_alone, full
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.run_inputs.known_inputs import RunInputs
from soakwitness.analysis.verification.inputs.sensor_errors import SensorErrors, errors_of
from soakwitness.analysis.verification.inputs.stays import piece_spec
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.common.zones import local_day
from soakwitness.firmware_bridge.furnace.rack import rack_in
from soakwitness.firmware_bridge.runfolder.contents import Mark


def clock_inputs_of(inputs: RunInputs, marks: Sequence[Mark]) -> ClockInputs:
    """What each sensor's calibration says at each hold, the pieces, and each one's packet as the verification takes it.

    Returns for a charge that nobody names: the packet that lags most of those that were entered for the run and are
    named by no mark, else the recipe's. Nothing where there is no recipe.
    """
    recipe, header = inputs.recipe, inputs.header
    if recipe is None:
        return ClockInputs()
    day = local_day(header.started_utc, header.zone)
    sensors = {
        column.name: _calibrated(errors_of(column, inputs.corrections, day, inputs.places), recipe)
        for column in header.columns
        if column.kind == "sensor"
    }
    named = {name.casefold() for mark in marks if not mark.struck for name in mark.pieces}
    packets = {piece.id: packet for piece in inputs.pieces if (packet := _packet(inputs, piece)) is not None}
    unnamed = [packet for name, packet in packets.items() if name.casefold() not in named]
    usual = _usual(inputs, recipe)
    return ClockInputs(sensors, inputs.pieces, packets, latest_packet(unnamed) or usual)


def _calibrated(errors: SensorErrors, recipe: Recipe) -> Calibrated:
    """What counts of a sensor's calibration and place: in force, at the holds they reach and that they decide."""
    known = [errors.known_at(hold, recipe.decide_on) for hold in recipe.holds]
    added = tuple(one.decides_with_c for one in known)
    place = tuple(one.place_c for one in known) if errors.place is not None else ()
    return Calibrated(added, errors.reach_c(recipe.holds), place)


def _packet(inputs: RunInputs, piece: PieceInfo) -> PacketModel | None:
    """A piece's packet; in a rack the lone one that follows as it does among those of its charge."""
    packet, rack = _alone(inputs, piece), rack_in(inputs.header.furnace_file)
    if packet is None or rack is None or packet.heated_faces == 1:
        return packet
    there = [(one, found) for one in inputs.pieces if one.charge == piece.charge and (found := _alone(inputs, one))]
    row = [(one, found) for one, found in there if found.heated_faces != 1]
    mine = next(n for n, (one, _) in enumerate(row) if one is piece)
    return felt_alone(beside(rack, [found for _, found in row], [one.place for one, _ in row], mine))


def _alone(inputs: RunInputs, piece: PieceInfo) -> PacketModel | None:
    assert inputs.recipe is not None
    return packet_of(inputs.model, piece_spec(inputs.recipe, piece), inputs.recipe.steel)


def _usual(inputs: RunInputs, recipe: Recipe) -> PacketModel | None:
    """The packet of a charge of which nothing is on record: in a rack the middle one of a full rack."""
    packet, rack = packet_of(inputs.model, recipe.packet, recipe.steel), rack_in(inputs.header.furnace_file)
    if packet is None or rack is None or packet.heated_faces == 1:
        return packet
    return felt_alone(full(rack, packet))
