"""The plan: minutes that give the slowest blade its soak and the fastest no more than is allowed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.packet.estimate import HIGH_SHARE, LOW_SHARE
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.packet_runs.fitting import PRIOR_LAG_S, RUN_TO_RUN
from soakwitness.analysis.planning.blades import crossings
from soakwitness.analysis.planning.cautioning import says_of
from soakwitness.analysis.planning.expected_chamber import (
    ChamberCourse,
    Loading,
    PossibleChamber,
    course,
    drawn_chambers,
    likely_chamber,
)
from soakwitness.analysis.planning.expecting import expected
from soakwitness.analysis.planning.furnace_known import USUAL_MM
from soakwitness.analysis.planning.lags import Lags, chamber_lags, since_s, taught
from soakwitness.analysis.planning.plan import HoldPlan, PieceTimes, PieceToPlan, Plan, PlanInputs, Span
from soakwitness.analysis.planning.rack_places import placed
from soakwitness.analysis.recipes.program import ProgramStep, program_setpoints
from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe

FloatArray = npt.NDArray[np.float64]
LOOKED_S, LONGEST_S = 3600.0, 3 * 3600.0  # how long after the chamber a blade may come into the band; most are quick
MARGIN_S = 20.0  # a pull is not made to the second
WAITS_S = 300.0  # the hot furnace stands at its level so long before the load: its walls are to be warm too
USUAL_LAG_SPREAD_S = 12.0  # of a chamber's sensor
# Standard deviations, engineering guesses: of a sensor that was never compared (new wire of type K is within 4 K at
# 1000 degC by IEC 60584-1, class 1), and of what the work's place is off the sensor's, unmeasured and once measured.
UNKNOWN_SENSOR_C, PLACE_C, PLACE_AGAIN_C = 1.5, 2.0, 0.7
AGREED_C = 0.7  # of a sensor that was never compared but in an instrumented run, beside the one in the packet
PULLING_S = 30.0  # from one piece to the next
MINUTE_S = 60.0


class NothingToPlan(AnalysisError):
    """A recipe without a hold."""


def make_plan(inputs: PlanInputs) -> Plan:
    """Plan a run.

    Raises NothingToPlan for a recipe without holds, TooMany for more packets than the rack has slots.
    """
    inputs = replace(inputs, pieces=placed(tuple(map(_beside_usual_sensor, inputs.pieces)), inputs.rack))
    holds, pulls = _holds(inputs)
    steps = _steps(inputs.recipe)
    loading = loading_of(inputs)
    lasts = {hold.step: hold.typed_s for hold in holds}
    chambers = _chambers(inputs)
    courses = [course(steps, lasts, one, inputs.furnace, loading) for one in chambers]
    last = holds[-1]
    since = _span([since_s(each, last.step) for each in courses])
    out_s = min((one.out_s for one in last.pieces), default=last.required_s + MARGIN_S)
    measured = all(one.packet.fitted for one in inputs.pieces)
    plan = Plan(
        inputs=inputs,
        holds=tuple(replace(hold, enter=_span([each.enters[hold.step] for each in courses])) for hold in holds),
        load=None if courses[0].load_s is None else _span([each.load_s or 0.0 for each in courses]),
        out=since.plus(out_s),
        order=pulls,
        together=len({one.out_s for one in last.pieces}) < 2,
        measured=measured,
        saves_s=None if measured else _saved_s(inputs, last, courses[0]),
        likely=courses[0],
        expected=expected(courses, inputs.pieces, inputs.rack, since.best_s + out_s),
    )
    return replace(plan, says=says_of(plan))


def _beside_usual_sensor(one: PieceToPlan) -> PieceToPlan:
    """A packet that no run told anything of, with what is usual for a chamber's sensor."""
    if one.packet.fitted:
        return one
    lags = replace(one.packet, sensor_lag_s=PRIOR_LAG_S, sensor_lag_spread_s=USUAL_LAG_SPREAD_S)
    return replace(one, packet=lags)


def loading_of(inputs: PlanInputs) -> Loading | None:
    """When the charge goes in: None where it rides the first ramp."""
    recipe, steel_mm = inputs.recipe, steel_of(inputs.pieces)
    if recipe.load_at_c is None:
        return None
    near = [h for h in recipe.holds if h.cycle == 1 and h.lower_c - 10.0 <= recipe.load_at_c <= h.upper_c + 10.0]
    if not near:
        return Loading(None, at_c=recipe.load_at_c, steel_mm=steel_mm)
    return Loading(near[0].number, WAITS_S, steel_mm=steel_mm, below_c=near[0].below_c)


def steel_of(pieces: Sequence[PieceToPlan]) -> float:
    """The blades' thickness summed [mm]: what a load takes up."""
    return sum(one.packet.thickness_mm * one.packet.blades for one in pieces) or USUAL_MM


def _steps(recipe: Recipe) -> list[Ramp | Hold]:
    return [step for step in recipe.steps if step.cycle == 1]


def _chambers(inputs: PlanInputs) -> tuple[PossibleChamber, ...]:
    unknown_c = AGREED_C if _measured(inputs) else UNKNOWN_SENSOR_C
    error_c = max(inputs.error_c.values()) / 2.0 if inputs.error_c else unknown_c
    steel_mm = steel_of(inputs.pieces)
    drawn = drawn_chambers(inputs.furnace, error_c=error_c, place_c=_place_c(inputs), steel_mm=steel_mm)
    chambers = (likely_chamber(inputs.furnace, steel_mm=steel_mm), *drawn)
    typed_c = 0.0 if inputs.set_to_c else inputs.recipe.program.offset_c  # nothing is known: the display goes there
    return tuple(replace(one, shifted_c=one.shifted_c + typed_c) for one in chambers)


def _measured(inputs: PlanInputs) -> bool:
    return bool(inputs.pieces) and all(one.packet.fitted for one in inputs.pieces)


def _place_c(inputs: PlanInputs) -> float:
    """Standard deviation of what the work's place is off the sensor's [K].

    Of what an instrumented run showed between the two sensors half is believed, either way; but not what a calibration
    that came later explains.
    """
    if not _measured(inputs):
        return PLACE_C
    targets = {hold.number: hold.target_c for hold in inputs.recipe.holds}
    known = [0.0, *(set_c - targets[number] for number, set_c in inputs.set_to_c.items())]
    offsets = [min((one.packet.sensor_offset_c + high_c for high_c in known), key=abs) for one in inputs.pieces]
    return math.hypot(PLACE_AGAIN_C, 0.5 * max(map(abs, offsets)))


def _holds(inputs: PlanInputs) -> tuple[list[HoldPlan], tuple[str, ...]]:
    """Every hold in turn, each with what was found for those before it, and the order of pulling."""
    recipe = inputs.recipe
    steps, loading = _steps(recipe), loading_of(inputs)
    holds = [step for step in steps if isinstance(step, Hold)]
    if not holds:
        raise NothingToPlan(
            f"{recipe.name}: has no hold, so there is nothing to plan. Add a [[step]] with hold_minutes."
        )
    chambers = _chambers(inputs)
    lasts: dict[int, float] = {}
    made: list[HoldPlan] = []
    for hold in holds:
        upto = steps[: steps.index(hold) + 1]
        for looked_s in (LOOKED_S, LONGEST_S):
            until = lasts | {hold.number: hold.required_s + looked_s}
            courses = [course(upto, until, one, inputs.furnace, loading) for one in chambers]
            found = _hold(inputs, hold, courses, loading, is_last=hold is holds[-1])
            if not any(one.never for one in found.pieces):
                break
        made.append(found)
        lasts[hold.number] = made[-1].typed_s
    return made, tuple(one.piece.name for one in _in_order(made[-1].pieces))


def _hold(
    inputs: PlanInputs, hold: Hold, courses: Sequence[ChamberCourse], loading: Loading | None, *, is_last: bool
) -> HoldPlan:
    loaded = loading is not None and loading.step == hold.number
    inside = all(each.load_s is not None for each in courses) or inputs.recipe.load_at_c is None
    by_blade = bool(inputs.pieces) and inside and hold.soak_from == "work" and hold.judged
    pieces: tuple[PieceTimes, ...] = ()
    if inside and inputs.pieces and (by_blade or is_last):
        lags = _lags(inputs, hold, courses) if by_blade else chamber_lags(hold, courses, len(inputs.pieces))
        pieces = _piece_times(inputs, hold, lags, apart_s=PULLING_S if is_last else 0.0)
        lasts_s = max(one.out_s for one in pieces) + (PULLING_S * (len(pieces) - 1) if is_last else 0.0)
        latest = [one.latest_s for one in pieces if one.latest_s is not None]
        lasts_s = min(lasts_s, max([*latest, max(one.out_s for one in pieces)])) if latest else lasts_s
    else:
        lags = chamber_lags(hold, courses, 1)
        until_s = lags.until_s(hold.required_s)[0]
        lasts_s = _quantile(until_s if inside else until_s - lags.shown_s[0], HIGH_SHARE)
    waited_s = loading.after_s if loaded and loading is not None else 0.0
    known_c = inputs.set_to_c.get(hold.number)
    set_c = hold.target_c + inputs.recipe.program.offset_c if known_c is None else known_c
    return HoldPlan(
        step=hold.number,
        target_c=hold.target_c,
        lower_c=hold.lower_c,
        upper_c=hold.upper_c,
        required_s=hold.required_s,
        at_most_s=hold.at_most_s,
        setpoint_c=set_c,
        typed_s=whole_minutes(lasts_s + waited_s),
        shown_c=_first_edge_c(inputs.recipe, hold) + (0.0 if known_c is None else known_c - hold.target_c),
        enter=Span(0.0, 0.0, 0.0),
        decides="blade" if by_blade else "chamber",
        loaded=loaded,
        pieces=pieces,
        below_share=float(lags.below.max()),
    )


def _first_edge_c(recipe: Recipe, hold: Hold) -> float:
    """The edge through which the chamber comes into a hold's band: the upper one on the way down."""
    before = [step for step in recipe.holds if step.number < hold.number and step.cycle == hold.cycle]
    return hold.upper_c if before and before[-1].target_c > hold.target_c else hold.lower_c


def whole_minutes(time_s: float) -> float:
    """So long in whole minutes, never less [s]."""
    return MINUTE_S * math.ceil(time_s / MINUTE_S - 1e-6)


def _lags(inputs: PlanInputs, hold: Hold, courses: Sequence[ChamberCourse]) -> Lags:
    """Lags of all pieces over all chambers; what was learned is applied to them."""
    found = crossings(courses, inputs.pieces, inputs.rack, hold)
    shown = [since_s(each, hold.number) for each in courses]
    lags = Lags(
        np.concatenate([one.draws_s - one.chamber_s for one in found], axis=1),
        found[0].best_s - found[0].chamber_best_s,
        np.concatenate([one.draws_s - at_s for one, at_s in zip(found, shown, strict=True)], axis=1),
        found[0].best_s - shown[0],
        np.concatenate([one.below for one in found], axis=1),
        found[0].below_best,
    )
    return taught(inputs.learned, lags)


def _piece_times(inputs: PlanInputs, hold: Hold, lags: Lags, *, apart_s: float) -> tuple[PieceTimes, ...]:
    """Each piece's window, then the moment that suits all, or each its own; pulled in turn, ``apart_s`` apart."""
    windows = [_window(hold, lags, n) for n in range(len(inputs.pieces))]
    times = []
    for n, ((earliest, latest), out_s) in enumerate(zip(windows, out_times_s(windows, apart_s), strict=True)):
        lag = Span(*map(_known, _bounds(lags.draws_s[n], float(lags.best_s[n]), len(inputs.pieces))))
        shown = Span(*map(_known, _bounds(lags.shown_s[n], float(lags.shown_best_s[n]), len(inputs.pieces))))
        soak = Span(*_bounds(*lags.soaks_s(out_s, n), len(inputs.pieces)))
        never = float(np.mean(np.isinf(lags.draws_s[n])))
        times.append(PieceTimes(inputs.pieces[n], lag, shown, earliest, latest, out_s, soak, never))
    return tuple(times)


def out_times_s(windows: Sequence[tuple[float, float | None]], apart_s: float) -> list[float]:
    """When each piece comes out [s], by the windows (earliest, latest): one moment where it suits all, pulled in turn.

    Else each its own, so far apart as a hand needs; the latest is kept where it cannot be both.
    """
    opens = max(earliest for earliest, _ in windows)
    last = [math.inf if latest is None else latest for _, latest in windows]
    if all(opens + apart_s * turn <= late for turn, late in enumerate(sorted(last))):
        return [opens] * len(windows)
    order = sorted(range(len(windows)), key=lambda n: (min(windows[n][0], last[n]), last[n]))
    times = [0.0] * len(windows)
    free_s = -math.inf
    for n in order:
        times[n] = max(windows[n][0], free_s)
        free_s = times[n] + apart_s
    before_s = math.inf
    for n in reversed(order):
        times[n] = min(times[n], last[n], before_s)
        before_s = times[n] - apart_s
    return times


def _window(hold: Hold, lags: Lags, n: int) -> tuple[float, float | None]:
    def until_s(soak_s: float) -> tuple[float, float]:
        best_s = lags.shown_best_s[n] + soak_s / (1.0 - lags.below_best[n])
        low, _, high = _bounds(lags.until_s(soak_s)[n], float(best_s), lags.best_s.size)
        return low, high

    latest = None if hold.at_most_s is None else _known(until_s(hold.at_most_s)[0])
    earliest = _known(until_s(hold.required_s)[1]) + MARGIN_S
    rounded = whole_minutes(earliest)
    return (rounded if latest is None or rounded <= latest else earliest), latest


def _bounds(draws: FloatArray, best: float, pieces: int) -> tuple[float, float, float]:
    """Low, likely and high figure of a piece: of several pieces none is to be outside more often than a lone one is."""
    outside = LOW_SHARE / pieces
    low, high = (_quantile(draws, share) for share in (outside, 1.0 - outside))
    return min(low, best), best, max(high, best if math.isfinite(best) else high)


def _known(lag_s: float) -> float:
    return lag_s if math.isfinite(lag_s) else LONGEST_S


def _quantile(values: FloatArray, share: float) -> float:
    ordered = np.sort(values)
    return float(ordered[round(share * (ordered.size - 1))])


def _in_order(pieces: Sequence[PieceTimes]) -> list[PieceTimes]:
    """Who has had enough first comes out first."""
    return sorted(pieces, key=lambda one: (one.out_s, one.latest_s or math.inf, one.lag.high_s))


def _span(values: Sequence[float]) -> Span:
    """The likely one first, the others around it."""
    return Span(min(values), values[0], max(values))


def _saved_s(inputs: PlanInputs, last: HoldPlan, chamber: ChamberCourse) -> float | None:
    """By how much the last hold would be shorter if the packet had been measured once, over the likely chamber."""
    if last.decides != "blade":
        return None
    hold = next(one for one in inputs.recipe.holds if one.number == last.step)
    sure = tuple(replace(one, packet=as_if_measured(one.packet)) for one in inputs.pieces)
    now, then = (_lags(replace(inputs, pieces=pieces), hold, [chamber]) for pieces in (inputs.pieces, sure))
    slowest = [
        max(
            _known(_bounds(lags.shown_s[n], float(lags.shown_best_s[n]), len(inputs.pieces))[2])
            for n in range(len(inputs.pieces))
        )
        for lags in (now, then)
    ]
    return slowest[0] - slowest[1] if slowest[0] - slowest[1] >= MINUTE_S else None


def as_if_measured(packet: PacketModel) -> PacketModel:
    """The packet if one instrumented run had found just its generic figures."""
    if packet.fitted:
        return packet
    known = tuple(min(spread, 0.08) for spread in packet.spread)
    return replace(packet, spread=known, scatter=RUN_TO_RUN, slow_side=1.0)


def program_of(plan: Plan) -> tuple[ProgramStep, ...]:
    """What is typed in: the recipe's steps of one round, with the plan's temperatures and minutes."""
    lasts = {hold.step: hold for hold in plan.holds}
    recipe = plan.inputs.recipe
    steps = [step for step in program_setpoints(recipe, plan.inputs.set_to_c) if step.cycle == 1]
    typed = []
    for place, step in enumerate(steps):
        following = steps[place + 1] if place + 1 < len(steps) else None
        hold = lasts.get(step.number) or (lasts.get(following.number) if following is not None else None)
        set_c = step.setpoint_c if hold is None else hold.setpoint_c
        held_s = lasts[step.number].typed_s if step.number in lasts else None
        typed.append(replace(step, setpoint_c=set_c, hold_s=held_s))
    return tuple(typed)
