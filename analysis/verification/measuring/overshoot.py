"""Level of a hold, where its level part begins and ends, and how far above its target it was held."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.record.median import median
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.holds.edges import Edges
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.held import highest_held
from soakwitness.analysis.verification.measuring.intervals import Allowed, inside

LEAST_HIDDEN_C = 1.0
BEFORE_CLIMB_S = 120.0
FEWEST_LEVEL = 12
CLIMBS = 3.0
SLIGHT_SHARE = 0.15
STOP_S = 30.0
FEWEST_STOP = 6
MOST_SORTED = 20_000
LINE_S = 300.0
RIPPLES = 3.0  # residuals of a climb so much larger than the noise of a reading are the control's ripple
HELD_S = 30.0
SLOPE_S = 120.0
SLOPE_BLOCKS = 2000
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


@dataclass(frozen=True)
class Overshoot:
    """Highest reading held above the target [K] and when [s]; ``most_c`` what a gap may hide; time above the band."""

    overshoot_c: float
    at_s: float
    most_c: float
    is_at_least: bool
    above_band_s: float


def level_part(readings: Readings, hold: Hold, edges: Edges, noise_c: float, slope_c_per_h: float) -> LevelPart:
    """Find the level part of a hold: the climb into it and the final climb out of it are not part of it.

    Traced back from *leave*, and forward from an enter from above. ``noise_c`` is that of a reading [K],
    ``slope_c_per_h`` what still is level [K/h].
    """
    low, high = readings.between(edges.enter_s, edges.leave_s)
    part, t = readings.temp_c[low:high], readings.t_s[low:high]
    if not part.size:
        return LevelPart(hold.target_c, edges.enter_s, edges.leave_s)
    if hold.judge_by == "mean":
        return LevelPart(_mean(t, part), edges.enter_s, edges.leave_s)
    every_t, every = readings.t_s, readings.temp_c
    end = back = None
    sure = sure_back = True
    if edges.left_upward:
        end, sure = _foot(t, part, every_t[high:], every[high:], hold, noise_c, readings.period_s)
    if edges.from_above:  # the same with the time running backwards
        before = -every_t[:low][::-1], every[:low][::-1]
        back, sure_back = _foot(-t[::-1], part[::-1], *before, hold, noise_c, readings.period_s)
    start = edges.enter_s if back is None else -back
    end_s = max(edges.leave_s if end is None else end, start)
    return LevelPart(_level(t, part, start, end_s, slope_c_per_h), start, end_s, sure and sure_back)


def _level(t_s: FloatArray, temp_c: FloatArray, start_s: float, end_s: float, slope_c_per_h: float) -> float:
    """Median of the readings where the trace stood level, else of the last third [degC]."""
    low, high = int(np.searchsorted(t_s, start_s)), int(np.searchsorted(t_s, end_s, side="right"))
    t, y = (t_s[low:high], temp_c[low:high]) if high > low else (t_s, temp_c)
    every = max(1, t.size // SLOPE_BLOCKS)
    size = t.size // every
    at = t[: size * every].reshape(size, every).mean(axis=1)
    mean = y[: size * every].reshape(size, every).mean(axis=1)
    back = np.interp(at - SLOPE_S / 2.0, at, mean)
    ahead = np.interp(at + SLOPE_S / 2.0, at, mean)
    span = np.minimum(at + SLOPE_S / 2.0, at[-1]) - np.maximum(at - SLOPE_S / 2.0, at[0])
    flat = np.abs(ahead - back) <= slope_c_per_h / 3600.0 * span
    share = float(np.count_nonzero(flat)) / size
    if share >= MOSTLY_LEVEL:
        return median(y)
    level_s = share * float(t[-1] - t[0])
    if level_s >= max(LEAST_LEVEL_S, LEVEL_SHARE * float(t[-1] - t[0])):
        return float(np.median(y[: size * every].reshape(size, every)[flat]))
    return float(np.median(y[t >= t[0] + (t[-1] - t[0]) * 2.0 / 3.0]))


def _settled(temp_c: FloatArray) -> float:
    """Median of the densest half of the readings [degC]: in a short hold the way in and out is much of the time."""
    some = np.sort(temp_c[:: max(1, temp_c.size // MOST_SORTED)])
    half = (some.size + 1) // 2
    first = int(np.argmin(some[half - 1 :] - some[: some.size - half + 1]))
    return float(np.median(some[first : first + half]))


def _foot(
    t_s: FloatArray,
    temp_c: FloatArray,
    beyond_t_s: FloatArray,
    beyond_c: FloatArray,
    hold: Hold,
    noise_c: float,
    period_s: float,
) -> tuple[float, bool]:
    """Where the climb out of the band began [s], and whether that is sure.

    It is the last reading as low as the level shortly before the climb. The climb's speed beyond the band tells how far
    back it may reach; where the hold is long enough, three times that is not asked for the level. Where the control's
    ripple goes on in the climb, a line through the climb tells where it began.
    """
    settled, speed = _settled(temp_c), _speed(t_s[-1], temp_c[-1], beyond_t_s, beyond_c, hold)
    if speed <= 0.0:  # the record ends in it
        near = np.flatnonzero(temp_c <= settled + max(2.0 * noise_c, SLIGHT_SHARE * hold.above_c))
        return float(t_s[near[-1]]), True
    climb_s = CLIMBS * max(hold.upper_c - settled, 0.0) / speed + 2.0 * period_s
    until_s = t_s[-1] - climb_s
    since_s = until_s - max(climb_s, BEFORE_CLIMB_S, FEWEST_LEVEL * period_s)
    before = temp_c[np.searchsorted(t_s, since_s) : np.searchsorted(t_s, until_s, side="right")]
    short = since_s < t_s[0]
    if short:
        before = _last_stop(t_s, temp_c, speed, noise_c, period_s)
    level = float(before.max(initial=settled + noise_c))
    foot = float(t_s[np.flatnonzero(temp_c <= level)[-1]])
    return min(foot, _foot_of_line(t_s, temp_c, beyond_t_s, beyond_c, settled)), before.size > 0 or not short


def _foot_of_line(
    t_s: FloatArray, temp_c: FloatArray, beyond_t_s: FloatArray, beyond_c: FloatArray, settled_c: float
) -> float:
    """Where a line through a climb with ripple comes from the level [s]; infinity where no ripple shows in it."""
    far = int(np.searchsorted(beyond_t_s, beyond_t_s[0] + LINE_S)) if beyond_t_s.size else 0
    t, y = beyond_t_s[:far], beyond_c[:far]
    if t.size < FEWEST_LEVEL:
        return np.inf
    slope, start = np.polyfit(t - t[0], y, 1)
    off = y - (start + slope * (t - t[0]))
    noise = 1.4826 * float(np.median(np.abs(np.diff(y, 2)))) / np.sqrt(6.0)
    crosses = int(np.count_nonzero(off[:-1] * off[1:] < 0.0))
    ripple = 1.4826 * float(np.median(np.abs(off)))
    # A level with ripple is no climb: that rises by more than its ripple swings.
    climbs = slope * float(t[-1] - t[0]) > CLIMBS * ripple
    if not climbs or crosses < 4 or ripple < max(RIPPLES * noise, 1.0):
        return np.inf
    return float(min(max(t[0] - (start - settled_c) / slope, t_s[0]), t_s[-1]))


def _last_stop(t_s: FloatArray, temp_c: FloatArray, speed: float, noise_c: float, period_s: float) -> FloatArray:
    """Readings of a short hold before it last went faster than a third of the climb; none where noise hides that."""
    half = max(FEWEST_STOP // 2, int(np.ceil(STOP_S / 2.0 / period_s)))
    while 2 * half <= temp_c.size and noise_c / np.sqrt(half) / (half * period_s) > speed / 6.0:
        half += 1
    if temp_c.size < 2 * half:
        return temp_c[:0]
    sums, times = np.concatenate(([0.0], np.cumsum(temp_c))), np.concatenate(([0.0], np.cumsum(t_s)))
    mean, middle = (sums[half:] - sums[:-half]) / half, (times[half:] - times[:-half]) / half
    slow = np.flatnonzero(mean[half:] - mean[:-half] < speed / 3.0 * (middle[half:] - middle[:-half]))
    return temp_c[slow[-1] : slow[-1] + half] if slow.size else temp_c[:0]


def _speed(last_s: float, last_c: float, t_s: FloatArray, temp_c: FloatArray, hold: Hold) -> float:
    """Speed of the climb [K/s] from the last reading inside to half a band's width above the band; 0 without one."""
    if not temp_c.size:
        return 0.0
    far = np.flatnonzero(temp_c >= hold.upper_c + (hold.below_c + hold.above_c) / 2.0)
    top = int(far[0]) if far.size else int(temp_c.argmax())
    return float((temp_c[top] - last_c) / (t_s[top] - last_s))


def _mean(t_s: FloatArray, temp_c: FloatArray) -> float:
    """Mean over time [degC]."""
    if t_s.size < 2:
        return float(temp_c[0])
    between = (temp_c[1:] + temp_c[:-1]) / 2.0
    return float(np.sum(between * np.diff(t_s)) / (t_s[-1] - t_s[0]))


def overshoot(
    readings: Readings,
    hold: Hold,
    level: LevelPart,
    allowed: Allowed,
    between_s: tuple[float, float] = (-np.inf, np.inf),
) -> Overshoot | None:
    """Measure the overshoot from enter to the end of the level part, while a charge is inside (``between_s`` [s]).

    It is the highest temperature held for 30 s or three readings, whichever is longer, minus the target; None without
    three readings there.
    """
    start_s, end_s = max(level.start_s, between_s[0]), min(level.end_s, between_s[1])
    low, high = readings.between(start_s, end_s)
    held = highest_held(readings.t_s[low:high], readings.temp_c[low:high], HELD_S)
    if held is None:
        part = readings.temp_c[low:high]
        if not part.size:
            return None
        peak, at_s = float(part.min()), float(readings.t_s[low])
    else:
        peak, at_s = held.value_c, held.at_s
    hidden = hidden_by_gaps(readings, low, high, allowed, HELD_S)
    most = max(peak, hidden) if level.sure else max(peak, hidden, hold.upper_c)
    top = low + int(readings.temp_c[low:high].argmax())
    coarse = readings.period_s > HELD_S and _hidden_by_sampling(readings, top) > max(
        2.0 * allowed.noise_c, LEAST_HIDDEN_C
    )
    above = inside(readings, hold.upper_c, np.inf, start_s=start_s, end_s=end_s, mode="best", allowed=allowed).total_s
    return Overshoot(
        peak - hold.target_c,
        at_s,
        most - hold.target_c,
        bool(hidden > peak + allowed.noise_c or coarse or (not level.sure and hold.upper_c > peak)),
        above,
    )


def hidden_by_gaps(readings: Readings, low: int, high: int, allowed: Allowed, held_s: float) -> float:
    """Highest temperature [degC] that the furnace's own rates allow to be held for ``held_s`` within a gap."""
    first = max(low - 1, 0)
    wide = first + readings.gaps_in(first, high + 1)
    if not wide.size:
        return -np.inf
    t, y = readings.t_s, readings.temp_c
    long = t[wide + 1] - t[wide] - held_s
    wide, long = wide[long > 0.0], long[long > 0.0]
    if not wide.size:
        return -np.inf
    up, down = allowed.heating_c_per_s, allowed.cooling_c_per_s
    # Up from the left end at the heating rate, a while level, down to the right end at the cooling rate.
    apex = (up * down * long + down * y[wide] + up * y[wide + 1]) / (up + down)
    lowest = np.minimum(y[wide], y[wide + 1])
    return float(np.max(np.maximum(apex, lowest)))


def _hidden_by_sampling(readings: Readings, top: int) -> float:
    """How far the true peak may stand above the highest reading [K], from the bend of the three readings there."""
    if not 0 < top < readings.t_s.size - 1:
        return 0.0
    left, here, right = readings.temp_c[top - 1 : top + 2]
    return float(2.0 * here - left - right) / 4.0
