"""The stable period of a survey: all sensors level, controller swings and all."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.measured_pairs.stretches import StretchLimits, runs_of, steadiness
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.firmware_bridge.common.wording import Rate, Says, duration

FloatArray = npt.NDArray[np.float64]

CUT_CELLS = 6  # a minute at either end, where a ramp may have begun within the room that swings are given
CUT_MINUTES = 2.0


def stable_period(
    t_s: FloatArray,
    traces_c: Sequence[FloatArray],
    *,
    spread_c: float,
    drift_c_per_h: float,
    windows_minutes: Sequence[float] = (30.0, 20.0, 10.0),
    wanted_c: FloatArray | None = None,
) -> tuple[float, float]:
    """Find the longest time in which no sensor drifts; swings of the controller are allowed, they are surveyed.

    ``spread_c``: largest spread of one sensor in a window [K]. ``windows_minutes``: windows to try [min], long ones
    first: over a short one the swing itself looks like a drift. ``wanted_c``: target at each time [degC], shape (n,):
    only where the sensors' mean is within ``spread_c`` of it counts. Returns start and end [s].

    Raises NotEnoughData if there is none.
    """
    if len(traces_c) < 2:
        raise NotEnoughData("a survey needs two sensors or more.")
    for minutes in windows_minutes:
        wide = StretchLimits(minutes, drift_c_per_h, spread_c)
        steady = [steadiness(t_s, trace, trace, wide) for trace in traces_c]
        stable = np.logical_and.reduce([one.stable for one in steady])
        if wanted_c is not None:
            mean_c = np.mean([one.sensor_c for one in steady], axis=0)
            stable &= np.abs(mean_c - np.interp(steady[0].t_s, t_s, wanted_c)) <= spread_c
        periods = [(first - steady[0].cells + 1, last + 1) for first, last in runs_of(stable)]
        if periods:
            begin, end = max(periods, key=lambda p: p[1] - p[0])
            begin, end = _level_part(np.array([one.sensor_c for one in steady]), begin, end)
            return float(steady[0].t_s[begin]), float(steady[0].t_s[end - 1])
    where = "" if wanted_c is None else " near the target"
    says = f"no stable period{where}: in none of {duration(60.0 * windows_minutes[-1])} do all sensors drift less than "
    raise NotEnoughData(Says.of(says + "{drift}. Hold the furnace longer.", drift=Rate(drift_c_per_h)))


def _level_part(traces: FloatArray, begin: int, end: int) -> tuple[int, int]:
    """Cut off what a long window let in of the ramps: keep the range of the middle half, and a quarter more."""
    quarter = (end - begin) // 4
    middle = traces[:, begin + quarter : end - quarter]
    low, high = np.nanmin(middle, axis=1, keepdims=True), np.nanmax(middle, axis=1, keepdims=True)
    room = np.maximum(1.0, (high - low) / 4.0)
    part = traces[:, begin:end]
    out = ((part < low - room) | (part > high + room)).any(axis=0)
    before, after = np.flatnonzero(out[:quarter]), np.flatnonzero(out[-quarter:]) if quarter else np.empty(0, np.intp)
    begin += int(before[-1]) + 1 if before.size else 0
    end -= quarter - int(after[0]) if after.size else 0
    return (begin + CUT_CELLS, end - CUT_CELLS) if end - begin > 4 * CUT_CELLS else (begin, end)
