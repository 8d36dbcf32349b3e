"""Level of a hold, and where its level part begins and ends. Standard library only."""

from __future__ import annotations

import math
from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.rules.course import Course, hottest_c
from soakwitness.analysis.verification.rules.edges import Edges

BEFORE_CLIMB_S = 120.0
FEWEST_LEVEL = 12
CLIMBS = 3.0
SLIGHT_SHARE = 0.15
STOP_S = 30.0
FEWEST_STOP = 6
LINE_S = 300.0
RIPPLES = 3.0  # residuals of a climb so much larger than the noise of a reading are the control's ripple
LEVEL_SHARE, MOSTLY_LEVEL, LEAST_LEVEL_S = 0.2, 0.5, 60.0


@dataclass(frozen=True)
class LevelPart:
    """Level part of a hold: median (or, for a swinging oven, mean) reading [degC], begin and end [s].

    ``sure`` False: in a short hold noise hides where the level part ended.
    """

    level_c: float
    start_s: float
    end_s: float
    sure: bool = True


def level_part(course: Course, hold: Hold, edges: Edges, noise_c: float, slope_c_per_h: float) -> LevelPart:
    """Find the level part of a hold: the climb into it and the final climb out of it are not part of it.

    Traced back from *leave*, and forward from an enter from above. ``noise_c`` is that of a reading [K],
    ``slope_c_per_h`` what still is level [K/h].
    """
    low, high = course.between(edges.enter_s, edges.leave_s)
    if high <= low:
        return LevelPart(hold.target_c, edges.enter_s, edges.leave_s)
    if hold.judge_by == "mean":
        return LevelPart(course.time_mean_c(low, high), edges.enter_s, edges.leave_s)
    end = back = None
    sure = sure_back = True
    if edges.left_upward:
        end, sure = _foot(course, low, high, hold, noise_c)
    if edges.from_above:  # the same with the time running backwards
        size = len(course.t_s)
        back, sure_back = _foot(course.backwards(), size - high, size - low, hold, noise_c)
    start = edges.enter_s if back is None else -back
    end_s = max(edges.leave_s if end is None else end, start)
    return LevelPart(_level(course, low, high, start, end_s, slope_c_per_h), start, end_s, sure and sure_back)


def _level(course: Course, low: int, high: int, start_s: float, end_s: float, slope_c_per_h: float) -> float:
    """Median of the readings where the trace stood level, else of the last third [degC]."""
    first, stop = course.between(start_s, end_s)
    first, stop = max(first, low), min(stop, high)
    if stop <= first:
        first, stop = low, high
    share, level_c = course.flat(first, stop, slope_c_per_h)
    if share >= MOSTLY_LEVEL:
        return course.median_c(first, stop)
    begin_s, last_s = float(course.t_s[first]), float(course.t_s[stop - 1])
    if share * (last_s - begin_s) >= max(LEAST_LEVEL_S, LEVEL_SHARE * (last_s - begin_s)):
        return level_c
    third, _ = course.between(begin_s + (last_s - begin_s) * 2.0 / 3.0, last_s)
    return course.median_c(third, stop)


def _foot(course: Course, low: int, high: int, hold: Hold, noise_c: float) -> tuple[float, bool]:
    """Where the climb out of the band, after the readings from ``low`` to ``high``, began [s]; whether that is sure.

    It is the last reading as low as the level shortly before the climb. The climb's speed beyond the band tells how far
    back it may reach; where the hold is long enough, three times that is not asked for the level. Where the control's
    ripple goes on in the climb, a line through the climb tells where it began.
    """
    t, period_s = course.t_s, course.period_s
    settled, speed = course.settled_c(low, high), _speed(course, high, hold)
    if speed <= 0.0:  # the record ends in it
        near = course.last_in(low, high, upper_c=settled + max(2.0 * noise_c, SLIGHT_SHARE * hold.above_c))
        return float(t[low if near is None else near]), True
    climb_s = CLIMBS * max(hold.upper_c - settled, 0.0) / speed + 2.0 * period_s
    until_s = float(t[high - 1]) - climb_s
    since_s = until_s - max(climb_s, BEFORE_CLIMB_S, FEWEST_LEVEL * period_s)
    first, stop = course.between(since_s, until_s)
    first, stop = max(first, low), min(stop, high)
    short = since_s < t[low]
    if short:
        first, stop = _last_stop(course, low, high, speed, noise_c)
    level = max(hottest_c(course, first, stop), settled + noise_c)
    last = course.last_in(low, high, upper_c=level)
    foot = float(t[low if last is None else last])
    return min(foot, _foot_of_line(course, low, high, settled)), stop > first or not short


def _foot_of_line(course: Course, low: int, high: int, settled_c: float) -> float:
    """Where a line through a climb with ripple comes from the level [s]; infinity where no ripple shows in it."""
    t, size = course.t_s, len(course.t_s)
    stop = course.between(float(t[high]), float(t[high]) + LINE_S)[1] if high < size else high
    if stop - high < FEWEST_LEVEL:
        return math.inf
    line = course.line(high, stop)
    # A level with ripple is no climb: that rises by more than its ripple swings.
    climbs = line.slope_c_per_s * float(t[stop - 1] - t[high]) > CLIMBS * line.ripple_c
    if not climbs or line.crosses < 4 or line.ripple_c < max(RIPPLES * line.noise_c, 1.0):
        return math.inf
    began_s = float(t[high]) - (line.start_c - settled_c) / line.slope_c_per_s
    return min(max(began_s, float(t[low])), float(t[high - 1]))


def _last_stop(course: Course, low: int, high: int, speed: float, noise_c: float) -> tuple[int, int]:
    """Readings of a short hold before it last went faster than a third of the climb; none where noise hides that."""
    period_s, size = course.period_s, high - low
    half = max(FEWEST_STOP // 2, math.ceil(STOP_S / 2.0 / period_s))
    while 2 * half <= size and noise_c / math.sqrt(half) / (half * period_s) > speed / 6.0:
        half += 1
    slow = course.last_slow(low, high, half, speed / 3.0) if size >= 2 * half else None
    return (low, low) if slow is None else (slow, slow + half)


def _speed(course: Course, high: int, hold: Hold) -> float:
    """Speed of the climb [K/s] from the last reading inside to half a band's width above the band; 0 without one."""
    size = len(course.t_s)
    if high >= size:
        return 0.0
    far = course.first_in(high, size, hold.upper_c + (hold.below_c + hold.above_c) / 2.0)
    top = course.hottest(high, size) if far is None else far
    return float((course.temp_c[top] - course.temp_c[high - 1]) / (course.t_s[top] - course.t_s[high - 1]))
