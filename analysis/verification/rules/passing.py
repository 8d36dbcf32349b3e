"""Stays that are none: the trace only climbs or falls through the band; and the rest of a hold after an interruption.

Standard library only. Definition: page ``definitions`` of the guide (where a hold is).
"""

from __future__ import annotations

import math

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.rules.course import Course, coldest_c, count_in, hottest_c
from soakwitness.analysis.verification.rules.edges import STANDS_SHARE, TAKEN_BACK_S, Edges, inside_band, limit_c
from soakwitness.analysis.verification.rules.states import ROOM_C, BandStay

PASSING = 1.6
ARRIVED = 0.2  # of the speed before: so slow behind the band it had arrived, and drifted on
SPEED_S = 120.0
SPEED_READINGS = 6
STOP_S = (60.0, 120.0, 180.0, 240.0)
STOP_READINGS = 3
STOP_SHARE = 1.0 / 3.0
SURE_SHARE = 0.15
LEAST_STAY_S = 30.0
KEPT_SHARE = 0.4  # of its heat above the room: a furnace that lost more began anew; common practice, no source
APART_S = 60.0  # noise at the edges does not part a stay


def passes_through(
    course: Course, hold: Hold, edges: Edges, *, after_s: float = -math.inf, before_s: float = math.inf
) -> bool:
    """Tell a stay from a mere passing through the band; speeds are taken between the holds before and after [s].

    It went on in the direction it came from, stayed no longer than 1.6 x the time that its speed before and after the
    band asks for, and did not stop on the way.
    """
    if not (edges.entered and edges.left):
        return False
    before, after = _speeds(course, edges, after_s, before_s)
    if before * after <= 0.0 or (after > 0.0) != edges.left_upward or 0.0 < after < ARRIVED * before:
        return False
    expected = hold.below_c / abs(before) + hold.above_c / abs(after)
    if edges.leave_s - edges.enter_s >= PASSING * expected:
        return False
    return not _stops(course, edges, min(abs(before), abs(after)))


def _speeds(course: Course, edges: Edges, after_s: float, before_s: float) -> tuple[float, float]:
    """Speeds before enter and after leave [K/s]."""
    window_s = max(SPEED_S, SPEED_READINGS * course.period_s)
    return (
        _speed(course, edges.enter_s, edges.enter_s - window_s, after_s),
        _speed(course, edges.leave_s, edges.leave_s + window_s, before_s),
    )


def longer_than_passing_s(course: Course, hold: Hold, since_s: float, until_s: float) -> float:
    """How much longer the longest stretch in a hold's band is than its speed around it explains [s].

    0 without a stretch that goes on in the direction it came from.
    """
    between = course.between(since_s, until_s)
    parts = course.stretches(*between, hold.lower_c, hold.upper_c, apart_s=APART_S)
    if not parts:
        return 0.0
    first, last, count = max(parts, key=lambda part: part[2])
    stretch = Edges(float(course.t_s[first]), float(course.t_s[last]))
    before, after = _speeds(course, stretch, -math.inf, math.inf)
    if before * after <= 0.0:
        return 0.0
    # Noise at the edges lengthens the stretch, but not the count of readings inside.
    return count * course.period_s - hold.below_c / abs(before) - hold.above_c / abs(after)


def _stops(course: Course, edges: Edges, speed_c_per_s: float) -> bool:
    """Whether a short stay has a level part: a minute or more at less than a third of the speed around it.

    Where the noise hides that, it does not.
    """
    low, high = course.between(edges.enter_s, edges.leave_s)
    if high - low < 2 * STOP_READINGS:
        return False
    scatter = course.scatter_c(low, high) + course.resolution_c / 4.0
    for window_s in STOP_S:
        half = max(STOP_READINGS, math.ceil(window_s / 2.0 / course.period_s))
        unsure = 2.0 * scatter / math.sqrt(half) / (half * course.period_s)
        if high - low >= 2 * half and unsure < SURE_SHARE * speed_c_per_s:
            return course.slowest_c_per_s(low, high, half) < STOP_SHARE * speed_c_per_s
    return False


def _speed(course: Course, from_s: float, away_s: float, limit_s: float) -> float:
    """Mean speed [K/s] on one side of a crossing: between the means of the two halves of the readings there.

    At least six readings count, as far as ``limit_s`` allows.
    """
    size = len(course.t_s)
    if away_s < from_s:
        low, high = course.between(max(away_s, limit_s), from_s)
        low = max(min(low, high - SPEED_READINGS), course.between(limit_s, limit_s)[0], 0)
    else:
        low, high = course.between(from_s, min(away_s, limit_s))
        high = min(max(high, low + SPEED_READINGS), course.between(limit_s, limit_s)[1], size)
    low, high = max(min(low, high - 2), 0), min(max(high, low + 2), size)
    if high - low < 2:
        return 0.0
    middle = (low + high) // 2
    (from_t, from_c), (to_t, to_c) = course.mean(low, middle), course.mean(middle, high)
    return (to_c - from_c) / (to_t - from_t)


def standing(course: Course, hold: Hold, since_s: float, until_s: float) -> BandStay | None:
    """A stretch [s] in which a trace stood in a hold's band, or above it within its limit; None without one.

    It is the longest whose breaks are at most two minutes, a quarter of what is asked at least, and no mere passing
    through; some of it must lie inside the band. A trace that turned round within a band's width above its limit was
    never meant to go farther.
    """
    t, y, end = course.t_s, course.temp_c, len(course.t_s) - 1
    low, high = course.between(max(since_s, float(t[0])), min(until_s, float(t[end])))
    width = hold.below_c + hold.above_c
    turned = until_s > t[end] and hottest_c(course, low, high) < limit_c(hold) + width
    most_c = limit_c(hold) + (width if turned else 0.0)
    near = course.stretches(low, high, hold.lower_c, most_c, apart_s=TAKEN_BACK_S)
    for begin, stop, _ in sorted(near, key=lambda part: part[2], reverse=True):
        first, last = float(t[begin]), float(t[stop])
        ends = stop == end and hold.lower_c <= y[end] <= hold.upper_c
        if ends and last - first >= LEAST_STAY_S:
            return BandStay(first, last)  # the record ends in it
        if last - first < max(STANDS_SHARE * hold.required_s, LEAST_STAY_S, 3.0 * course.period_s):
            return None
        stretch = Edges(first, last, left_upward=_goes_up(course, stop))
        inside = count_in(course, *course.between(first, last), hold.lower_c, hold.upper_c)
        if inside >= 3 and not passes_through(course, hold, stretch):
            return BandStay(first, last)
    return None


def only_passes(course: Course, hold: Hold, stay: BandStay, before_s: float) -> bool:
    """Tell whether a further stay after an interruption is only the trace falling through the band without a stop.

    On the way up it may be the rest of the hold. ``before_s`` is where the next found hold begins, or the record
    ends [s].
    """
    inside = inside_band(course, hold, stay.start_s, stay.end_s)
    if not inside:
        return True
    y, first, last = course.temp_c, inside[0][0], inside[-1][1]
    while first > 0 and hold.lower_c <= y[first - 1] <= hold.upper_c:
        first -= 1
    if first == 0 or y[first - 1] <= hold.upper_c or last == len(y) - 1 or _goes_up(course, last):
        return False
    stretch = Edges(float(course.t_s[first]), float(course.t_s[last]))
    return passes_through(course, hold, stretch, before_s=before_s)


def later_stay(course: Course, hold: Hold, edges: Edges, before_s: float) -> BandStay | None:
    """Find a further stay in the band after a hold was left, such as the rest of a hold after a power cut.

    It is the first stretch in the band, before the next found hold begins or the record ends (``before_s`` [s]), that
    is no mere passing through, and that comes before the furnace has lost three fifths of its heat.
    """
    t, end = course.t_s, len(course.t_s) - 1
    since = course.between(edges.leave_s, edges.leave_s)[0]
    for first, last in inside_band(course, hold, edges.leave_s, before_s):
        first += 1 if t[first] <= edges.leave_s else 0
        if last - first < 2:
            continue
        if t[min(last + 1, end)] > before_s:
            return None  # it goes on into the next hold, and is that one's
        if coldest_c(course, since, first + 1) < began_anew_c(hold.target_c):
            return None
        stretch = Edges(float(t[first]), float(t[last]), left_upward=_goes_up(course, last))
        if t[last] - t[first] >= LEAST_STAY_S and not passes_through(course, hold, stretch, before_s=before_s):
            return BandStay(stretch.enter_s, stretch.leave_s)
    return None


def earlier_stay(course: Course, hold: Hold, stay: BandStay, after_s: float) -> BandStay | None:
    """Find where a hold stood before its first stay: an interruption ended that one, and what came after was longer.

    It is the longest stretch in the band since ``after_s`` [s], a quarter of what is asked at least and no mere passing
    through, from which the furnace neither went hotter nor lost three fifths of its heat before the stay.
    """
    t = course.t_s
    least_s = max(STANDS_SHARE * hold.required_s, LEAST_STAY_S)
    inside = inside_band(course, hold, after_s, stay.start_s)
    for first, last in sorted(inside, key=lambda run: run[1] - run[0], reverse=True):
        if last - first < 2 or t[last] - t[first] < least_s or not first:
            return None
        until = course.between(stay.start_s, stay.start_s)[0] + 1
        lowest_c = coldest_c(course, last, until)
        if hottest_c(course, last, until) > limit_c(hold) or lowest_c < began_anew_c(hold.target_c):
            continue
        stretch = Edges(float(t[first]), float(t[last]), left_upward=_goes_up(course, last))
        if lowest_c < hold.lower_c and not passes_through(course, hold, stretch, before_s=stay.start_s):
            return BandStay(stretch.enter_s, stretch.leave_s)
    return None


def began_anew_c(hot_c: float) -> float:
    """Below this [degC] a furnace that was so hot has begun anew: what comes next is no rest of what went before."""
    return ROOM_C + KEPT_SHARE * (hot_c - ROOM_C)


def _goes_up(course: Course, index: int) -> bool:
    after = min(index + 1, len(course.t_s) - 1)
    return bool(course.temp_c[after] > course.temp_c[index])
