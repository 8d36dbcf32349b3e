"""From a trace to placed holds: assignment, edges, and the check that a hold was more than passed through."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.holds import assignment, edges, passing
from soakwitness.analysis.verification.holds.assignment import BandStay, Blocks
from soakwitness.analysis.verification.holds.edges import Edges
from soakwitness.analysis.verification.inputs.readings import Readings

LEVEL_STAY_S = 300.0
LEAST_SHARE = 0.02
SWING_C = 15.0
FEWEST_LEVEL = 3  # blocks


@dataclass(frozen=True)
class Placed:
    """A found hold: its stays and edges on the trace. ``edges`` None: it was level but never inside the band.

    ``window_s`` is where the way to the hold began: the coldest point before it (hottest, where reached from above).
    """

    hold: Hold
    stays: tuple[BandStay, ...]
    edges: Edges | None
    window_s: float | None = None


def place_holds(
    readings: Readings, recipe: Recipe, *, reach_c: float = 0.0, blocks: Blocks | None = None
) -> tuple[Placed | None, ...]:
    """Place every hold of a recipe on a trace, in the recipe's order; None where the run has no such hold.

    ``reach_c`` [K] is how far outside its band a level stretch may lie and still be taken for the hold, at least two
    bands; ``blocks`` the trace's block medians, where they are there already.
    """
    if not recipe.holds:
        return ()
    blocks = blocks or assignment.block_medians(readings.t_s, readings.temp_c, readings.period_s)
    assigned = assignment.assign(blocks, _swinging(recipe), resolution_c=readings.resolution_c)
    stays = [_possible(readings, hold, many, reach_c) for hold, many in zip(recipe.holds, assigned.stays, strict=True)]
    _join_rounds(readings, recipe, stays)
    placed = _without_passings(readings, recipe, stays, assigned.begin_s, blocks)
    if _recover(readings, recipe, placed, stays):
        placed = _without_passings(readings, recipe, stays, assigned.begin_s, blocks)
    return tuple(placed)


def _without_passings(
    readings: Readings,
    recipe: Recipe,
    stays: list[tuple[BandStay, ...]],
    begins_s: tuple[float | None, ...],
    blocks: Blocks,
) -> list[Placed | None]:
    """Edges of all holds; stays that only pass through a band are dropped and the edges taken anew."""
    while True:
        placed = _edges_of(readings, recipe, stays, begins_s, blocks)
        passed = [number for number in range(len(placed)) if _passes(readings, placed, number)]
        if not passed:
            return placed
        for number in passed:
            stays[number] = ()


def _recover(
    readings: Readings, recipe: Recipe, placed: list[Placed | None], stays: list[tuple[BandStay, ...]]
) -> bool:
    """Find holds that stand in their band, between those before and after, though the search passed them over."""
    found = False
    for number, hold in enumerate(recipe.holds):
        if placed[number] is not None:
            continue
        before = [p for p in placed[:number] if p is not None]
        after = [p for p in placed[number + 1 :] if p is not None]
        since = max((p.edges.leave_s if p.edges else p.stays[-1].end_s for p in before), default=-np.inf)
        until = min((p.edges.enter_s if p.edges else p.stays[0].start_s for p in after), default=np.inf)
        stay = passing.standing(readings, hold, since, until)
        if stay is not None:
            stays[number], found = (stay,), True
            placed[number] = Placed(hold, (stay,), None)
    return found


def _join_rounds(readings: Readings, recipe: Recipe, stays: list[tuple[BandStay, ...]]) -> None:
    """Of rounds at one temperature, those without leaving the band between are one, and the first ones come first."""
    # As often as there are holds, so that a later round comes all the way to the first place that is free.
    for number in [*range(len(stays) - 1)] * len(stays):
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


def place_again(
    readings: Readings, recipe: Recipe, placed: tuple[Placed | None, ...], chamber_ends_s: float
) -> tuple[Placed | None, ...]:
    """The holds as placed on the chamber, with the edges of a load sensor that lags behind it.

    It must enter before the chamber leaves, and its stay ends at its first crossing of either edge after that;
    ``edges`` None where it did not. A hold in which the chamber's readings end, at ``chamber_ends_s`` [s], was not left
    then: what the load sensor shows by itself counts.
    """
    alone: tuple[Placed | None, ...] = ()
    if readings.t_s[-1] > chamber_ends_s and any(p and p.edges and not p.edges.left for p in placed):
        alone = place_holds(readings, recipe)
    result: list[Placed | None] = []
    after_s, previous = float(readings.t_s[0]), None
    for number, (hold, here) in enumerate(zip(recipe.holds, placed, strict=True)):
        if here is None:
            result.append(None)
            continue
        shown = alone[number] if alone and here.edges and not here.edges.left else None
        if shown and shown.edges and here.edges and shown.edges.leave_s >= here.edges.leave_s:
            result.append(shown)
            continue
        begin_s = max(after_s, here.window_s) if here.window_s is not None and previous is None else after_s
        chamber_leaves_s = here.edges.leave_s if here.edges is not None else here.stays[-1].end_s
        from_above = previous is not None and previous > hold.target_c
        mine = _load_edges(readings, hold, here, begin_s, chamber_leaves_s, from_above)
        result.append(Placed(hold, here.stays, mine, begin_s))
        after_s = max(after_s, min(mine.leave_s if mine else chamber_leaves_s, float(readings.t_s[-1])))
        previous = hold.target_c
    return tuple(result)


def _load_edges(
    readings: Readings, hold: Hold, here: Placed, begin_s: float, chamber_leaves_s: float, from_above: bool
) -> Edges | None:
    """Enter and leave of a load sensor in one hold of the chamber."""
    first = BandStay(min(here.stays[0].start_s, chamber_leaves_s), chamber_leaves_s)
    entered = edges.enter(readings, hold, first, after_s=begin_s, from_above=from_above)
    if entered is None or entered[0] > chamber_leaves_s:
        return None
    inside = edges.in_band(readings, hold, entered[0], chamber_leaves_s)
    if not inside.size and not entered[1]:
        return None
    climbs = bool(here.edges and here.edges.left_upward)
    leave_s, left, upward = edges.leave_after(readings, hold, entered[0], chamber_leaves_s, climbs=climbs)
    left = left or bool(here.edges and here.edges.left and leave_s < float(readings.t_s[-1]))
    return Edges(entered[0], max(leave_s, entered[0]), entered[1], left, upward, entered[2])


def _edges_of(
    readings: Readings,
    recipe: Recipe,
    stays: list[tuple[BandStay, ...]],
    begins_s: tuple[float | None, ...],
    blocks: Blocks,
) -> list[Placed | None]:
    """Edges of all holds that have a stay, in order."""
    holds = recipe.holds
    found = [i for i, s in enumerate(stays) if s]
    placed: list[Placed | None] = [None] * len(holds)
    after_s, previous = float(readings.t_s[0]), None
    for place, number in enumerate(found):
        hold, mine = holds[number], stays[number]
        while len(mine) > 1 and passing.only_passes(readings, hold, mine[0], mine[1].start_s):
            mine = mine[1:]  # on the way down from a hotter hold; this one came after
        following = found[place + 1] if place + 1 < len(found) else None
        before_s = stays[following][0].start_s if following is not None else float(readings.t_s[-1])
        begin = begins_s[number]
        begin_s = max(after_s, begin) if begin is not None else after_s
        if not _mostly_near(readings, hold, mine):
            placed[number] = Placed(hold, mine, None, _way_from(readings, begin_s, mine[0]))
            after_s, previous = max(after_s, mine[-1].end_s), number
            continue
        from_above = previous is not None and holds[previous].target_c > hold.target_c
        if number == 0 or previous == number - 1:
            since = begin_s if number else float(readings.t_s[0])
            earlier = passing.earlier_stay(readings, hold, mine[0], max(since, after_s))
            if earlier is not None:
                mine, begin_s = (earlier, *mine), max(since, after_s)
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
        if mark.left_upward and following is not None:
            mark = _with_level_above(readings, recipe, number, holds[following], mark, before_s, blocks)
        placed[number] = Placed(hold, mine, mark, entered[3])
        after_s, previous = mark.leave_s, number
    return placed


def _with_level_above(
    readings: Readings, recipe: Recipe, number: int, next_hold: Hold, mark: Edges, before_s: float, blocks: Blocks
) -> Edges:
    """A level part above the band that is nearer to this hold than to the next belongs to it: it is left at its end."""
    hold = recipe.holds[number]
    nearer_c = (hold.target_c + next_hold.target_c) / 2.0
    slope = assignment.slope_reference(recipe, number, readings.resolution_c)
    parts = level_parts(blocks, slope, (hold.upper_c, nearer_c), (mark.leave_s, before_s))
    long = [end for start, end in parts if end - start > hold.hot_s]
    return replace(mark, leave_s=max(mark.leave_s, min(long[-1], before_s))) if long else mark


def level_parts(
    blocks: Blocks, slope_c_per_h: float, between_c: tuple[float, float], between_s: tuple[float, float]
) -> list[tuple[float, float]]:
    """Stretches (from, to) [s] in which a trace stood level: slope below ``slope_c_per_h``, within [degC] and [s]."""
    flat = np.minimum(np.abs(blocks.left_c_per_h), np.abs(blocks.right_c_per_h)) < slope_c_per_h
    part = flat & (blocks.temp_c > between_c[0]) & (blocks.temp_c < between_c[1])
    part &= (blocks.t_s >= between_s[0]) & (blocks.t_s <= between_s[1])
    ends = np.flatnonzero(np.diff(np.concatenate(([False], part, [False])).astype(np.int8)))
    half_s = blocks.block_s / 2.0
    return [
        (float(blocks.t_s[a]) - half_s, float(blocks.t_s[b - 1]) + half_s)
        for a, b in ends.reshape(-1, 2)
        if _surely_level(blocks.t_s[a:b], blocks.temp_c[a:b], slope_c_per_h)
    ]


def _surely_level(t_s: FloatArray, temp_c: FloatArray, slope_c_per_h: float) -> bool:
    """Whether a line through the blocks of a stretch is level, two standard errors included: noise is no level part."""
    if t_s.size < FEWEST_LEVEL:
        return False
    t = t_s - t_s.mean()
    spread = float(t @ t)
    slope = float(t @ temp_c) / spread
    off = temp_c - temp_c.mean() - slope * t
    error = np.sqrt(float(off @ off) / (t_s.size - 2) / spread)
    return bool((abs(slope) + 2.0 * error) * 3600.0 < slope_c_per_h)


def _after_hotter(
    readings: Readings, recipe: Recipe, number: int, previous: int | None, since_s: float, stay: BandStay
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


def _mostly_near(readings: Readings, hold: Hold, stays: tuple[BandStay, ...]) -> bool:
    """Whether at least some of the stays' readings are in the band; else it was level beside it."""
    seen = inside = 0
    for stay in stays:
        low, high = readings.between(stay.start_s, stay.end_s)
        seen += high - low
        inside += int(edges.in_band(readings, hold, stay.start_s, stay.end_s).size)
    return seen * LEAST_SHARE <= inside


def _way_from(readings: Readings, since_s: float, stay: BandStay) -> float:
    """Coldest point before a stay [s]."""
    low, high = readings.between(since_s, stay.start_s)
    part = readings.temp_c[low:high]
    return float(readings.t_s[low + int(part.argmin())]) if part.size else since_s


def _possible(readings: Readings, hold: Hold, stays: tuple[BandStay, ...], reach_c: float) -> tuple[BandStay, ...]:
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
    """Whether any reading [degC] is inside the band."""
    return bool(np.any((temp_c >= hold.lower_c) & (temp_c <= hold.upper_c)))
