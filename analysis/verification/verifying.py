"""Compare one run with its recipe: read and clean, place, gather, measure, judge, tell, each from the one before."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.figures.measured_run import measure
from soakwitness.analysis.verification.findings.in_short import in_short
from soakwitness.analysis.verification.findings.telling import record_of, tell
from soakwitness.analysis.verification.holds.heats import Heat, charged, heats_of, part_of
from soakwitness.analysis.verification.holds.placed_sensors import place
from soakwitness.analysis.verification.inputs.run_as_read import RunAsRead, RunKnowledge, read_clean, read_run
from soakwitness.analysis.verification.judging.judging_run import judge
from soakwitness.analysis.verification.merging import chosen, merged, with_unmarked
from soakwitness.analysis.verification.results.verification import PieceInfo, UsualDifference, Verification
from soakwitness.analysis.verification.sensors.gathering import gather
from soakwitness.analysis.verification.sensors.of_pieces import are_in, of_pieces

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.correcting.place_difference import PlaceDifference
    from soakwitness.analysis.packet.piece import PacketModel


def verify(
    run: Run,
    recipe: Recipe,
    *,
    packet: PacketModel | None = None,
    pieces: Sequence[PieceInfo] = (),
    corrections: Mapping[str, Correction] | None = None,
    usual: Sequence[UsualDifference] = (),
    places: Mapping[str, PlaceDifference] | None = None,
    only: Collection[str] | None = None,
) -> Verification:
    """Compare a run with its recipe.

    Parameters
    ----------
    run : Run
        The run, as ``open_run`` reads it.
    recipe : Recipe
        The recipe.
    packet : PacketModel, optional
        A measured packet; by default the recipe's ``[packet]`` with generic figures.
    pieces : sequence of PieceInfo
        What the log book knows of the pieces in this run.
    corrections : mapping, optional
        Corrections by the sensor's name, as the log book keeps them.
    usual : sequence of UsualDifference
        By how much pairs of sensors differed in earlier runs of the same sensor lives.
    places : mapping, optional
        What the work's place has more or less than a sensor's, by the sensor's name.
    only : collection of str, optional
        Names of pieces: the run is judged as if nothing else had been in it. By default all pieces.

    Returns
    -------
    Verification
        Steps, findings and verdict; its sentences carry their values and are put into degC or degF by who prints them.

    Raises
    ------
    NotEnoughData
        If no sensor has enough readings.

    Notes
    -----
    A run fails if any requirement fails, else is not proven if any is, else passes. Definitions: page
    ``definitions`` of the guide.

    References
    ----------
    ILAC-G8:09/2019; JCGM 106:2012 (decision rule).
    """
    read = read_run(run, RunKnowledge(tuple(pieces), corrections, tuple(usual), places))
    found = _in_its_heats(read, recipe, packet, only)
    return replace(found, in_short=in_short(found))


def _in_its_heats(
    read: RunAsRead, recipe: Recipe, packet: PacketModel | None, only: Collection[str] | None
) -> Verification:
    """Each heat that the record holds by itself, then as one."""
    heats = heats_of(read.chamber.readings, recipe)
    if len(heats) == 1:
        return _of(read, recipe, packet, only)
    with_charges = charged(heats, read.stays)
    parts = [_in_heat(read, heat) for heat in with_charges or heats]
    if with_charges and only is not None:
        parts = [part for part in parts if are_in(part.stays, only)] or parts
    each = [_of(part, recipe, packet, only) for part in parts]
    begins_s = {heat: max(heat.start_s, float(read.chamber.readings.t_s[0])) for heat in heats}
    if with_charges:
        found = with_unmarked(merged(each), [begins_s[heat] for heat in heats if heat not in with_charges])
    else:
        found = chosen(each, [begins_s[heat] for heat in heats])
    return replace(found, record=record_of(read.run, (read.loads[0] if read.loads else read.chamber).readings))


def _of(read: RunAsRead, recipe: Recipe, packet: PacketModel | None, only: Collection[str] | None) -> Verification:
    """The way of one run: placed, gathered, measured, judged, told."""
    gathered = gather(place(read, recipe), packet)
    if only is not None and are_in(gathered.stays, only):
        gathered = of_pieces(gathered, only)
    return tell(judge(measure(gathered)), read.bad)


def _in_heat(read: RunAsRead, heat: Heat) -> RunAsRead:
    """One heat of a record, with the pieces that its marks name, or that no mark names."""
    part = part_of(read.run, heat)
    elsewhere = {name.casefold() for m in read.run.marks if not m.struck for name in m.pieces}
    here = {name.casefold() for m in part.marks if not m.struck for name in m.pieces}
    pieces = tuple(p for p in read.known.pieces if p.id.casefold() in here or p.id.casefold() not in elsewhere)
    mine = tuple(b for b in read.bad if heat.has(b.start_s))
    return read_clean(part, replace(read.known, pieces=pieces), mine)
