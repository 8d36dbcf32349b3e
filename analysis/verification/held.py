"""The highest figure that was held for a while: what a peak, a limit and an overshoot are measured by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.runs import FloatArray

FEWEST = 3
FINE_C = 0.02
ROUNDS = 12


@dataclass(frozen=True)
class Held:
    """The highest figure held for as long as counts [K] and when that began [s]."""

    value_c: float
    at_s: float


def highest_held(t_s: FloatArray, value_c: FloatArray, least_s: float, back_c: float = 0.0) -> Held | None:
    """The highest figure that three readings in a row at least, over ``least_s`` or longer, stood at or above.

    A single reading that is back by at most ``back_c`` [K] does not break the row. None with fewer than three readings.
    """
    if t_s.size < FEWEST:
        return None
    value_c = _mended(value_c, back_c)
    period_s = float(np.median(np.diff(t_s[:: max(1, t_s.size // 5000)]))) / max(1, t_s.size // 5000)
    count = int(np.ceil(least_s / max(period_s, 1e-9)))
    low = float(np.max(_least_of(value_c, min(max(count + 2, FEWEST), value_c.size))))
    high = float(np.max(_least_of(value_c, min(max(count - 2, FEWEST), value_c.size))))
    if _row(t_s, value_c, high, least_s) is not None:
        low = high
    elif _row(t_s, value_c, low, least_s) is None:
        low = float(np.min(value_c))
        if _row(t_s, value_c, low, least_s) is None:
            return None  # the whole stretch is shorter than what counts
    for _ in range(ROUNDS):
        if high - low <= FINE_C:
            break
        middle = (low + high) / 2.0
        low, high = (middle, high) if _row(t_s, value_c, middle, least_s) is not None else (low, middle)
    began = _row(t_s, value_c, low, least_s)
    return Held(low, float(t_s[0]) if began is None else began)


def _mended(value_c: FloatArray, back_c: float) -> FloatArray:
    """Single readings that are back by no more than noise, raised to their neighbours."""
    if back_c <= 0.0 or value_c.size < FEWEST:
        return value_c
    beside = np.minimum(value_c[:-2], value_c[2:])
    mended = value_c.copy()
    mended[1:-1] = np.maximum(value_c[1:-1], np.minimum(beside, value_c[1:-1] + back_c))
    return mended


def _least_of(value_c: FloatArray, count: int) -> FloatArray:
    """Least of every ``count`` readings in a row: prefix and suffix minima of blocks (van Herk, 1992)."""
    short = -value_c.size % count
    padded = np.concatenate((value_c, np.full(short, np.inf))).reshape(-1, count)
    ahead = np.minimum.accumulate(padded, axis=1).ravel()
    behind = np.minimum.accumulate(padded[:, ::-1], axis=1)[:, ::-1].ravel()
    last = value_c.size - count + 1
    least: FloatArray = np.minimum(behind[:last], ahead[count - 1 : count - 1 + last])
    return least


def _row(t_s: FloatArray, value_c: FloatArray, level_c: float, least_s: float) -> float | None:
    """When the first row at or above a level began that is long enough [s], its ends interpolated; None without one."""
    over = value_c >= level_c
    ends = np.flatnonzero(np.diff(np.concatenate(([False], over, [False])).astype(np.int8))).reshape(-1, 2)
    ends = ends[ends[:, 1] - ends[:, 0] >= FEWEST]
    if not ends.size:
        return None
    first, last = ends[:, 0], ends[:, 1] - 1
    came, went = t_s[first].astype(float), t_s[last].astype(float)
    has, more = first > 0, last < t_s.size - 1
    a, b = first[has], last[more]
    came[has] -= (value_c[a] - level_c) / (value_c[a] - value_c[a - 1]) * (t_s[a] - t_s[a - 1])
    went[more] += (value_c[b] - level_c) / (value_c[b] - value_c[b + 1]) * (t_s[b + 1] - t_s[b])
    long = np.flatnonzero(went - came >= least_s - 1e-6)
    return float(came[long[0]]) if long.size else None
