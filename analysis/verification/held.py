"""The highest figure that was held for a while: what a peak, a limit and an overshoot are measured by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.runs import FloatArray
from soakwitness.analysis.verification.readings import BLOCK

FEWEST = 3
FINE_C = 0.02
SLIGHT_S = 1e-3


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
    period_s = float(np.median(np.diff(t_s[:: max(1, t_s.size // 5000)]))) / max(1, t_s.size // 5000)
    count = int(np.ceil(least_s / max(period_s, 1e-9)))
    many, few = (min(max(count + more, FEWEST), value_c.size) for more in (2, -2))
    value_c = _mended(value_c, back_c)
    at = _where_it_may_stand(t_s, value_c, (many, few), least_s)
    t, value = t_s[at], value_c[at]
    low, high = (float(np.max(_least_of(value, in_a_row))) for in_a_row in (many, few))
    if _row(t, value, high, least_s) is not None:
        low = high
        if count - 2 > FEWEST:  # where readings are missing fewer of them make up the time
            high = float(np.max(value))
    elif _row(t, value, low, least_s) is None:
        t, value = t_s, value_c
        low = float(np.min(value))
        if _row(t, value, low, least_s) is None:
            return None  # the whole stretch is shorter than what counts
    while high - low > FINE_C:
        middle = (low + high) / 2.0
        low, high = (middle, high) if _row(t, value, middle, least_s) is not None else (low, middle)
    began = _row(t, value, low, least_s)
    return Held(low, float(t_s[0]) if began is None else began)


def _where_it_may_stand(
    t_s: FloatArray, value_c: FloatArray, counts: tuple[int, int], least_s: float
) -> npt.NDArray[np.intp]:
    """Which readings can have to do with it: most stand below what some whole block of readings stood at.

    ``counts`` are the most and the fewest readings in a row that are asked for. A row over that floor is kept with the
    reading on either side of it.
    """
    many, few = counts
    whole = value_c.size - value_c.size % many
    floor_c = value_c[:whole].reshape(-1, many).min(axis=1).max()
    below = np.concatenate(([-1], (value_c < floor_c).nonzero()[0], [value_c.size]))
    apart = np.diff(below) > 1
    before, after = below[:-1][apart], below[1:][apart]
    long_s = t_s[np.minimum(after, t_s.size - 1)] - t_s[np.maximum(before, 0)]
    kept = np.zeros(t_s.size, dtype=bool)
    for k in ((after - before > few) | (long_s >= least_s - SLIGHT_S)).nonzero()[0].tolist():
        kept[max(int(before[k]), 0) : int(after[k]) + 1] = True
    return kept.nonzero()[0]


def _mended(value_c: FloatArray, back_c: float) -> FloatArray:
    """Single readings that are back by no more than noise, raised to their neighbours."""
    if back_c <= 0.0 or value_c.size < FEWEST:
        return value_c
    mended = value_c.copy()
    for first in range(0, value_c.size - 2, BLOCK):  # in blocks that stay in the processor's cache
        part = value_c[first : first + BLOCK + 2]
        beside = np.minimum(part[:-2], part[2:])
        mended[first + 1 : first + part.size - 1] = np.maximum(part[1:-1], np.minimum(beside, part[1:-1] + back_c))
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
