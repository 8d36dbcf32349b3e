"""From assigned stays to placed holds: edges, and the check that a hold was more than passed through. No numpy.

One set of rules for whole runs (``placing``) and for the soak clock (``live.standing``).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.verification.rules import edges, passing
from soakwitness.analysis.verification.rules.course import Course, coldest_c, count_in, last_s
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.states import Assignment, BandStay, Blocks, level_parts, slope_reference

LEVEL_STAY_S = 300.0
LEAST_SHARE = 0.02
SWING_C = 15.0


@dataclass(frozen=True)
class Placed:
    """A found hold: its stays and edges on the trace. ``edges`` None: it was level but never inside the band.

    ``window_s`` is where the way to the hold began: the coldest point before it (hottest, where reached from above).
    """

    hold: Hold
    stays: tuple[BandStay, ...]
    edges: Edges | None
    window_s: float | None = None


Places = tuple[Placed | None, ...]


def places_of(course: Course, recipe: Recipe, assigned: Assignment, blocks: Blocks, *, reach_c: float = 0.0) -> Places:
    """Place every hold of a recipe on a course, in the recipe's order; None where the run has no such hold.

    ``assigned`` is what the search found with ``searched(recipe)``. ``reach_c`` [K] is how far outside its band a level
    stretch may lie and still be taken for the hold, at least two bands.
    """
    stays = [_possible(course, hold, many, reach_c) for hold, many in zip(recipe.holds, assigned.stays, strict=True)]
    _join_rounds(course, recipe, stays)
    placed = _without_passings(course, recipe, stays, assigned.begin_s, blocks)
    if _recover(course, recipe, placed, stays):
        placed = _without_passings(course, recipe, stays, assigned.begin_s, blocks)
    return tuple(placed)


def _without_passings(
    course: Course,
    recipe: Recipe,
    stays: list[tuple[BandStay, ...]],
    begins_s: tuple[float | None, ...],
    blocks: Blocks,
) -> list[Placed | None]:
    """Edges of all holds; stays that only pass through a band are dropped and the edges taken anew."""
    while True:
        placed = _edges_of(course, recipe, stays, begins_s, blocks)
        passed = [number for number in range(len(placed)) if _passes(course, placed, number)]
        if not passed:
            return placed
        for number in passed:
            stays[number] = ()


def _recover(course: Course, recipe: Recipe, placed: list[Placed | None], stays: list[tuple[BandStay, ...]]) -> bool:
    """Find holds that stand in their band, between those before and after, though the search passed them over."""
    found = False
    for number, hold in enumerate(recipe.holds):
        if placed[number] is not None:
            continue
        before = [p for p in placed[:number] if p is not None]
        after = [p for p in placed[number + 1 :] if p is not None]
        since = max((p.edges.leave_s if p.edges else p.stays[-1].end_s for p in before), default=-math.inf)
        until = min((p.edges.enter_s if p.edges else p.stays[0].start_s for p in after), default=math.inf)
        stay = passing.standing(course, hold, since, until)
        if stay is not None:
            stays[number], found = (stay,), True
            placed[number] = Placed(hold, (stay,), None)
    return found


def _join_rounds(course: Course, recipe: Recipe, stays: list[tuple[BandStay, ...]]) -> None:
    """Of rounds at one temperature, those without leaving the band between are one, and the first ones come first."""
    # As often as there are holds, so that a later round comes all the way to the first place that is free.
    for number in [*range(len(stays) - 1)] * len(stays):
        mine, theirs, hold = stays[number], stays[number + 1], recipe.holds[number]
        if not theirs or not hold.lower_c <= recipe.holds[number + 1].target_c <= hold.upper_c:
            continue
        if mine:
            lowest_c = coldest_c(course, *course.between(mine[-1].end_s, theirs[0].start_s))
        if not mine or lowest_c >= hold.lower_c - course.back_c:
            stays[number], stays[number + 1] = (*mine, *theirs), ()


def searched(recipe: Recipe) -> Recipe:
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


def _passes(course: Course, placed: list[Placed | None], number: int) -> bool:
    """Whether a placed hold was only passed through."""
    here = placed[number]
    if here is None or here.edges is None:
        return False
    before = next((p for p in reversed(placed[:number]) if p is not None), None)
    after = next((p for p in placed[number + 1 :] if p is not None), None)
    return passing.passes_through(
        course,
        here.hold,
        here.edges,
        after_s=before.edges.leave_s if before and before.edges else -math.inf,
        before_s=after.edges.enter_s if after and after.edges else math.inf,
    )


def places_again(
    course: Course, recipe: Recipe, placed: Places, chamber_ends_s: float, by_itself: Callable[[], Places]
) -> Places:
    """The holds as placed on the chamber, with the edges of a load sensor that lags behind it.

    It must enter before the chamber leaves, and its stay ends at its first crossing of either edge after that;
    ``edges`` None where it did not. A hold in which the chamber's readings end, at ``chamber_ends_s`` [s], was not left
    then: what the load sensor shows by itself counts (``by_itself``).
    """
    alone: Places = ()
    if last_s(course) > chamber_ends_s and any(p and p.edges and not p.edges.left for p in placed):
        alone = by_itself()
    result: list[Placed | None] = []
    after_s, previous = float(course.t_s[0]), None
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
        mine = _load_edges(course, hold, here, begin_s, chamber_leaves_s, from_above)
        result.append(Placed(hold, here.stays, mine, begin_s))
        after_s = max(after_s, min(mine.leave_s if mine else chamber_leaves_s, last_s(course)))
        previous = hold.target_c
    return tuple(result)


def _load_edges(
    course: Course, hold: Hold, here: Placed, begin_s: float, chamber_leaves_s: float, from_above: bool
) -> Edges | None:
    """Enter and leave of a load sensor in one hold of the chamber."""
    first = BandStay(min(here.stays[0].start_s, chamber_leaves_s), chamber_leaves_s)
    entered = edges.enter(course, hold, first, after_s=begin_s, from_above=from_above)
    if entered is None or entered[0] > chamber_leaves_s:
        return None
    if not edges.inside_band(course, hold, entered[0], chamber_leaves_s) and not entered[1]:
        return None
    climbs = bool(here.edges and here.edges.left_upward)
    leave_s, left, upward = edges.leave_after(course, hold, entered[0], chamber_leaves_s, climbs=climbs)
    left = left or bool(here.edges and here.edges.left and leave_s < last_s(course))
    return Edges(entered[0], max(leave_s, entered[0]), entered[1], left, upward, entered[2])


def _edges_of(
    course: Course,
    recipe: Recipe,
    stays: list[tuple[BandStay, ...]],
    begins_s: tuple[float | None, ...],
    blocks: Blocks,
) -> list[Placed | None]:
    """Edges of all holds that have a stay, in order."""
    holds = recipe.holds
    found = [i for i, s in enumerate(stays) if s]
    placed: list[Placed | None] = [None] * len(holds)
    after_s, previous = float(course.t_s[0]), None
    for place, number in enumerate(found):
        hold, mine = holds[number], stays[number]
        while len(mine) > 1 and passing.only_passes(course, hold, mine[0], mine[1].start_s):
            mine = mine[1:]  # on the way down from a hotter hold; this one came after
        following = found[place + 1] if place + 1 < len(found) else None
        before_s = stays[following][0].start_s if following is not None else last_s(course)
        begin = begins_s[number]
        begin_s = max(after_s, begin) if begin is not None else after_s
        if not _mostly_near(course, hold, mine):
            placed[number] = Placed(hold, mine, None, _way_from(course, begin_s, mine[0]))
            after_s, previous = max(after_s, mine[-1].end_s), number
            continue
        from_above = previous is not None and holds[previous].target_c > hold.target_c
        if number == 0 or previous == number - 1:
            since = begin_s if number else float(course.t_s[0])
            earlier = passing.earlier_stay(course, hold, mine[0], max(since, after_s))
            if earlier is not None:
                mine, begin_s = (earlier, *mine), max(since, after_s)
        begin_s = max(begin_s, _after_hotter(course, recipe, number, previous, begin_s, mine[0]))
        entered = edges.enter(course, hold, mine[0], after_s=begin_s, from_above=from_above)
        if entered is None:
            placed[number] = Placed(hold, mine, None, begin_s)
            after_s, previous = max(after_s, mine[-1].end_s), number
            continue
        while len(mine) > 1 and passing.only_passes(course, hold, mine[-1], before_s):
            mine = mine[:-1]
        climbs = following is not None and holds[following].target_c > hold.target_c
        while True:
            left = edges.leave(
                course,
                hold,
                mine[-1],
                enter_s=entered[0],
                before_s=before_s,
                climbs=climbs,
                hotter_follows=any(h.target_c > hold.target_c for h in holds[number + 1 :]),
            )
            mark = Edges(entered[0], left[0], entered[1], left[1], left[2], entered[2])
            more = passing.later_stay(course, hold, mark, before_s)
            if more is None:
                break
            mine = (*mine, more)
        if mark.left_upward and following is not None:
            mark = _with_level_above(course, recipe, number, holds[following], mark, before_s, blocks)
        placed[number] = Placed(hold, mine, mark, entered[3])
        after_s, previous = mark.leave_s, number
    return placed


def _with_level_above(
    course: Course, recipe: Recipe, number: int, next_hold: Hold, mark: Edges, before_s: float, blocks: Blocks
) -> Edges:
    """A level part above the band that is nearer to this hold than to the next belongs to it: it is left at its end."""
    hold = recipe.holds[number]
    nearer_c = (hold.target_c + next_hold.target_c) / 2.0
    slope = slope_reference(recipe, number, course.resolution_c)
    parts = level_parts(blocks, slope, (hold.upper_c, nearer_c), (mark.leave_s, before_s))
    long = [end for start, end in parts if end - start > hold.hot_s]
    return replace(mark, leave_s=max(mark.leave_s, min(long[-1], before_s))) if long else mark


def _after_hotter(
    course: Course, recipe: Recipe, number: int, previous: int | None, since_s: float, stay: BandStay
) -> float:
    """Where the hotter hold before was hottest, if that one was not found though the trace was there [s].

    What comes from there is reached from above; the climb before belongs to the hold that was not found.
    """
    if number == 0 or previous == number - 1:
        return since_s
    before = recipe.holds[number - 1]
    low, high = course.between(since_s, stay.start_s)
    if before.target_c <= recipe.holds[number].target_c or high <= low:
        return since_s
    hottest = course.hottest(low, high)
    return since_s if course.temp_c[hottest] < _near(before) else float(course.t_s[hottest])


def _near(hold: Hold) -> float:
    """A band's width below a hold's band: hot enough to have been meant for it [degC]."""
    return hold.lower_c - (hold.below_c + hold.above_c)


def _mostly_near(course: Course, hold: Hold, stays: tuple[BandStay, ...]) -> bool:
    """Whether at least some of the stays' readings are in the band; else it was level beside it."""
    seen = inside = 0
    for stay in stays:
        low, high = course.between(stay.start_s, stay.end_s)
        seen += high - low
        inside += count_in(course, low, high, hold.lower_c, hold.upper_c)
    return seen * LEAST_SHARE <= inside


def _way_from(course: Course, since_s: float, stay: BandStay) -> float:
    """Coldest point before a stay [s]."""
    low, high = course.between(since_s, stay.start_s)
    return float(course.t_s[course.coldest(low, high)]) if high > low else since_s


def _possible(course: Course, hold: Hold, stays: tuple[BandStay, ...], reach_c: float) -> tuple[BandStay, ...]:
    """Drop stays without a reading in the band; a long level stretch near it is kept: a hold out of its band."""
    reach = max(2.0 * (hold.below_c + hold.above_c), reach_c)
    kept = []
    for stay in stays:
        low, high = course.between(stay.start_s, stay.end_s)
        level = stay.end_s - stay.start_s >= LEVEL_STAY_S
        if course.first_in(low, high, hold.lower_c, hold.upper_c) is not None or (
            level and abs(course.median_c(low, high) - hold.target_c) < reach
        ):
            kept.append(stay)
    return tuple(kept)


def filled(placed: Places, other: Places) -> Places:
    """Places on the chamber, with those that only another sensor shows where their order in time stays right."""
    result = list(placed)
    for number, mine in enumerate(placed):
        theirs = other[number]
        if (mine is None or mine.edges is None) and theirs is not None and theirs.edges is not None:
            before = [p.stays[-1].end_s for p in result[:number] if p is not None]
            after = [p.stays[0].start_s for p in result[number + 1 :] if p is not None]
            if max(before, default=-math.inf) <= theirs.stays[0].start_s and theirs.stays[-1].end_s <= min(
                after, default=math.inf
            ):
                result[number] = theirs
    return tuple(result)
