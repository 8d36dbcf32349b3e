"""From a trace to placed holds: assignment, edges, and the check that a hold was more than passed through."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.recipes.model import Hold, Recipe
from soakwitness.analysis.runs import FloatArray, Trace
from soakwitness.analysis.verification import assignment, edges, passing
from soakwitness.analysis.verification.assignment import Blocks, Stay
from soakwitness.analysis.verification.edges import Edges, Readings

LEVEL_STAY_S = 300.0
LEAST_SHARE = 0.02
SWING_C = 15.0


@dataclass(frozen=True)
class Placed:
    """A found hold: its stays and edges on the trace. ``edges`` None: it was level but never inside the band.

    ``window_s`` is where the way to the hold began: the coldest point before it (hottest, where reached from above).
    """

    hold: Hold
    stays: tuple[Stay, ...]
    edges: Edges | None
    window_s: float | None = None


def readings_of(trace: Trace) -> Readings:
    """Drop the holes of a trace.

    Parameters
    ----------
    trace : Trace
        The trace.

    Returns
    -------
    Readings
        Its finite readings.
    """
    seen = np.isfinite(trace.temp_c)
    t_s, temp_c = (trace.t_s, trace.temp_c) if seen.all() else (trace.t_s[seen], trace.temp_c[seen])
    return Readings(t_s, temp_c, trace.resolution_c, max(trace.period_s, _usual_distance(t_s)))


def _usual_distance(t_s: FloatArray) -> float:
    """Median distance of readings [s]: a slow link or a slow sensor makes no gap of every interval."""
    if t_s.size < 2:
        return 0.0
    some = np.arange(0, t_s.size - 1, max(1, t_s.size // 20_000))
    return float(np.median(t_s[some + 1] - t_s[some]))


def place_holds(
    readings: Readings, recipe: Recipe, *, reach_c: float = 0.0, blocks: Blocks | None = None
) -> tuple[Placed | None, ...]:
    """Place every hold of a recipe on a trace.

    Parameters
    ----------
    readings : Readings
        The trace.
    recipe : Recipe
        The recipe.
    reach_c : float
        How far outside its band a level stretch may lie and still be taken for the hold, at least two bands [K].
    blocks : Blocks, optional
        The trace's block medians, where they are there already.

    Returns
    -------
    tuple of Placed or None
        One a hold, in the recipe's order; None where the run has no such hold.
    """
    if not recipe.holds:
        return ()
    blocks = blocks or assignment.block_medians(readings.t_s, readings.temp_c, readings.period_s)
    assigned = assignment.assign(blocks, _swinging(recipe), resolution_c=readings.resolution_c)
    stays = [_possible(readings, hold, many, reach_c) for hold, many in zip(recipe.holds, assigned.stays, strict=True)]
    _join_rounds(readings, recipe, stays)
    placed: list[Placed | None] = []
    while True:
        placed = _edges_of(readings, recipe, stays, assigned.begin_s)
        passed = [number for number in range(len(placed)) if _passes(readings, placed, number)]
        if not passed:
            return tuple(placed)
        for number in passed:
            stays[number] = ()


def _join_rounds(readings: Readings, recipe: Recipe, stays: list[tuple[Stay, ...]]) -> None:
    """Of rounds at one temperature, those without leaving the band between are one, and the first ones come first."""
    for number in range(len(stays) - 1):
        mine, theirs, hold = stays[number], stays[number + 1], recipe.holds[number]
        if not theirs or not hold.lower_c <= recipe.holds[number + 1].target_c <= hold.upper_c:
            continue
        if mine:
            low, high = readings.between(mine[-1].end_s, theirs[0].start_s)
            between = readings.temp_c[low:high]
        if not mine or between.min(initial=np.inf) >= hold.lower_c - readings.back_c:
            stays[number], stays[number + 1] = (*mine, *theirs), ()


def _swinging(recipe: Recipe) -> Recipe:
    """The recipe with wider bands for holds that are judged by their mean, to look for them only."""
    return replace(
        recipe,
        steps=tuple(
            replace(s, below_c=s.below_c + SWING_C, above_c=s.above_c + SWING_C)
            if isinstance(s, Hold) and s.judge_by == "mean"
            else s
            for s in recipe.steps
        ),
    )


def _passes(readings: Readings, placed: list[Placed | None], number: int) -> bool:
    """Whether a placed hold was only passed through."""
    here = placed[number]
    if here is None or here.edges is None:
        return False
    before = next((p for p in reversed(placed[:number]) if p is not None), None)
    after = next((p for p in placed[number + 1 :] if p is not None), None)
    return passing.passes_through(
        readings,
        here.hold,
        here.edges,
        after_s=before.edges.leave_s if before and before.edges else -np.inf,
        before_s=after.edges.enter_s if after and after.edges else np.inf,
    )


def place_again(readings: Readings, recipe: Recipe, placed: tuple[Placed | None, ...]) -> tuple[Placed | None, ...]:
    """Find the edges of holds on another trace of the same run, such as a load sensor that lags behind.

    Parameters
    ----------
    readings : Readings
        The other trace.
    recipe : Recipe
        The recipe.
    placed : tuple of Placed or None
        The holds as placed on the chamber's trace.

    Returns
    -------
    tuple of Placed or None
        The same holds with the other trace's edges; ``edges`` None where it never was in the band.
    """
    stays = [() if p is None else p.stays for p in placed]
    begins = tuple(None if p is None else p.window_s for p in placed)
    return tuple(_edges_of(readings, recipe, stays, begins))


def _edges_of(
    readings: Readings,
    recipe: Recipe,
    stays: list[tuple[Stay, ...]],
    begins_s: tuple[float | None, ...],
) -> list[Placed | None]:
    """Edges of all holds that have a stay, in order."""
    holds = recipe.holds
    found = [i for i, s in enumerate(stays) if s]
    placed: list[Placed | None] = [None] * len(holds)
    after_s, previous = float(readings.t_s[0]), None
    for place, number in enumerate(found):
        hold, mine = holds[number], stays[number]
        following = found[place + 1] if place + 1 < len(found) else None
        before_s = stays[following][0].start_s if following is not None else float(readings.t_s[-1])
        begin = begins_s[number]
        begin_s = max(after_s, begin) if begin is not None else after_s
        if not _mostly_near(readings, hold, mine):
            placed[number] = Placed(hold, mine, None, _way_from(readings, begin_s, mine[0]))
            after_s, previous = max(after_s, mine[-1].end_s), number
            continue
        from_above = previous is not None and holds[previous].target_c > hold.target_c
        begin_s = max(begin_s, _after_hotter(readings, recipe, number, previous, begin_s, mine[0]))
        entered = edges.enter(readings, hold, mine[0], after_s=begin_s, from_above=from_above)
        if entered is None:
            placed[number] = Placed(hold, mine, None, begin_s)
            after_s, previous = max(after_s, mine[-1].end_s), number
            continue
        while len(mine) > 1 and passing.only_passes(readings, hold, mine[-1], before_s):
            mine = mine[:-1]
        climbs = following is not None and holds[following].target_c > hold.target_c
        while True:
            left = edges.leave(
                readings,
                hold,
                mine[-1],
                enter_s=entered[0],
                before_s=before_s,
                climbs=climbs,
                hotter_follows=any(h.target_c > hold.target_c for h in holds[number + 1 :]),
            )
            mark = Edges(entered[0], left[0], entered[1], left[1], left[2], entered[2])
            more = passing.later_stay(readings, hold, mark, before_s)
            if more is None:
                break
            mine = (*mine, more)
        placed[number] = Placed(hold, mine, mark, entered[3])
        after_s, previous = left[0], number
    return placed


def _after_hotter(
    readings: Readings, recipe: Recipe, number: int, previous: int | None, since_s: float, stay: Stay
) -> float:
    """Where the hotter hold before was hottest, if that one was not found though the trace was there [s].

    What comes from there is reached from above; the climb before belongs to the hold that was not found.
    """
    if number == 0 or previous == number - 1:
        return since_s
    before = recipe.holds[number - 1]
    low, high = readings.between(since_s, stay.start_s)
    part = readings.temp_c[low:high]
    if before.target_c <= recipe.holds[number].target_c or not part.size or part.max() < _near(before):
        return since_s
    return float(readings.t_s[low + int(part.argmax())])


def _near(hold: Hold) -> float:
    """A band's width below a hold's band: hot enough to have been meant for it [degC]."""
    return hold.lower_c - (hold.below_c + hold.above_c)


def _mostly_near(readings: Readings, hold: Hold, stays: tuple[Stay, ...]) -> bool:
    """Whether at least some of the stays' readings are in the band; else it was level beside it."""
    seen = inside = 0
    for stay in stays:
        low, high = readings.between(stay.start_s, stay.end_s)
        seen += high - low
        inside += int(edges.in_band(readings, hold, stay.start_s, stay.end_s).size)
    return seen * LEAST_SHARE <= inside


def _way_from(readings: Readings, since_s: float, stay: Stay) -> float:
    """Coldest point before a stay [s]."""
    low, high = readings.between(since_s, stay.start_s)
    part = readings.temp_c[low:high]
    return float(readings.t_s[low + int(part.argmin())]) if part.size else since_s


def _possible(readings: Readings, hold: Hold, stays: tuple[Stay, ...], reach_c: float) -> tuple[Stay, ...]:
    """Drop stays without a reading in the band; a long level stretch near it is kept: a hold out of its band."""
    reach = max(2.0 * (hold.below_c + hold.above_c), reach_c)
    kept = []
    for stay in stays:
        low, high = readings.between(stay.start_s, stay.end_s)
        part = readings.temp_c[low:high]
        if in_band_any(part, hold) or (
            stay.end_s - stay.start_s >= LEVEL_STAY_S and abs(float(np.median(part)) - hold.target_c) < reach
        ):
            kept.append(stay)
    return tuple(kept)


def in_band_any(temp_c: FloatArray, hold: Hold) -> bool:
    """Tell whether any reading is inside the band.

    Parameters
    ----------
    temp_c : ndarray
        Readings [degC], shape (n,).
    hold : Hold
        The hold.

    Returns
    -------
    bool
        Whether one is.
    """
    return bool(np.any((temp_c >= hold.lower_c) & (temp_c <= hold.upper_c)))
