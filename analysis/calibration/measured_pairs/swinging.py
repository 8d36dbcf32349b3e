"""Stretches in which a furnace swings about one temperature: averaged over whole swings, they are as good as still."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Settings of this program, no standard's.
MOST_C = 20.0  # highest minus lowest within a window
SHORTEST_S, LONGEST_S = 60.0, 1500.0
LIKENESS = 0.35  # correlation of a trace with itself one swing later
LEAST_SWINGS = 2.0


def swing_period_s(reference_c: FloatArray, step_s: float) -> float | None:
    """Period of the swing of a trace on an even grid [degC, s]; None where it does not swing."""
    x = reference_c[np.isfinite(reference_c)]
    if x.size < 2 * SHORTEST_S / step_s + 8:
        return None
    t = np.arange(x.size)
    x = x - np.polynomial.Polynomial.fit(t, x, 2)(t)
    power = np.correlate(x, x, mode="full")[x.size - 1 :]
    if power[0] <= 0:
        return None
    like = power / power[0] * x.size / (x.size - t)  # fewer pairs at longer lags
    last = min(int(LONGEST_S / step_s), int(x.size / LEAST_SWINGS))
    fallen = np.flatnonzero(like[:last] < 0.0)
    if not fallen.size:
        return None
    first = max(int(fallen[0]), int(SHORTEST_S / step_s))
    if first + 2 >= last:
        return None
    peak = first + int(np.argmax(like[first:last]))
    if like[peak] < LIKENESS or peak >= last - 1:
        return None
    return float(peak * step_s)


def over_swings(values: FloatArray, cells: int) -> FloatArray:
    """Mean over one swing around each cell, shape (n, m); NaN where a whole one does not fit or has a hole."""
    out = np.full_like(values, np.nan)
    if values.shape[0] >= cells:
        windows = np.lib.stride_tricks.sliding_window_view(values, cells, axis=0)
        half = cells // 2
        out[half : half + windows.shape[0]] = windows.mean(axis=2)
    return out


def within_swing(both: FloatArray, cells: int) -> npt.NDArray[np.bool_]:
    """Cells that lie in a window in which neither trace [degC], shape (n, 2), moves by more than a swing may."""
    inside = np.zeros(both.shape[0], dtype=bool)
    if both.shape[0] < cells:
        return inside
    windows = np.lib.stride_tricks.sliding_window_view(both, cells, axis=0)
    quiet = np.nan_to_num(np.ptp(windows, axis=2), nan=np.inf).max(axis=1) <= MOST_C
    for first in np.flatnonzero(quiet):
        inside[first : first + cells] = True
    return inside
