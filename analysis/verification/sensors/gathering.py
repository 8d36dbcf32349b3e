"""Gather what each sensor, or the packet estimate, says of every hold, out of a run on which they were placed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from soakwitness.analysis.verification.holds.other_unit import in_other_unit
from soakwitness.analysis.verification.holds.placed_sensors import DecidingSensor, PlacedRun
from soakwitness.analysis.verification.inputs.stays import Stay, stays_in_hold
from soakwitness.analysis.verification.measuring.dips import own_cooling
from soakwitness.analysis.verification.results.known_error import KnownError
from soakwitness.analysis.verification.sensors.gathered_run import (
    GatheredHold,
    GatheredRun,
    MissingInHold,
    StayInHold,
    WorkInHold,
)
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldOnTrace, HoldsOnTraces
from soakwitness.analysis.verification.sensors.neighbours import neighbours_of
from soakwitness.analysis.verification.sensors.packet_estimates import Estimates
from soakwitness.analysis.verification.sensors.work import Work, works_of

if TYPE_CHECKING:
    from soakwitness.analysis.packet.piece import PacketModel

EstimateOf = Callable[[int], "Work | None"]


def gather(placed: PlacedRun, packet: PacketModel | None = None) -> GatheredRun:
    """Gather every hold; a packet estimate is made only where one is needed."""
    read, recipe, chamber = placed.read, placed.recipe, placed.chamber
    estimates = Estimates(chamber, recipe, read.doors_s)
    neighbours = neighbours_of(read.rack, read.stays, recipe, packet)
    made: dict[int, Work | None] = {}

    def estimate_of(index: int) -> Work | None:
        if index not in made:
            model = neighbours.packets[index]
            made[index] = None if model is None else estimates.of(read.stays[index], model, neighbours.where(index))
        return made[index]

    traces = HoldsOnTraces(placed)
    holds = tuple(_gathered(placed, number, traces, estimate_of) for number in range(len(recipe.holds)))
    needed = not placed.loads and any(work is not None for work in made.values())
    ends = [p.edges.leave_s for p in chamber.placed if p is not None and p.edges is not None]
    return GatheredRun(
        record=read.run,
        recipe=recipe,
        chamber=chamber,
        loads=placed.loads,
        stays=read.stays,
        holds=holds,
        estimates=tuple(estimate_of(index) for index in range(len(read.stays))) if needed else (),
        cooling=own_cooling(chamber.readings, max(ends, default=chamber.last_s)),
        doors_s=read.doors_s,
        usual=read.known.usual,
        questions=read.questions,
        stands_in=read.stands_in,
        uncertain=read.uncertain,
        went_on=read.went_on,
        unknown_beside=neighbours.not_known([index for index, work in made.items() if work is not None]),
        other_unit=None if all(hold.there for hold in holds) else in_other_unit(placed),
    )


def _gathered(placed: PlacedRun, number: int, traces: HoldsOnTraces, estimate_of: EstimateOf) -> GatheredHold:
    """One hold by every work that tells of a piece in it."""
    recipe, chamber, stays = placed.recipe, placed.chamber, placed.read.stays
    hold, known = recipe.holds[number], _known(placed, chamber, number)
    on = traces.on(chamber, number, known.correction_c)
    if on is None:
        return GatheredHold(number, hold, known, None, missing=tuple(_missing(placed, number, traces, estimate_of)))
    within = stays_in_hold(stays, recipe, on.hold, on.begin_s, on.edges.leave_s)
    if within:
        told = [(stays[index], _works(placed, number, index, estimate_of)) for index in within]
    else:
        # Every charge went in later, into the hotter furnace: what is reported is the furnace alone.
        alone = Stay(None, None, chamber.first_s)
        told = [(alone, [(alone, work) for work in works_of(placed, number, alone, lambda: None)])]
    works, pieces = _once(told, lambda stay, work: _work_in_hold(placed, number, traces, stay, work))
    control = chamber.placed_true[number] or chamber.placed[number]
    return GatheredHold(
        number,
        hold,
        known,
        on,
        control_edges=control.edges if control is not None else None,
        alone=not within,
        works=works,
        stays=pieces,
    )


def _works(placed: PlacedRun, number: int, index: int, estimate_of: EstimateOf) -> list[tuple[Stay, Work]]:
    """What tells of one stay: its own work temperatures, and of the same piece's other stays what was too hot."""
    stays = placed.read.stays
    name, told = stays[index].piece, []
    others = [n for n, stay in enumerate(stays) if name is not None and n != index and stay.piece == name]
    for n in (index, *others):
        works = works_of(placed, number, stays[n], partial(estimate_of, n))
        # What a piece got in another stay is no soak of this one, but it was too hot then all the same.
        told += [(stays[n], work if n == index else replace(work, limits_only=True)) for work in works]
    return told


def _once(
    told: Sequence[tuple[Stay, Sequence[tuple[Stay, Work]]]], make: Callable[[Stay, Work], WorkInHold]
) -> tuple[tuple[WorkInHold, ...], tuple[StayInHold, ...]]:
    """Works that stand once, and which of them tell of which stay: pieces alike, in and out together, share one."""
    place: dict[tuple[object, ...], int] = {}
    works: list[WorkInHold] = []
    stays = []
    for stay, many in told:
        mine = []
        for at, work in many:
            key = (work.sensor.key, id(work.best.temp_c), work.gone, work.limits_only, at.load_s, at.pull_s, at.bounds)
            if key not in place:
                place[key] = len(works)
                works.append(make(at, work))
            mine.append(place[key])
        stays.append(StayInHold(stay, tuple(mine)))
    return tuple(works), tuple(stays)


def _work_in_hold(placed: PlacedRun, number: int, traces: HoldsOnTraces, stay: Stay, work: Work) -> WorkInHold:
    known = _known(placed, work.sensor, number)

    def on(correction_c: float, *, lapsed: bool = False) -> HoldOnTrace | None:
        return traces.on(work.sensor, number, correction_c, lapsed=lapsed)

    asks_lapsed = known.lapsed is not None and placed.recipe.decide_on is None
    lapsed = on(known.lapsed.correction_c, lapsed=True) if asks_lapsed and known.lapsed is not None else None
    placed_on = None if known.place is None else on(known.place_c)
    return WorkInHold(stay, work, known, on(0.0), on(known.correction_c), placed_on, lapsed, asks_lapsed)


def _missing(placed: PlacedRun, number: int, traces: HoldsOnTraces, estimate_of: EstimateOf) -> Iterator[MissingInHold]:
    """Every stay by each of its works, with the limits of a level nearer to a hold that is not there than to others."""
    hold = placed.recipe.holds[number]
    for index, stay in enumerate(placed.read.stays):
        for work in works_of(placed, number, stay, partial(estimate_of, index)):
            sensor, known = work.sensor, _known(placed, work.sensor, number)
            correction_c = known.decides_with_c
            limits = traces.limits(sensor, correction_c, sensor.placed_true if correction_c else sensor.placed)
            mine = tuple(limit for limit in limits if limit.number == number and limit.of_missing)
            allowed = traces.allowed(sensor.readings, mine[0].start_s, mine[-1].end_s, hold) if mine else None
            yield MissingInHold(stay, work, known, correction_c, mine, allowed)


def _known(placed: PlacedRun, sensor: DecidingSensor, number: int) -> KnownError:
    return sensor.errors.known_at(placed.recipe.holds[number], placed.recipe.decide_on)
