"""Level of a hold, where its level part ends, and how far above the target it went."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.runs import FloatArray
from soakwitness.analysis.verification.edges import Edges, Readings
from soakwitness.analysis.verification.intervals import Allowed, inside

LEVEL_SHARE = 0.15
LEAST_HIDDEN_C = 1.0


@dataclass(frozen=True)
class Level:
    """Level part of a hold: median (or, for a swinging oven, mean) reading [degC], begin and end [s]."""

    level_c: float
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Overshoot:
    """Highest reading above the target [K] and when [s]; ``most_c`` what a gap may hide; time above the band [s]."""

    overshoot_c: float
    at_s: float
    most_c: float
    is_at_least: bool
    above_band_s: float


def level_part(readings: Readings, hold: Hold, edges: Edges, noise_c: float) -> Level:
    """Find the level part of a hold: the final climb into the next ramp is not part of it.

    Parameters
    ----------
    readings : Readings
        The trace.
    hold : Hold
        The hold.
    edges : Edges
        Where it was entered and left.
    noise_c : float
        Noise of a reading [K].

    Returns
    -------
    Level
        Median reading and where it was level, traced back from *leave* (and forward from an enter from above).
    """
    low, high = readings.between(edges.enter_s, edges.leave_s)
    part, t = readings.temp_c[low:high], readings.t_s[low:high]
    if not part.size:
        return Level(hold.target_c, edges.enter_s, edges.leave_s)
    if hold.judge_by == "mean":
        return Level(_mean(t, part), edges.enter_s, edges.leave_s)
    level = float(np.median(part))
    near = np.flatnonzero(part <= level + max(2.0 * noise_c, LEVEL_SHARE * hold.above_c))
    end = float(t[near[-1]]) if edges.left_upward and near.size else edges.leave_s
    start = float(t[near[0]]) if edges.from_above and near.size else edges.enter_s
    return Level(level, start, max(end, start))


def _mean(t_s: FloatArray, temp_c: FloatArray) -> float:
    """Mean over time [degC]."""
    if t_s.size < 2:
        return float(temp_c[0])
    between = (temp_c[1:] + temp_c[:-1]) / 2.0
    return float(np.sum(between * np.diff(t_s)) / (t_s[-1] - t_s[0]))


def overshoot(readings: Readings, hold: Hold, level: Level, allowed: Allowed) -> Overshoot | None:
    """Measure the overshoot from enter to the end of the level part.

    Parameters
    ----------
    readings : Readings
        The trace.
    hold : Hold
        The hold.
    level : Level
        Its level part.
    allowed : Allowed
        Noise, gaps and rates.

    Returns
    -------
    Overshoot or None
        None without a reading there.
    """
    low, high = readings.between(level.start_s, level.end_s)
    part = readings.temp_c[low:high]
    if not part.size:
        return None
    top = low + int(part.argmax())
    peak = float(readings.temp_c[top])
    hidden = _hidden_by_gaps(readings, low, high, allowed)
    most = max(peak, hidden)
    coarse = _hidden_by_sampling(readings, top) > max(2.0 * allowed.noise_c, LEAST_HIDDEN_C)
    above = inside(
        readings, hold.upper_c, np.inf, start_s=level.start_s, end_s=level.end_s, mode="best", allowed=allowed
    ).total_s
    return Overshoot(
        peak - hold.target_c,
        float(readings.t_s[top]),
        most - hold.target_c,
        bool(hidden > peak + allowed.noise_c or coarse),
        above,
    )


def _hidden_by_gaps(readings: Readings, low: int, high: int, allowed: Allowed) -> float:
    """Highest temperature that the furnace's own rates allow within gaps [degC]."""
    part = slice(max(low - 1, 0), high + 1)
    t, y = readings.t_s[part], readings.temp_c[part]
    wide = np.flatnonzero(readings.is_gap(part))
    if not wide.size:
        return -np.inf
    up, down, long = allowed.heating_c_per_s, allowed.cooling_c_per_s, t[wide + 1] - t[wide]
    # Up from the left end at the heating rate, down to the right end at the cooling rate: where the two lines meet.
    apex = (up * down * long + down * y[wide] + up * y[wide + 1]) / (up + down)
    return float(np.max(np.maximum(apex, np.maximum(y[wide], y[wide + 1]))))


def _hidden_by_sampling(readings: Readings, top: int) -> float:
    """How far the true peak may stand above the highest reading [K], from the bend of the three readings there."""
    if not 0 < top < readings.t_s.size - 1:
        return 0.0
    left, here, right = readings.temp_c[top - 1 : top + 2]
    return float(2.0 * here - left - right) / 4.0
