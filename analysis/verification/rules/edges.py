"""Where a hold begins and ends: confirmed, interpolated crossings of the band's edges. Standard library only.

Definitions: page ``definitions`` of the guide (*enter*, *leave*).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.rules.course import Course, above, below, coldest_c, crossing_s, hottest_c
from soakwitness.analysis.verification.rules.states import BandStay

CONFIRM_S = 30.0
CONFIRM_READINGS = 2
TAKEN_BACK_S = 120.0
STANDS_SHARE = 0.25  # of what is asked: so long a stay is a hold, done or cut short, not one that was left out
SWING_S = 1800.0  # a kitchen-type oven swings faster than that; common practice, no source


@dataclass(frozen=True)
class Edges:
    """Enter and leave of one hold [s].

    ``entered``: a crossing was seen (False: the record begins inside the band). ``left``: a crossing out was seen
    (False: the record ends inside). ``upward`` how it was left. ``from_above``: reached from above the band.
    """

    enter_s: float
    leave_s: float
    entered: bool = True
    left: bool = True
    left_upward: bool = False
    from_above: bool = False


def confirmed_crossing(
    course: Course, level_c: float, *, upward: bool, start_s: float, end_s: float, at_once: bool = False
) -> float | None:
    """First confirmed crossing of a level between two moments, interpolated [s]; None without any.

    It is one that does not go back past the edge by more than the larger of resolution and 1 degC for 30 s or two
    further readings, whichever is longer; else the last crossing. ``at_once`` takes the first as it is: an oven that
    swings goes back and forth.
    """
    low, high = course.between(start_s, end_s)
    beyond = (level_c, math.inf) if upward else (-math.inf, level_c)
    crossings = [first - 1 for first, _ in course.runs(low, high, *beyond) if first > low]
    for index in crossings:
        if at_once or _confirmed(course, index, level_c, upward=upward):
            return crossing_s(course, index, level_c)
    return crossing_s(course, crossings[-1], level_c) if crossings else None


def _confirmed(course: Course, index: int, level_c: float, *, upward: bool) -> bool:
    at = crossing_s(course, index, level_c)
    stop = max(course.between(at, at + CONFIRM_S)[1], index + 2 + CONFIRM_READINGS)
    if upward:
        return coldest_c(course, index + 1, stop) >= level_c - course.back_c
    return hottest_c(course, index + 1, stop) <= level_c + course.back_c


def inside_band(course: Course, hold: Hold, start_s: float, end_s: float) -> list[tuple[int, int]]:
    """First and last index of every run of readings inside the band, between two moments [s]."""
    return course.runs(*course.between(start_s, end_s), hold.lower_c, hold.upper_c)


def enter(
    course: Course, hold: Hold, stay: BandStay, *, after_s: float, from_above: bool
) -> tuple[float, bool, bool, float] | None:
    """When a hold was entered with its first stay, after the end of what came before [s].

    ``from_above``: the found hold before it is hotter. Returns the time [s], whether a crossing was seen, whether it
    was reached from above, where the way to it began [s]; None if it was never in the band.
    """
    size = len(course.t_s)
    if after_s > course.t_s[size - 1]:
        return None
    low, high = course.between(after_s, stay.start_s)
    if 0 < low < size and course.gap_after(low - 1):
        low -= 1  # it went on unseen: the way begins at the last reading before
    high = max(high, low + 1)
    coldest, hottest = course.coldest(low, high), course.hottest(low, high)
    under = course.temp_c[coldest] < hold.lower_c
    if from_above and under and _only_dips(course, hold, coldest):
        under = False
    over = not under and course.temp_c[hottest] > hold.upper_c
    if not under and not over:
        first = float(max(course.t_s[low], after_s))
        return first, False, from_above, first
    begin = float(course.t_s[coldest if under else hottest])
    level = hold.lower_c if under else hold.upper_c
    swings = hold.judge_by == "mean"
    at = confirmed_crossing(course, level, upward=bool(under), start_s=begin, end_s=stay.end_s, at_once=swings)
    return None if at is None else (at, True, not under, begin)


def _only_dips(course: Course, hold: Hold, coldest: int) -> bool:
    """Whether what comes from above falls below the band by no more than its width, or comes back at once."""
    if course.temp_c[coldest] >= hold.lower_c - (hold.below_c + hold.above_c):
        return True
    before = course.last_in(0, coldest, hold.lower_c)
    after = course.first_in(coldest, len(course.t_s), hold.lower_c)
    if before is None or after is None:
        return False
    return bool(course.t_s[after] - course.t_s[before] <= max(hold.dip_s, TAKEN_BACK_S))


def limit_c(hold: Hold) -> float:
    """How hot a hold may be [degC]: its upper edge, or its stated overshoot where that is more."""
    return max(hold.upper_c, hold.target_c + (hold.max_overshoot_c or 0.0))


def leave(
    course: Course,
    hold: Hold,
    stay: BandStay,
    *,
    enter_s: float,
    before_s: float,
    climbs: bool,
    hotter_follows: bool = True,
) -> tuple[float, bool, bool]:
    """When a hold was left [s], whether a crossing was seen, whether upward.

    ``stay`` is its last stay, ``before_s`` the begin of the next found one, or the record's end [s]. ``climbs``:
    that next one is hotter. ``hotter_follows``: the recipe goes on to a hotter hold, found or not. A furnace that goes
    on by itself, beyond the limit and not back, has left the hold.
    """
    last = course.last_in(*course.between(enter_s, max(stay.end_s, enter_s)), hold.lower_c, hold.upper_c)
    start = last if last is not None else course.between(enter_s, enter_s)[0]
    if climbs:
        at = _last_climb(course, hold, start, before_s)
        if at is not None:
            return at, True, True
    left = _first_not_taken_back(course, hold, start, before_s, limit_c(hold))
    met = left[0] - enter_s >= hold.required_s
    if hotter_follows or not left[2] or met:
        return left
    # Not met yet: what stands a little above its limit is this hold all the same, and too hot.
    return _first_not_taken_back(course, hold, start, before_s, limit_c(hold) + hold.below_c + hold.above_c)


def _last_climb(course: Course, hold: Hold, start: int, before_s: float) -> float | None:
    """Last upward crossing of the upper edge before the trace is a band's width above; None if it fell away first."""
    stop = course.between(before_s, before_s)[1]
    width = hold.below_c + hold.above_c
    gone = course.first_in(start, stop, above(hold.upper_c + width))
    stop = stop if gone is None else gone + 1
    if stop <= start or coldest_c(course, start, stop) < hold.lower_c - width:
        return None
    ups = [last for _, last in course.runs(start, stop, upper_c=hold.upper_c) if last + 1 < stop]
    return crossing_s(course, ups[-1], hold.upper_c) if ups else None


def _first_not_taken_back(
    course: Course, hold: Hold, start: int, before_s: float, most_c: float
) -> tuple[float, bool, bool]:
    """First crossing of the lower edge, or of the upper one on the way beyond ``most_c``, not taken back in 120 s."""
    stop = course.between(before_s, before_s)[1]
    t, y, end = course.t_s, course.temp_c, stop - 1
    inside = course.runs(start, stop, hold.lower_c, most_c)
    if not inside:
        return float(t[start]), False, False
    back_s = SWING_S if hold.judge_by == "mean" else TAKEN_BACK_S
    comes_back = [*(first for first, _ in inside[1:]), end]
    gone = (
        last
        for (_, last), back in zip(inside, comes_back, strict=True)
        if last < end and t[back] - t[last + 1] > back_s
    )
    last = next(gone, inside[-1][1])
    if last == end:
        return float(t[end]), False, False
    if y[last + 1] < hold.lower_c:
        return crossing_s(course, last, hold.lower_c), True, False
    under = course.last_in(start, last + 1, upper_c=hold.upper_c)
    last = last if under is None else under
    return crossing_s(course, last, min(hold.upper_c, float(y[last + 1]))), True, True


def leave_after(
    course: Course, hold: Hold, enter_s: float, chamber_leaves_s: float, *, climbs: bool
) -> tuple[float, bool, bool]:
    """When a load sensor left a hold that the chamber left at ``chamber_leaves_s`` [s], whether it did, whether upward.

    Inside the band then, it leaves at its first crossing of either edge after that; below it, at its last fall before;
    above it, at its last rise before where the furnace ``climbs`` on, else when it comes down.
    """
    t, y, size = course.t_s, course.temp_c, len(course.t_s)
    at = min(course.between(chamber_leaves_s, chamber_leaves_s)[1], size) - 1
    first = course.between(enter_s, enter_s)[0]
    if at <= first:
        at = min(first, size - 1)
    if y[at] < hold.lower_c:
        last = course.last_in(first, at, hold.lower_c)
        return _crossed(course, first if last is None else last, hold.lower_c), True, False
    if y[at] > hold.upper_c and climbs:
        last = course.last_in(first, at, upper_c=hold.upper_c)
        return _crossed(course, first if last is None else last, hold.upper_c), True, True
    falls = course.first_in(at, size, upper_c=below(hold.lower_c))
    rises = course.first_in(at, size, above(hold.upper_c)) if y[at] <= hold.upper_c else None
    out = [index for index in (falls, rises) if index is not None]
    if not out:
        return float(t[size - 1]), False, False
    upward = bool(y[min(out)] > hold.upper_c)
    return _crossed(course, min(out) - 1, hold.upper_c if upward else hold.lower_c), True, upward


def _crossed(course: Course, index: int, level_c: float) -> float:
    """Crossing of a level after a reading [s]; the reading's own time where the chord does not cross it."""
    index, y = max(index, 0), course.temp_c
    if index + 1 >= len(y) or (y[index] - level_c) * (y[index + 1] - level_c) > 0.0 or y[index] == y[index + 1]:
        return float(course.t_s[index])
    return crossing_s(course, index, level_c)
