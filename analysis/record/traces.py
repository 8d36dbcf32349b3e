"""Readings to traces: units, single impossible points, the step of the reading, the sampling period."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.record import spikes
from soakwitness.analysis.record.run import FloatArray, Trace
from soakwitness.analysis.record.spikes import COLDEST_C, FASTEST_DEFAULT_C_PER_S, HOTTEST_C

__all__ = ["COLDEST_C", "HOTTEST_C", "clean", "period", "resolution", "rising", "trace"]

_BLOCK = 1 << 15
STEPS = (10.0, 5.0, 2.0, 1.0, 0.5, 0.25, 0.2, 0.125, 0.1, 0.0625, 0.05, 0.025, 0.02, 0.01, 0.005, 0.002, 0.001)


def resolution(value: FloatArray) -> float:
    """Estimate the step of a reading from the numbers themselves.

    ``value``: readings in the unit that the instrument shows [degC or degF], shape (n,); NaN is left out. Returns the
    largest usual step of which 99.5 % of the readings are multiples [unit of ``value``]; 0.001 where there is none.
    Steps over 1 need more than 20 different readings, since a constant 780 says nothing about its step.
    """
    some = value[:: max(1, value.size // 20_000)]
    some = some[np.isfinite(some)]
    if some.size == 0:
        return STEPS[-1]
    for step in STEPS:
        multiples = some / step
        fit = np.abs(multiples - np.round(multiples)) < 1e-4 + 1e-9 * np.abs(multiples)
        if np.mean(fit) >= 0.995 and (step <= 1.0 or np.unique(some).size > 20):
            return step
    return STEPS[-1]


def period(t_s: FloatArray) -> float:
    """Return the nominal sampling period.

    Returns median distance of neighbours [s]; 1.0 for fewer than two times.
    """
    return float(np.median(np.diff(t_s))) if t_s.size > 1 else 1.0


def rising(t_s: FloatArray) -> npt.NDArray[np.bool_] | None:
    """Tell which rows to keep so that time rises strictly.

    ``t_s``: times as recorded [s], shape (n,); repeated, falling or missing ones are possible. Returns mask, shape
    (n,), of rows later than every row before them; None where all are.
    """
    if bool(np.all(t_s[1:] > t_s[:-1])) and bool(np.isfinite(t_s[:1]).all()):  # NaN is later than nothing
        return None
    known = np.where(np.isfinite(t_s), t_s, -np.inf)
    before = np.concatenate(([-np.inf], np.maximum.accumulate(known)[:-1]))
    kept: npt.NDArray[np.bool_] = known > before
    return kept


def clean(t_s: FloatArray, temp_c: FloatArray, *, role: str, resolution_c: float = 0.1) -> tuple[FloatArray, int]:
    """Drop single points that no thermocouple of this role can have read.

    A point is dropped where it lies outside anything a thermocouple can show, or stands alone: it leaves both
    neighbours to the same side faster than the limit, while the neighbours agree with each other and the point lies as
    far from the median of the six points around it. Downwards the limit is that of the role (a door dip is real),
    upwards 1.5 x the fastest rise that the trace itself shows over several points. Two or more consistent points are
    never dropped.

    ``temp_c``: readings [degC], shape (n,), NaN where nothing was read. ``role``: the sensor's role, which says how
    fast its reading can change. Returns the readings [degC], shape (n,), dropped ones NaN; the same array where nothing
    was dropped.
    """
    outside = 0
    if temp_c.size and (np.fmin.reduce(temp_c) < COLDEST_C or np.fmax.reduce(temp_c) > HOTTEST_C):
        wild = (temp_c < COLDEST_C) | (temp_c > HOTTEST_C)
        outside = int(wild.sum())
        temp_c = np.where(wild, np.nan, temp_c)
    alone = _alone(t_s, temp_c, role, resolution_c)
    if alone.size:
        temp_c = temp_c.copy()
        temp_c[alone] = np.nan
    return temp_c, outside + int(alone.size)


def _alone(t_s: FloatArray, temp_c: FloatArray, role: str, resolution_c: float) -> npt.NDArray[np.intp]:
    """Return the places of points that stand alone."""
    missing = np.isnan(temp_c)
    at = np.flatnonzero(~missing) if missing.any() else None
    t, temp = (t_s, temp_c) if at is None else (t_s[at], temp_c[at])
    if temp.size < 5:
        return np.empty(0, dtype=np.intp)
    spare = _spare(temp, resolution_c)
    turns = _turns(temp, spare)
    if not turns.size:
        return turns
    before, after = temp[turns] - temp[turns - 1], temp[turns + 1] - temp[turns]
    before_s, after_s = t[turns] - t[turns - 1], t[turns + 1] - t[turns]
    down = spikes.fastest_fall(role)
    limit = np.where(before < 0, down, spikes.fastest_rise(role, _rise(t, temp)))
    around = np.clip(turns[:, None] + np.array([-3, -2, -1, 1, 2, 3]), 0, temp.size - 1)
    far = np.abs(temp[turns] - np.median(temp[around], axis=1))
    nearest = np.minimum(before_s, after_s)
    alone = spikes.stands_alone((before, after), (before_s, after_s), far, nearest, limit, down, spare)
    found: npt.NDArray[np.intp] = turns[alone]
    return found if at is None else at[found]


def _turns(temp: FloatArray, spare: float) -> npt.NDArray[np.intp]:
    """Places where the reading leaves both neighbours to the same side by more than ``spare`` [K].

    A sieve without rates, in blocks that stay in the processor's cache: nearly all traces end here.
    """
    found = []
    for first in range(0, temp.size - 2, _BLOCK):
        step = np.diff(temp[first : first + _BLOCK + 2])
        opposite = step[:-1] * step[1:] < -spare * spare
        if opposite.any():
            both = np.minimum(np.abs(step[:-1]), np.abs(step[1:])) > spare
            found.append(np.flatnonzero(opposite & both) + first + 1)
    return np.concatenate(found) if found else np.empty(0, dtype=np.intp)


def _spare(temp: FloatArray, resolution_c: float) -> float:
    """Step that noise alone may make [K], from the median change of direction of some neighbours."""
    some = np.arange(0, temp.size - 2, max(1, temp.size // 20_000))
    turn = temp[some] - 2.0 * temp[some + 1] + temp[some + 2]
    noise = 1.4826 * float(np.median(np.abs(turn))) / float(np.sqrt(6.0))
    return spikes.spare(resolution_c, noise)


def _rise(t: FloatArray, temp: FloatArray) -> float:
    """Fastest rise over eight points that the trace sustains [degC/s]: the 99.5 % quantile, spikes do not count."""
    some = slice(None, None, max(1, temp.size // 50_000))
    over = 8
    if temp.size <= 2 * over:
        return FASTEST_DEFAULT_C_PER_S
    rate = (temp[over:] - temp[:-over])[some] / (t[over:] - t[:-over])[some]
    return max(float(np.quantile(rate, 0.995)), 0.0)


def trace(name: str, role: str, t_s: FloatArray, temp_c: FloatArray, *, resolution_c: float, period_s: float) -> Trace:
    """Make the cleaned trace of one sensor.

    ``temp_c``: readings [degC], shape (n,), NaN where nothing was read.
    """
    cleaned, dropped = clean(t_s, temp_c, role=role, resolution_c=resolution_c)
    return Trace(name, role, t_s, cleaned, resolution_c, period_s, dropped)
