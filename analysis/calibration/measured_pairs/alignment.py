"""Bringing two logs with clocks of their own together by the shape of what both saw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.firmware_bridge.common.wording import Diff, Says, duration

FloatArray = npt.NDArray[np.float64]

STEP_S = 10.0
LEAST_OVERLAP_S = 1800.0
LEAST_SPAN_C = 50.0  # without a rise or fall of this size there is no shape to go by
LEAST_LIKENESS = 0.9
RIVAL_APART_S = 600.0
RIVAL_SHARE = 0.97


@dataclass(frozen=True)
class Alignment:
    """``shift_s`` added to the second log's times puts them on the first's clock; ``u_s`` its standard uncertainty.

    ``likeness`` is the correlation of the two rates of change over the overlap (1: the same shape).
    """

    shift_s: float
    u_s: float
    likeness: float
    overlap_s: float
    residual_c: float


def align_by_shape(first_s: FloatArray, first_c: FloatArray, second_s: FloatArray, second_c: FloatArray) -> Alignment:
    """Find the shift between two clocks from the shapes of two traces.

    Coarse: normalised correlation of the smoothed rates of change at every shift. Fine: the shift at which one reading
    is most nearly a straight line of the other, by least squares. A lag between the sensors is part of the shift; it
    does not matter in a stable stretch.

    ``first_s``, ``second_s``: times of each log on its own clock [s], shapes (n,) and (m,).

    Raises NotEnoughData if the logs share no common rise or fall, overlap too little, or fit at two places about as
    well.
    """
    a, b = _rates(first_s, first_c), _rates(second_s, second_c)
    score, overlap = _correlation(a, b)
    if not score.size or not np.isfinite(score).any():
        raise NotEnoughData("the two logs are too short to be brought together: they need half an hour in common.")
    best = int(np.nanargmax(score))
    lag = best - (b.size - 1)
    likeness = float(score[best])
    if likeness < LEAST_LIKENESS:
        raise NotEnoughData(
            f"the two logs do not show the same heating: their shapes agree by {likeness:.2f} at best, "
            f"{LEAST_LIKENESS} is needed. Were both running on the same day?"
        )
    far = np.abs(np.arange(score.size) - best) * STEP_S > RIVAL_APART_S
    rival = np.where(far, score, -1.0)
    if np.nanmax(rival) > RIVAL_SHARE * likeness:
        other_s = (int(np.nanargmax(rival)) - best) * STEP_S
        raise NotEnoughData(
            f"the two logs fit at two places, {duration(abs(other_s))} apart, about as well. "
            "Use a run with one clear rise."
        )
    coarse_s = float(first_s[0] - second_s[0]) + lag * STEP_S
    shift_s, residual_c, u_s = _refined(first_s, first_c, second_s, second_c, coarse_s)
    return Alignment(shift_s, u_s, likeness, float(overlap[best]) * STEP_S, residual_c)


def on_first_clock(first_s: FloatArray, second_s: FloatArray, second_c: FloatArray, shift_s: float) -> FloatArray:
    """Readings of the second log at the times of the first.

    ``second_s``, ``second_c``: times [s] on the second clock and readings [degC], shape (m,). Returns readings [degC],
    shape (n,); NaN outside the second log and over its gaps of more than three periods.
    """
    good = np.isfinite(second_c)
    t_s, temp_c = second_s[good] + shift_s, second_c[good]
    if t_s.size < 2:
        return np.full(first_s.size, np.nan)
    out = np.interp(first_s, t_s, temp_c, left=np.nan, right=np.nan)
    right = np.clip(np.searchsorted(t_s, first_s), 1, t_s.size - 1)
    wide = t_s[right] - t_s[right - 1] > 3.0 * max(float(np.median(np.diff(t_s))), 1e-9)
    return np.asarray(np.where(wide, np.nan, out))


def _rates(t_s: FloatArray, temp_c: FloatArray) -> FloatArray:
    """Rate of change on a grid of 10 s, smoothed over a minute [degC per step]."""
    good = np.isfinite(temp_c)
    if good.sum() < 10 or np.ptp(temp_c[good]) < LEAST_SPAN_C:
        says = "a log shows no rise or fall of {least}: there is no shape to go by."
        raise NotEnoughData(Says.of(says, least=Diff(LEAST_SPAN_C)))
    grid = np.arange(t_s[0], t_s[-1], STEP_S)
    level = np.interp(grid, t_s[good], temp_c[good])
    kernel = np.hanning(9)[1:-1]
    smooth = np.convolve(np.pad(level, 3, mode="edge"), kernel / kernel.sum(), mode="valid")
    return np.asarray(np.gradient(smooth))


def _correlation(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Normalised correlation over the overlap at every lag, and the overlap in steps; NaN where it is too short."""
    from scipy.signal import fftconvolve

    ones_a, ones_b = np.ones_like(a), np.ones_like(b)
    overlap = np.rint(fftconvolve(ones_a, ones_b[::-1]))
    cross = fftconvolve(a, b[::-1])
    energy_a = fftconvolve(a * a, ones_b[::-1])
    energy_b = fftconvolve(ones_a, (b * b)[::-1])
    # an overlap without a good part of either log's ups and downs is no match
    enough = (overlap * STEP_S >= LEAST_OVERLAP_S) & (energy_a > 0.3 * (a @ a)) & (energy_b > 0.3 * (b @ b))
    norm = np.sqrt(np.maximum(energy_a * energy_b, 1e-12))
    return np.where(enough, cross / norm, np.nan), overlap


def _refined(
    first_s: FloatArray, first_c: FloatArray, second_s: FloatArray, second_c: FloatArray, coarse_s: float
) -> tuple[float, float, float]:
    """Shift [s] of the smallest residual [K] about a straight line of readings, and its uncertainty [s]."""
    from scipy.optimize import minimize_scalar

    grid = np.arange(first_s[0], first_s[-1], STEP_S)
    good = np.isfinite(first_c)
    level = np.interp(grid, first_s[good], first_c[good])

    def residuals(shift_s: float) -> FloatArray:
        other = on_first_clock(grid, second_s, second_c, shift_s)
        both = np.isfinite(other)
        fit = np.polynomial.polynomial.polyfit(other[both], level[both], 1)
        return np.asarray(level[both] - np.polynomial.polynomial.polyval(other[both], fit))

    found = minimize_scalar(
        lambda shift_s: float(np.mean(np.abs(residuals(shift_s)))),
        bounds=(coarse_s - 120.0, coarse_s + 120.0),
        method="bounded",
        options={"xatol": 0.1},
    )
    left = residuals(float(found.x))
    steep = float(np.sqrt(np.mean(np.gradient(level, STEP_S) ** 2)))
    scatter = float(np.sqrt(np.mean(left**2)))
    return float(found.x), float(np.median(np.abs(left))), scatter / max(steep, 1e-9) / np.sqrt(left.size / 30.0)
