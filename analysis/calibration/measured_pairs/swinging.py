"""Stretches in which a furnace swings about one temperature: averaged over whole swings, they are as good as still."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Settings of this program, no standard's.
MOST_C = 20.0  # highest minus lowest within a window
SMOOTH_S = 40.0
CLIPPED = 4.0
LEAST_C_PER_S = 0.002  # rms of the rate of change: less is no swing
SHORTEST_S, LONGEST_S = 60.0, 1500.0
LIKENESS = 0.35  # correlation of a trace with itself one swing later
LEAST_SWINGS = 2.0


def swing_period_s(reference_c: FloatArray, step_s: float) -> float | None:
    """Period of the swing of a trace on an even grid [degC, s]; None where it does not swing.

    Looked for in the rate of change, in which an arrival or a creep weighs little; the first part may still arrive.
    """
    x = reference_c[np.isfinite(reference_c)]
    cells = max(1, round(SMOOTH_S / step_s))
    if x.size < 4 * cells + 8:
        return None
    rate = np.diff(np.convolve(x, np.ones(cells) / cells, mode="valid"))
    found = [_period_cells(rate[int(share * rate.size) :], step_s) for share in (0.0, 0.25, 0.5)]
    _, peak = max((one for one in found if one is not None), default=(0.0, 0))
    return float(peak * step_s) if peak else None


def _period_cells(rate: FloatArray, step_s: float) -> tuple[float, int] | None:
    """Likeness of a rate of change with itself one swing later, and that swing in cells."""
    x = rate - np.median(rate)
    most = CLIPPED * float(np.median(np.abs(x)))  # the foot of a ramp at either end would outweigh the swing
    x = np.clip(x, -most, most)
    x = x - x.mean()
    last = min(int(LONGEST_S / step_s), int(x.size / LEAST_SWINGS)) + 1
    power = np.correlate(x, x, mode="full")[x.size - 1 :]
    if power[0] <= (LEAST_C_PER_S * step_s) ** 2 * x.size or last < 4:
        return None
    like = power / power[0] * x.size / (x.size - np.arange(x.size))  # fewer pairs at longer lags
    fallen = np.flatnonzero(like[:last] < 0.0)
    if not fallen.size:
        return None
    first = max(int(fallen[0]), int(SHORTEST_S / step_s))
    inner = [k for k in range(max(first, 1), last) if like[k] >= like[k - 1] and like[k] >= like[k + 1]]
    if not inner:
        return None
    best = max(float(like[k]) for k in inner)
    if best < LIKENESS:
        return None
    peak = next(k for k in inner if like[k] >= 0.8 * best)  # the first, not two swings at once
    return float(like[peak]), peak


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
