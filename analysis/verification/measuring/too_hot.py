"""Too hot is no pass: the limit at each moment from load to pull, and what was held over it.

Definition: page ``definitions`` of the guide (too hot).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.holds.assignment import Blocks
from soakwitness.analysis.verification.holds.edges import limit_c
from soakwitness.analysis.verification.holds.passing import began_anew_c
from soakwitness.analysis.verification.holds.placing import Placed, level_parts
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.held import highest_held
from soakwitness.analysis.verification.measuring.intervals import Allowed
from soakwitness.analysis.verification.measuring.overshoot import HELD_S, LevelPart, hidden_by_gaps
from soakwitness.analysis.verification.results.verification import TooHot

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


@dataclass(frozen=True)
class HotFigures:
    """What was held over a hold's limits [K], below zero where it stayed under: for sure, and with gaps at their worst.

    ``shown`` is for people; None without three readings.
    """

    by_c: float
    most_c: float
    shown: TooHot | None


def hot_limit_c(hold: Hold) -> float:
    """Limit of a hold [degC]; a swinging oven is judged by its mean, and may swing some way over its band."""
    if hold.judge_by == "mean" and hold.max_overshoot_c is None:
        return hold.upper_c + SWINGS_C
    return limit_c(hold)


def limits_of(
    holds: Sequence[Hold],
    placed: Sequence[Placed | None],
    levels: Sequence[LevelPart | None],
    trace: Readings,
    blocks: Blocks | None,
    slopes: Sequence[float],
) -> tuple[Limit, ...]:
    """The limit at each moment of a trace, in order.

    Inside a hold its own; between two the hottest from the one to the other; before the first the first's, and in an
    earlier attempt, after which the furnace cooled, the hottest of all; after the last its own. The way out of a hold
    to a hotter one, and into it from one, lies between them; a level part on the way down that is nearer to the hold to
    come has that one's. A hold that was not found keeps its own over a level part
    nearer to its target than to a neighbour's.
    """
    begin, end = float(trace.t_s[0]), float(trace.t_s[-1])
    found = [(n, p) for n, p in enumerate(placed) if p is not None]
    result: list[Limit] = []
    at_s, before = begin, None
    for number, here in found:
        enter, leave = (max(moment, at_s) for moment in _inside_of(here, levels[number]))
        if before is None and _attempted(trace, here.window_s):
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


def _attempted(trace: Readings, window_s: float | None) -> bool:
    """Whether the furnace had been hot and was nearly cold again when the way to the first hold began."""
    if window_s is None:
        return False
    _, high = trace.between(trace.t_s[0], window_s)
    return bool(high) and trace.at(window_s) < began_anew_c(float(trace.temp_c[:high].max()))


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
        most_c = (hold.target_c + min(above)) / 2.0 if above else np.inf
        between_s = (max(before, default=begin_s), min(after, default=end_s))
        for start, stop in level_parts(blocks, slopes[number], (hot_limit_c(hold), most_c), between_s):
            result.append(Limit(start, stop, hot_limit_c(hold), number, of_missing=True))
    return result


def hot_figures(
    trace: Readings,
    limits: Sequence[Limit],
    number: int,
    inside_s: tuple[float, float],
    *,
    bare_s: float | None,
    allowed: Allowed,
    lower_c: float,
    correction_c: float,
) -> HotFigures | None:
    """What a trace held over the limits of one hold while a charge was inside (``inside_s``, from load to pull).

    ``bare_s`` [s] is how long a bare chamber reading may be over, None where the work itself is known; ``lower_c`` the
    last hold's lower edge: after it, without a pull, the work counts until it falls below that. None without a reading.
    """
    held_s = HELD_S if bare_s is None else bare_s
    parts = []
    for limit in limits:
        if limit.number != number:
            continue
        start, stop = max(limit.start_s, inside_s[0]), min(limit.end_s, inside_s[1])
        if bare_s is not None and limit.before_first:
            start = max(start, inside_s[0] + SETTLES_S)
        if limit.after_last and not np.isfinite(inside_s[1]):
            stop = min(stop, _falls_below(trace, lower_c, start))
        if stop > start:
            parts.append((start, stop, limit.limit_c))
    if not parts:
        return None
    return _worst_of(trace, parts, held_s, allowed, correction_c)


def _worst_of(
    trace: Readings, parts: Sequence[tuple[float, float, float]], held_s: float, allowed: Allowed, correction_c: float
) -> HotFigures | None:
    """Held and hidden figures over neighbouring stretches with their limits."""
    hidden, most_limit_c = -np.inf, parts[0][2]
    ends = [(*trace.between(start, stop), limit) for start, stop, limit in sorted(parts)]
    z, done = np.empty(sum(high - low for low, high, _ in ends)), 0
    for low, high, limit in ends:
        np.subtract(trace.temp_c[low:high], limit, out=z[done : done + high - low])
        done += high - low
        hidden = max(hidden, hidden_by_gaps(trace, low, high, allowed, held_s) - limit)
    if all(high == low for (_, high, _), (low, _, _) in pairwise(ends)):
        t = trace.t_s[ends[0][0] : ends[-1][1]]
    else:  # a reading where two limits meet is held against both
        t = np.concatenate([trace.t_s[low:high] for low, high, _ in ends])
    held = highest_held(t, z, held_s, allowed.noise_c)
    if held is None:  # too short a time to be too hot for as long as counts
        return HotFigures(-np.inf, hidden, None)
    limit = next((most for a, b, most in sorted(parts) if a <= held.at_s <= b), most_limit_c)
    shown = None
    if held.value_c > 0.0:
        above = z > 0.0
        over_s = float(np.sum(np.diff(t)[above[:-1] & above[1:]]))
        shown = TooHot(held.value_c, limit + correction_c, limit + correction_c + held.value_c, held.at_s, over_s)
    return HotFigures(held.value_c, max(held.value_c, hidden), shown)


def _falls_below(trace: Readings, level_c: float, since_s: float) -> float:
    """When a trace next is below a level [s, degC]; infinity where it never does."""
    first, _ = trace.between(since_s, since_s)
    below = np.flatnonzero(trace.temp_c[first:] < level_c)
    return float(trace.t_s[first + int(below[0])]) if below.size else np.inf
