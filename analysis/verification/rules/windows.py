"""Where the soak of one piece in one hold can lie: from its load mark or the hold's begin to its pull or the leave.

Standard library only: the verification and the soak clock ask alike.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.rules.course import Course, above, below, crossing_s
from soakwitness.analysis.verification.rules.edges import SWING_S, TAKEN_BACK_S

Mode = Literal["low", "best", "high"]
Spans = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Window:
    """Where the soak of one piece in one hold can lie.

    ``start_s``: load mark, or where the climb to the hold began [s]. ``limit_s``: begin of the next found hold, or the
    end of the record [s]. ``from_above``, ``left_upward``: reached from above the band; left through the upper edge.
    ``edges_on``: the trace that enter and leave are read from. ``chamber_leaves_s``: when the chamber left, where
    another sensor's edges are these [s]. ``follows``: the work, low, best and high, where it lags behind ``edges_on``
    and leaves by itself after it. ``doors``: dips (from, to) [s] that a door explains: the walls stay hot meanwhile.
    ``climbs_on``: A hotter hold was found after it; else what went out upwards and did not come back at once is over.
    ``start_in``, ``pull_in``: ``start_s`` and ``pull_s`` by mode [s] where they rest on a mark that only bounds.
    """

    start_s: float
    enter_s: float
    level_start_s: float
    level_end_s: float
    leave_s: float
    limit_s: float
    from_above: bool
    left_upward: bool
    pull_s: float | None
    edges_on: Course
    chamber_leaves_s: float | None = None
    follows: Mapping[Mode, Course] | None = None
    doors: Spans = ()
    climbs_on: bool = True
    start_in: Mapping[Mode, float] | None = None
    pull_in: Mapping[Mode, float] | None = None


def window_limits(window: Window, hold: Hold, error_c: float, mode: Mode, noise_c: float) -> tuple[float, float]:
    """Begin and end [s] of the time that can count, for a sensor that reads ``error_c`` [K] high.

    ``noise_c`` [K] is that of a reading.
    """
    start = window.start_s if window.start_in is None else window.start_in[mode]
    if window.from_above:
        start = max(start, _came_down(window, hold.upper_c + error_c, mode, noise_c))
    if mode == "best" and error_c == 0.0:
        start = max(start, window.enter_s)
    if window.chamber_leaves_s is not None and window.leave_s >= window.chamber_leaves_s:
        end = _first_out(window.edges_on, hold, error_c, mode, noise_c, window.chamber_leaves_s)
    elif window.left_upward:
        width = hold.below_c + hold.above_c
        end = _went_up(window, hold.upper_c + error_c, width, mode, noise_c)
    else:
        end = _went_down(window, hold, error_c, mode, noise_c)
    if window.follows is not None:
        end = max(end, _first_out(window.follows[mode], hold, error_c, mode, 0.0, end))
    if window.pull_s is not None:
        end = min(end, window.pull_s if window.pull_in is None else window.pull_in[mode])
    return start, end


def _went_up(window: Window, level_c: float, width_c: float, mode: Mode, noise_c: float) -> float:
    """When it climbed out: surely in the band until (``low``), last crossing (``best``), perhaps still in until."""
    course = window.edges_on
    low, high = course.between(window.level_end_s, window.limit_s)
    gone = course.first_in(low, high, above(level_c + width_c))
    stop = high if gone is None else gone + 1
    if not window.climbs_on:
        stop = _stays_out(course, low, stop, level_c + noise_c)
    if mode == "low":
        first = course.first_in(low, stop, above(level_c - noise_c))
        return window.limit_s if first is None else _at(course, first - 1, window.level_end_s)
    last = course.last_in(low, stop, upper_c=level_c + (noise_c if mode == "high" else 0.0))
    if last is None:
        return window.level_end_s
    if last + 1 >= high:
        return window.limit_s
    return _at(course, last + 1, 0.0) if mode == "high" else crossing_s(course, last, level_c)


def _stays_out(course: Course, low: int, high: int, level_c: float) -> int:
    """Where readings, up to the first that goes over a level for longer than what is taken back at once, end."""
    for first, last in course.runs(low, high, above(level_c)):
        after = min(last + 1, high - 1)
        if course.t_s[after] - course.t_s[first] > TAKEN_BACK_S:
            return first + 1
    return high


def _went_down(window: Window, hold: Hold, error_c: float, mode: Mode, noise_c: float) -> float:
    """Reading after the last that can belong to the hold: what is below it for two minutes, or above it, is none."""
    course, t = window.edges_on, window.edges_on.t_s
    level_c = hold.lower_c + error_c - (noise_c if mode == "high" else 0.0)
    low, high = course.between(window.leave_s, window.limit_s)
    low = max(low - 1, 0)
    if high <= low:
        return window.leave_s
    climbed = course.first_in(low, high, above(max(hold.upper_c + error_c + noise_c, float(course.temp_c[low]))))
    inside = course.runs(low, high if climbed is None else climbed + 1, level_c)
    if not inside:
        return window.leave_s
    back_s = SWING_S if hold.judge_by == "mean" else TAKEN_BACK_S
    pairs = zip(inside, inside[1:], strict=False)
    last = next((one[1] for one, other in pairs if t[other[0]] - t[one[1]] > back_s), inside[-1][1])
    return window.limit_s if last + 1 >= high else _at(course, last + 1, window.leave_s)


def _first_out(course: Course, hold: Hold, error_c: float, mode: Mode, noise_c: float, since_s: float) -> float:
    """First crossing of either edge after a moment [s]; that moment where the trace is below the band then."""
    spare = {"low": -noise_c, "best": 0.0, "high": noise_c}[mode]
    lower, upper = hold.lower_c + error_c - spare, hold.upper_c + error_c + spare
    first, size = max(course.between(since_s, since_s)[1] - 1, 0), len(course.t_s)
    if course.temp_c[first] < lower:
        return since_s
    falls = course.first_in(first, size, upper_c=below(lower))
    rises = course.first_in(first, size, above(upper)) if course.temp_c[first] <= upper else None
    out = min((index for index in (falls, rises) if index is not None), default=None)
    at = size - 1 if out is None else out
    if out is None or mode == "high":
        return max(_at(course, at, since_s), since_s)
    if mode == "low" or at == falls:
        return max(_at(course, at if at == falls else at - 1, since_s), since_s)
    return max(crossing_s(course, at - 1, upper), since_s)


def _came_down(window: Window, level_c: float, mode: Mode, noise_c: float) -> float:
    """When it came down into the band: perhaps (``high``), at the last crossing (``best``), surely (``low``)."""
    course, size = window.edges_on, len(window.edges_on.t_s)
    low, high = course.between(window.start_s, window.level_start_s)
    if mode == "high":
        hottest = course.hottest(low, high) if high > low else None
        if hottest is None or course.temp_c[hottest] <= level_c + noise_c:
            return -math.inf
        touches = course.first_in(hottest, high, upper_c=level_c + noise_c)
        return -math.inf if touches is None else _at(course, touches - 1, window.start_s)
    last = course.last_in(low, high, above(level_c - (noise_c if mode == "low" else 0.0)))
    if last is None:
        return -math.inf
    if mode == "low" or last + 1 >= size or course.temp_c[last + 1] > level_c:
        return _at(course, min(last + 1, size - 1), 0.0)
    return crossing_s(course, last, level_c)


def _at(course: Course, index: int, least_s: float) -> float:
    return max(float(course.t_s[max(index, 0)]), least_s)
