"""The plan: minutes that give the slowest blade its soak and the fastest no more than is allowed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.packet.estimate import HIGH_SHARE, LOW_SHARE
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.packet_runs.fitting import RUN_TO_RUN
from soakwitness.analysis.planning.blades import crossings, estimates
from soakwitness.analysis.planning.cautioning import says_of
from soakwitness.analysis.planning.expected_chamber import (
    STEP_S,
    ChamberCourse,
    Loading,
    PossibleChamber,
    course,
    drawn_chambers,
    likely_chamber,
)
from soakwitness.analysis.planning.expecting import expected
from soakwitness.analysis.planning.plan import HoldPlan, PieceTimes, Plan, PlanInputs, Span
from soakwitness.analysis.planning.rack_places import placed
from soakwitness.analysis.recipes.program import ProgramStep, program_setpoints
from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe

FloatArray = npt.NDArray[np.float64]
LOOKED_S, LONGEST_S = 3600.0, 3 * 3600.0  # how long after the chamber a blade may come into the band; most are quick
MARGIN_S = 30.0  # a pull is not made to the second, nor is an edge read to it
WAITS_S = 300.0  # the hot furnace stands at its level so long before the load: its walls are to be warm too
PULLING_S = 30.0  # from one piece to the next
MINUTE_S = 60.0


class NothingToPlan(AnalysisError):
    """A recipe without a hold."""


@dataclass(frozen=True)
class _Lags:
    """Lags in one hold from when its soak may begin [s], inf for never.

    Draws, shape (pieces, n), and by the best figures, shape (pieces,).
    """

    draws_s: FloatArray
    best_s: FloatArray


def make_plan(inputs: PlanInputs) -> Plan:
    """Plan a run.

    Raises NothingToPlan for a recipe without holds, TooMany for more packets than the rack has slots.
    """
    inputs = replace(inputs, pieces=placed(inputs.pieces, inputs.rack))
    holds, pulls = _holds(inputs)
    steps = _steps(inputs.recipe)
    loading = loading_of(inputs.recipe)
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


def loading_of(recipe: Recipe) -> Loading | None:
    """When the charge goes in: None where it rides the first ramp."""
    if recipe.load_at_c is None:
        return None
    near = [h for h in recipe.holds if h.cycle == 1 and h.lower_c - 10.0 <= recipe.load_at_c <= h.upper_c + 10.0]
    return Loading(near[0].number, WAITS_S) if near else Loading(None, at_c=recipe.load_at_c)


def since_s(chamber: ChamberCourse, step: int) -> float:
    """From when the soak in a hold may count: the chamber's entering, or the load where that is later."""
    return max(chamber.enters[step], chamber.load_s or 0.0)


def _steps(recipe: Recipe) -> list[Ramp | Hold]:
    return [step for step in recipe.steps if step.cycle == 1]


def _chambers(inputs: PlanInputs) -> tuple[PossibleChamber, ...]:
    error_c = max(inputs.error_c.values(), default=0.0) / 2.0
    chambers = (likely_chamber(inputs.furnace), *drawn_chambers(inputs.furnace, error_c=error_c))
    typed_c = 0.0 if inputs.set_to_c else inputs.recipe.program.offset_c  # nothing is known: the display goes there
    return tuple(replace(one, shifted_c=one.shifted_c + typed_c) for one in chambers)


def _holds(inputs: PlanInputs) -> tuple[list[HoldPlan], tuple[str, ...]]:
    """Every hold in turn, each with what was found for those before it, and the order of pulling."""
    recipe = inputs.recipe
    steps, loading = _steps(recipe), loading_of(recipe)
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
        lags = _lags(inputs, hold, courses) if by_blade else _chamber_lags(hold, courses, len(inputs.pieces))
        pieces = _piece_times(inputs, hold, lags)
        lasts_s = max(one.out_s for one in pieces) + (PULLING_S * (len(pieces) - 1) if is_last else 0.0)
        latest = [one.latest_s for one in pieces if one.latest_s is not None]
        lasts_s = min(lasts_s, max([*latest, max(one.out_s for one in pieces)])) if latest else lasts_s
    else:
        lags = _chamber_lags(hold, courses, 1)
        lasts_s = hold.required_s + (_quantile(lags.draws_s[0], HIGH_SHARE) if inside else 0.0)
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
    )


def _first_edge_c(recipe: Recipe, hold: Hold) -> float:
    """The edge through which the chamber comes into a hold's band: the upper one on the way down."""
    before = [step for step in recipe.holds if step.number < hold.number and step.cycle == hold.cycle]
    return hold.upper_c if before and before[-1].target_c > hold.target_c else hold.lower_c


def whole_minutes(time_s: float) -> float:
    """So long in whole minutes, never less [s]."""
    return MINUTE_S * math.ceil(time_s / MINUTE_S - 1e-6)


def _lags(inputs: PlanInputs, hold: Hold, courses: Sequence[ChamberCourse]) -> _Lags:
    """Lags of all pieces over all chambers; what was learned is applied to them."""
    draws, best = [], np.zeros(len(inputs.pieces))
    for number, each in enumerate(courses):
        at_s = since_s(each, hold.number)
        found = crossings(estimates(each, inputs.pieces, inputs.rack), hold.lower_c, at_s)
        draws.append(np.nan_to_num(found.draws_s - at_s, nan=np.inf))
        if number == 0:
            best = np.nan_to_num(found.best_s - at_s, nan=np.inf)
    return taught(inputs, _Lags(np.concatenate(draws, axis=1), best))


def taught(inputs: PlanInputs, lags: _Lags) -> _Lags:
    """The lags by what the last runs showed: their middle moved, and drawn together where runs agree better."""
    learned = inputs.learned
    if learned is None or not learned.used:
        return lags
    best = lags.best_s * learned.factor
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(np.maximum(lags.draws_s, 1.0) / np.maximum(lags.best_s, 1.0)[:, None])
    spread = np.array([float(np.std(row[np.isfinite(row)])) if np.isfinite(row).any() else 1.0 for row in logs])
    narrower = np.minimum(1.0, learned.spread / np.maximum(spread, 1e-6))
    return _Lags(best[:, None] * np.exp(logs * narrower[:, None]), best)


def _chamber_lags(hold: Hold, courses: Sequence[ChamberCourse], pieces: int) -> _Lags:
    """Where the chamber's own minutes count: none, or until it is back from the load."""
    lags = []
    for each in courses:
        at_s = since_s(each, hold.number)
        outside = np.flatnonzero((each.t_s >= at_s) & (each.temp_c < hold.lower_c))
        back_s = float(each.t_s[outside[-1]]) + STEP_S if outside.size and each.load_s == at_s else at_s
        lags.append(back_s - at_s)
    return _Lags(np.tile(np.array(lags), (pieces, 1)), np.full(pieces, lags[0]))


def _piece_times(inputs: PlanInputs, hold: Hold, lags: _Lags) -> tuple[PieceTimes, ...]:
    """Each piece's window, then the moment that suits all, or each its own."""
    windows = [_window(hold, lags, n) for n in range(len(inputs.pieces))]
    opens = max(earliest for earliest, _ in windows)
    closes = min((latest for _, latest in windows if latest is not None), default=math.inf)
    times = []
    for n, (earliest, latest) in enumerate(windows):
        out_s = opens if opens <= closes else earliest if latest is None else min(earliest, latest)
        lag = Span(*(_known(v) for v in _bounds(lags, n)))
        soak = Span(max(out_s - lag.high_s, 0.0), max(out_s - lag.best_s, 0.0), max(out_s - lag.low_s, 0.0))
        never = float(np.mean(np.isinf(lags.draws_s[n])))
        times.append(PieceTimes(inputs.pieces[n], lag, earliest, latest, out_s, soak, never))
    return tuple(times)


def _window(hold: Hold, lags: _Lags, n: int) -> tuple[float, float | None]:
    low, _, high = (_known(value) for value in _bounds(lags, n))
    latest = None if hold.at_most_s is None else hold.at_most_s + low
    earliest = hold.required_s + high + MARGIN_S
    rounded = whole_minutes(earliest)
    return (rounded if latest is None or rounded <= latest else earliest), latest


def _bounds(lags: _Lags, n: int) -> tuple[float, float, float]:
    """Low, likely and high lag of a piece: of several pieces none is to be outside more often than a lone one is."""
    outside = LOW_SHARE / lags.best_s.size
    low, high = (_quantile(lags.draws_s[n], share) for share in (outside, 1.0 - outside))
    best = float(lags.best_s[n])
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
    slowest = [max(_known(_bounds(lags, n)[2]) for n in range(len(inputs.pieces))) for lags in (now, then)]
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
