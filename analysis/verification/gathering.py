"""From a run to the context of its verification: which sensors count, where the holds are on each, marks, packets."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.recipes.model import Hold, Recipe
from soakwitness.analysis.runs import Run, Trace
from soakwitness.analysis.verification.assignment import Blocks, block_medians
from soakwitness.analysis.verification.context import (
    ROOM_C,
    SAME_C,
    DecidingSensor,
    StandsIn,
    VerificationContext,
    Work,
    fastest,
)
from soakwitness.analysis.verification.dips import own_cooling
from soakwitness.analysis.verification.estimates import Estimates
from soakwitness.analysis.verification.model import PieceInfo, UsualDifference
from soakwitness.analysis.verification.pieces import Stay, drop_unnamed, piece_spec, questions_of, stays_of
from soakwitness.analysis.verification.placed_edges import Placements
from soakwitness.analysis.verification.places import filled
from soakwitness.analysis.verification.placing import Placed, place_again, place_holds
from soakwitness.analysis.verification.readings import Readings, gaps, readings_of
from soakwitness.analysis.verification.sensor_errors import SensorErrors, errors_of
from soakwitness.analysis.verification.visits import visits_of
from soakwitness.firmware_bridge.common.chamber import FEWEST_READINGS, Candidate, Seen, chamber_of

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correction import Correction
    from soakwitness.analysis.packet.piece import PacketModel

OPENS = ("load", "pull", "door")


def usable(trace: Trace, *, to_its_end: bool = False) -> bool:
    """Whether a trace has enough readings to count: five, and no gaps for more than half of the run.

    ``to_its_end``: of the run until the trace's own last reading; a load sensor that broke tells what came before.
    """
    seen = _seen(trace)
    return seen.usable(float(trace.t_s[0]), seen.last_s if to_its_end else float(trace.t_s[-1]))


def _seen(trace: Trace) -> Seen:
    """How a trace was read."""
    readings = readings_of(trace)
    t, y = readings.t_s, readings.temp_c
    if not t.size:
        return Seen(0, 0.0, 0.0, 0.0, 0.0, 0.0)
    first, last = float(t[0]), float(t[-1])
    missing = sum(b - a for a, b in gaps(readings, first, last))
    return Seen(t.size, first, last, missing, float(y[-1]), float(y.max()))


def chamber_trace(run: Run) -> Trace:
    """The trace that the steps are found on.

    Raises
    ------
    NotEnoughData
        If no sensor has enough readings.
    """
    name = chamber_of(map(_candidate, run.traces))
    if name is not None:
        return next(tr for tr in run.traces if tr.name == name)
    best = max(run.traces, key=lambda tr: int(np.isfinite(tr.temp_c).sum()), default=None)
    if best is None or int(np.isfinite(best.temp_c).sum()) < FEWEST_READINGS:
        raise NotEnoughData(
            f"{run.header.run}: no sensor has {FEWEST_READINGS} readings: there is nothing to compare. "
            "Look at samples.csv in the run folder."
        )
    return best


def _candidate(trace: Trace) -> Candidate:
    """A trace as one that may speak for the chamber, over the whole run."""
    seen, end_s = _seen(trace), float(trace.t_s[-1])
    fit = seen.usable(float(trace.t_s[0]), end_s)
    return Candidate(trace.name, trace.role, fit=fit, reads_on=seen.reads_on(end_s, trace.period_s))


def _stands_in(run: Run, chamber: Trace) -> StandsIn | None:
    """What a control sensor showed, while it read and the furnace was hot, against the one that took over from it."""
    for control in run.traces:
        if control.role != "control" or chamber.role in ("control", "load"):
            continue
        higher = chamber.temp_c - control.temp_c
        hot = np.isfinite(higher) & (control.temp_c > (np.nanmax(chamber.temp_c) + ROOM_C) / 2.0)
        if np.count_nonzero(hot) >= FEWEST_READINGS:
            return StandsIn(control.name, float(np.median(higher[hot])))
    return None


def load_traces(run: Run, chamber: Trace) -> tuple[Trace, ...]:
    """Load sensors with enough readings, the chamber's own left out; one that broke tells what came before."""
    loads = (tr for tr in run.traces if tr.role == "load" and tr.name != chamber.name)
    return tuple(tr for tr in loads if usable(tr, to_its_end=True))


def corrected(trace: Trace, errors: SensorErrors) -> Readings:
    """Readings with what a calibration in force says added, where it reaches; elsewhere they stay what was shown."""
    readings = readings_of(trace)
    return replace(readings, temp_c=readings.temp_c + errors.added_c(readings.temp_c))


def uncertain_gaps(run: Run) -> tuple[tuple[float, float], ...]:
    """Stretches (from, to) [s] whose length is not known: after a restart of the computer."""
    found = []
    for event in run.events:
        if event.event == "resumed" and "uncertain" in event.detail:
            after = int(np.searchsorted(run.t_s, event.t_s))
            start = float(run.t_s[after - 1]) if after else event.t_s
            end = float(run.t_s[after]) if after < run.t_s.size else event.t_s
            found.append((start, max(end, event.t_s)))
    return tuple(found)


def doors_of(run: Run) -> tuple[float, ...]:
    """Moments [s] at which a door was open: door, load and pull marks, and contacts that mean a door."""
    marked = [m.t_s for m in run.marks if m.act in OPENS and not m.struck]
    for column in run.columns:
        if column.kind == "contact" and column.means == "door":
            acted = np.nan_to_num(run.values[column.name]) != 0.0
            marked += run.t_s[np.flatnonzero(np.diff(acted.astype(np.int8)) > 0) + 1].tolist()
    return tuple(sorted(marked))


def gather(
    run: Run,
    recipe: Recipe,
    *,
    corrections: Mapping[str, Correction],
    packet: PacketModel | None,
    pieces: Sequence[PieceInfo],
    day: str,
    usual: Sequence[UsualDifference] = (),
) -> VerificationContext:
    """Gather what all holds of a verification share; ``day`` is the local day of the run."""
    trace = chamber_trace(run)
    columns = {c.name: c for c in run.columns}
    chamber = _chamber(trace, recipe, errors_of(columns.get(trace.name), corrections, day))
    loads = tuple(
        load
        for tr in load_traces(run, trace)
        for load in _visiting(
            tr, recipe, errors_of(columns.get(tr.name), corrections, day), chamber, columns[tr.name].thickness_mm
        )
    )
    for load in loads:
        chamber = _with_holds_of(chamber, load)
    loads = tuple(_with_cut(_placed_again(load, recipe, chamber), recipe, chamber) for load in loads)
    stays = drop_unnamed(stays_of(run.marks, pieces))
    doors = doors_of(run)
    estimates = Estimates(chamber, recipe, doors)
    known: dict[int, Work | None] = {}

    def estimate_of(index: int) -> Work | None:
        if index not in known:
            known[index] = _estimate(estimates, recipe, stays[index], packet)
        return known[index]

    rates = fastest(chamber.blocks)
    for load in loads:
        rates = rates.with_other(fastest(load.blocks))
    ends = [p.edges.leave_s for p in chamber.placed if p is not None and p.edges is not None]
    return VerificationContext(
        run=run,
        recipe=recipe,
        chamber=chamber,
        loads=loads,
        stays=stays,
        estimate_of=estimate_of,
        rates=rates,
        cooling=own_cooling(chamber.readings, max(ends, default=float(chamber.readings.t_s[-1]))),
        doors_s=doors,
        usual=tuple(usual),
        questions=questions_of(run.marks, pieces),
        stands_in=_stands_in(run, trace),
        uncertain=uncertain_gaps(run),
    )


def _estimate(estimates: Estimates, recipe: Recipe, stay: Stay, packet: PacketModel | None) -> Work | None:
    """The packet estimate of one stay, None where nothing is known of its packet."""
    from soakwitness.analysis.packet.piece import packet_of

    model = packet_of(packet, piece_spec(recipe, stay.info), recipe.steel)
    return None if model is None else estimates.of(stay, model)


def shifted(recipe: Recipe, shift_of: Callable[[Hold], float]) -> Recipe:
    """The recipe as a sensor should show it: each hold's temperatures less what is added to the reading there [K]."""
    return replace(
        recipe,
        steps=tuple(replace(s, target_c=s.target_c - shift_of(s)) if isinstance(s, Hold) else s for s in recipe.steps),
    )


def _shifts(recipe: Recipe, errors: SensorErrors, *, lapsed: bool) -> dict[int, float]:
    """What a calibration in force (or an overdue one) adds at each hold [K], by its step's number."""
    found = {}
    for hold in recipe.holds:
        known = errors.known_at(hold)
        found[hold.number] = (known.lapsed.correction_c if known.lapsed else 0.0) if lapsed else known.correction_c
    return found


def _as_shown(
    recipe: Recipe, errors: SensorErrors, place: Callable[[Recipe], Placements], read: Placements
) -> tuple[Placements, Placements]:
    """The holds placed once more with what the calibration says, in force and overdue, where that says anything."""
    placed = []
    for lapsed in (False, True):
        shifts = _shifts(recipe, errors, lapsed=lapsed)
        far = any(abs(shift) >= SAME_C for shift in shifts.values())
        placed.append(place(shifted(recipe, lambda hold: shifts[hold.number])) if far else read)  # noqa: B023
    return placed[0], placed[1]


def _chamber(trace: Trace, recipe: Recipe, errors: SensorErrors) -> DecidingSensor:
    readings = readings_of(trace)
    blocks = block_medians(readings.t_s, readings.temp_c, readings.period_s)

    def place(shown: Recipe) -> Placements:
        return place_holds(readings, shown, reach_c=errors.reach_c(recipe.holds), blocks=blocks)

    read = place(recipe)
    true, lapsed = _as_shown(recipe, errors, place, read)
    source = "load" if trace.role == "load" else "control"
    return DecidingSensor(trace.name, source, readings, blocks, errors, read, true, lapsed)  # type: ignore[arg-type]


def _visiting(
    trace: Trace, recipe: Recipe, errors: SensorErrors, chamber: DecidingSensor, thickness_mm: float | None
) -> Iterator[DecidingSensor]:
    """A load sensor, once for each time that it was in the furnace."""
    readings = readings_of(trace)
    visits = visits_of(readings, chamber.readings)
    ends = [*(visit.in_s for visit in visits[1:]), np.inf]
    for number, (visit, end_s) in enumerate(zip(visits, ends, strict=True)):
        part = readings if len(visits) == 1 else readings.part(visit.in_s if number else -np.inf, end_s)
        if part.t_s.size >= FEWEST_READINGS:
            load = _load(trace.name, part, recipe, errors, chamber, thickness_mm)
            yield replace(load, visit=number, in_s=visit.in_s, out_s=visit.out_s)


def _with_cut(load: DecidingSensor, recipe: Recipe, chamber: DecidingSensor) -> DecidingSensor:
    """A load sensor that can be had with its readings up to where it came out, too."""
    if load.out_s is None:
        return load
    made: list[DecidingSensor] = []

    def until_out() -> DecidingSensor:
        if not made:
            part = load.readings.part(-np.inf, load.out_s or np.inf)
            blocks = block_medians(part.t_s, part.temp_c, part.period_s)
            made.append(_placed_again(replace(load, readings=part, blocks=blocks), recipe, chamber))
        return made[0]

    return replace(load, until_out=until_out)


def _load(
    name: str,
    readings: Readings,
    recipe: Recipe,
    errors: SensorErrors,
    chamber: DecidingSensor,
    thickness_mm: float | None,
) -> DecidingSensor:
    """A load sensor, with the holds that it shows by itself only where the chamber misses one."""
    blocks: Blocks = block_medians(readings.t_s, readings.temp_c, readings.period_s)
    alone: Placements = (None,) * len(recipe.holds)
    if any(p is None or p.edges is None for p in chamber.placed):
        alone = place_holds(readings, recipe, blocks=blocks)
    return DecidingSensor(name, "load", readings, blocks, errors, alone, alone, alone, thickness_mm)


def _with_holds_of(chamber: DecidingSensor, load: DecidingSensor) -> DecidingSensor:
    """The chamber with the holds that only a load sensor shows, where their order in time stays right."""
    return replace(
        chamber,
        placed=filled(chamber.placed, load.placed),
        placed_true=filled(chamber.placed_true, load.placed),
        placed_lapsed=filled(chamber.placed_lapsed, load.placed),
    )


def _placed_again(load: DecidingSensor, recipe: Recipe, chamber: DecidingSensor) -> DecidingSensor:
    """A load sensor with its edges in the holds of the chamber."""
    true_holds = _best_of(chamber)

    def place(shown: Recipe) -> Placements:
        return place_again(load.readings, shown, true_holds, chamber.last_s)

    read = place(recipe)
    true, lapsed = _as_shown(recipe, load.errors, place, read)
    return replace(load, placed=read, placed_true=true, placed_lapsed=lapsed)


def _best_of(chamber: DecidingSensor) -> Placements:
    """Where the chamber's holds are as well as is known: with its calibration where it speaks, else as read."""
    pairs = zip(chamber.placed_true, chamber.placed, strict=True)
    return tuple(true if true is not None else read for true, read in pairs)


def placed_for(sensor: DecidingSensor, *, corrected: bool, lapsed: bool = False) -> tuple[Placed | None, ...]:
    """The holds on a sensor as read, with its calibration, or with an overdue one."""
    return sensor.placed_lapsed if lapsed else sensor.placed_true if corrected else sensor.placed
