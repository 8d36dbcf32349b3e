"""The limit at each moment from load to pull: what is hotter for as long as counts is too hot. Standard library only.

Definition: page ``definitions`` of the guide (too hot).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.rules.course import Course, hottest_c
from soakwitness.analysis.verification.rules.edges import limit_c
from soakwitness.analysis.verification.rules.level_parts import LevelPart
from soakwitness.analysis.verification.rules.passing import began_anew_c
from soakwitness.analysis.verification.rules.places import Placed
from soakwitness.analysis.verification.rules.states import Blocks, level_parts

HELD_S = 30.0  # so long a peak lasts to count
SETTLES_S = 600.0  # after the load: the empty furnace may have been hotter
SWINGS_C = 15.0  # what an oven that is judged by its mean may swing over its band; common practice, no source


@dataclass(frozen=True)
class Limit:
    """A stretch (from, to) [s] with its limit [degC], as the sensor shows it, and the hold whose limit it is."""

    start_s: float
    end_s: float
    limit_c: float
    number: int
    before_first: bool = False
    after_last: bool = False
    of_missing: bool = False


def hot_limit_c(hold: Hold) -> float:
    """Limit of a hold [degC]; a swinging oven is judged by its mean, and may swing some way over its band."""
    if hold.judge_by == "mean" and hold.max_overshoot_c is None:
        return hold.upper_c + SWINGS_C
    return limit_c(hold)


def limits_of(
    holds: Sequence[Hold],
    placed: Sequence[Placed | None],
    levels: Sequence[LevelPart | None],
    course: Course,
    blocks: Blocks | None,
    slopes: Sequence[float],
) -> tuple[Limit, ...]:
    """The limit at each moment of a course, in order; ``slopes`` is what still is level at each hold [K/h].

    Inside a hold its own; between two the hottest from the one to the other; before the first the first's, and in an
    earlier attempt, after which the furnace cooled, the hottest of all; after the last its own. The way out of a hold
    to a hotter one, and into it from one, lies between them; a level part on the way down that is nearer to the hold to
    come has that one's. A hold that was not found keeps its own over a level part nearer to its target than to a
    neighbour's.
    """
    begin, end = float(course.t_s[0]), float(course.t_s[len(course.t_s) - 1])
    found = [(n, p) for n, p in enumerate(placed) if p is not None]
    result: list[Limit] = []
    at_s, before = begin, None
    for number, here in found:
        enter, leave = (max(moment, at_s) for moment in _inside_of(here, levels[number]))
        if before is None and _attempted(course, here.window_s):
            hottest = _hottest(holds, 0, len(holds) - 1)
            at_s = float(here.window_s or at_s)
            result.append(Limit(begin, at_s, hot_limit_c(holds[hottest]), hottest, before_first=True))
        hotter = _hottest(holds, before or 0, number)
        result.append(Limit(at_s, enter, hot_limit_c(holds[hotter]), hotter, before_first=before is None))
        result.append(Limit(enter, leave, hot_limit_c(holds[number]), number))
        if before is not None and blocks is not None:
            result += _stands_before(holds, before, number, blocks, slopes[number], (at_s, enter))
        at_s, before = leave, number
    if before is not None:
        hotter = _hottest(holds, before, len(holds) - 1)
        result.append(Limit(at_s, end, hot_limit_c(holds[hotter]), hotter, after_last=True))
    result += _of_missing(holds, placed, begin, end, blocks, slopes)
    return tuple(result)


def _stands_before(
    holds: Sequence[Hold], before: int, number: int, blocks: Blocks, slope: float, between_s: tuple[float, float]
) -> list[Limit]:
    """On the way down to a hold, level parts nearer to it than to the hotter one before: they have its own limit."""
    hold = holds[number]
    if holds[before].target_c <= hold.target_c:
        return []
    nearer_c = (holds[before].target_c + hold.target_c) / 2.0
    parts = level_parts(blocks, slope, (hot_limit_c(hold), nearer_c), between_s)
    return [Limit(start, end, hot_limit_c(hold), number) for start, end in parts if end - start > hold.hot_s]


def _attempted(course: Course, window_s: float | None) -> bool:
    """Whether the furnace had been hot and was nearly cold again when the way to the first hold began."""
    if window_s is None:
        return False
    _, high = course.between(float(course.t_s[0]), window_s)
    return bool(high) and course.at(window_s) < began_anew_c(hottest_c(course, 0, high))


def _hottest(holds: Sequence[Hold], first: int, last: int) -> int:
    """Which of the holds from ``first`` to ``last`` may be hottest."""
    return max(range(first, last + 1), key=lambda number: hot_limit_c(holds[number]))


def _inside_of(placed: Placed, level: LevelPart | None) -> tuple[float, float]:
    """From when to when a hold's own limit counts [s]: the climbs at its ends are the way between holds."""
    enter, leave = _stay_of(placed)
    if placed.edges is None or level is None:
        return enter, leave
    return (
        max(enter, level.start_s) if placed.edges.from_above else enter,
        min(leave, level.end_s) if placed.edges.left_upward else leave,
    )


def _stay_of(placed: Placed) -> tuple[float, float]:
    if placed.edges is not None:
        return placed.edges.enter_s, placed.edges.leave_s
    return placed.stays[0].start_s, placed.stays[-1].end_s


def _of_missing(
    holds: Sequence[Hold],
    placed: Sequence[Placed | None],
    begin_s: float,
    end_s: float,
    blocks: Blocks | None,
    slopes: Sequence[float],
) -> list[Limit]:
    """Limits of holds that were not found, over level parts that are nearer to them than to a neighbour."""
    result: list[Limit] = []
    for number, hold in enumerate(holds):
        if placed[number] is not None or blocks is None:
            continue
        before = [_stay_of(p)[1] for p in placed[:number] if p is not None]
        after = [_stay_of(p)[0] for p in placed[number + 1 :] if p is not None]
        near = [holds[n].target_c for n in (number - 1, number + 1) if 0 <= n < len(holds)]
        above = [t for t in near if t > hold.target_c]
        most_c = (hold.target_c + min(above)) / 2.0 if above else math.inf
        between_s = (max(before, default=begin_s), min(after, default=end_s))
        for start, stop in level_parts(blocks, slopes[number], (hot_limit_c(hold), most_c), between_s):
            result.append(Limit(start, stop, hot_limit_c(hold), number, of_missing=True))
    return result
