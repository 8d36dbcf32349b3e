"""A sensor that steps while the other goes on as before: its readings before and after are not of one sensor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Settings of this program, no standard's.
LEAST_C = 2.0  # smaller ones are left to the levels that are measured twice
MOST_C = 40.0  # what jumps further is a contact, which comes back or ends the levels by itself
TIMES_NOISE = 5.0
BESIDE = 4  # increments on either side that say what the slope was there
AROUND = 40  # increments on either side that say what the noise is
ALONE = 3.0  # times what is beside it
LASTS_S = 240.0
KEPT = 0.6  # share of a step that is still there after so long
OTHER = 0.35  # largest share of it that the other sensor may show at the same moment: else the furnace moved


@dataclass(frozen=True)
class SensorStep:
    """When [s], of which of the two, by how much [K] and at which temperature [degC]."""

    t_s: float
    of: Literal["reference", "sensor"]
    step_c: float
    at_c: float


def find_step(
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    *,
    resolutions_c: tuple[float, float] = (0.0, 0.0),
) -> SensorStep | None:
    """Largest step of one of two sensors [degC] that the other does not show and that stays; None without one."""
    good = np.flatnonzero(np.isfinite(reference_c) & np.isfinite(sensor_c))
    if good.size < 4 * BESIDE:
        return None
    t, both = t_s[good], np.column_stack([reference_c[good], sensor_c[good]])
    jumps = np.column_stack([_beyond_slope(np.diff(both[:, i])) for i in (0, 1)])
    apart = jumps[:, 1] - jumps[:, 0]
    limit = np.maximum(LEAST_C, TIMES_NOISE * _noise(apart))
    even = np.diff(t) <= 3.0 * float(np.median(np.diff(t)))
    for i in np.argsort(-np.abs(apart)):
        if abs(apart[i]) < LEAST_C:
            return None
        if abs(apart[i]) < limit[i] or abs(apart[i]) > MOST_C or not even[i]:
            continue
        mine = 0 if abs(jumps[i, 0]) >= abs(jumps[i, 1]) else 1
        if abs(jumps[i, mine]) < LEAST_C + resolutions_c[mine]:
            continue
        if _corner(both[:, 1 - mine], i) > OTHER * abs(jumps[i, mine]) and not _alone(apart, int(i)):
            continue  # a ramp begins or ends: sensors that lag differently part there by themselves
        if abs(jumps[i, 1 - mine]) <= OTHER * abs(jumps[i, mine]) and _stays(t, both[:, 1] - both[:, 0], i, apart[i]):
            return SensorStep(float(t[i + 1]), ("reference", "sensor")[mine], float(jumps[i, mine]), float(both[i, 0]))
    return None


def _beyond_slope(increments: FloatArray) -> FloatArray:
    """Each increment less the median of those beside it."""
    padded = np.pad(increments, BESIDE, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * BESIDE + 1)
    beside = np.delete(windows, BESIDE, axis=1)
    return np.asarray(increments - np.median(beside, axis=1))


def _alone(apart: FloatArray, i: int) -> bool:
    """Whether what parted there is far more than beside it: lags part over several readings."""
    beside = np.delete(apart[max(i - BESIDE, 0) : i + BESIDE + 1], min(i, BESIDE))
    return bool(abs(apart[i]) >= ALONE * np.abs(beside).max(initial=0.0))


def _corner(other_c: FloatArray, i: int) -> float:
    """How much the slope of the other sensor changes there, a reading [K]."""
    before, after = other_c[max(i - BESIDE, 0) : i + 1], other_c[i + 1 : i + 2 + BESIDE]
    slopes = [(part[-1] - part[0]) / (part.size - 1) if part.size > 1 else 0.0 for part in (before, after)]
    return float(abs(slopes[1] - slopes[0]))


def _noise(values: FloatArray) -> FloatArray:
    """Standard deviation around each value, by the median of what lies around it."""
    padded = np.pad(np.abs(values), AROUND, mode="reflect" if values.size > AROUND else "edge")
    return np.asarray(1.4826 * np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1), axis=1))


def _stays(t: FloatArray, difference_c: FloatArray, i: int, step_c: float) -> bool:
    """Whether most of a step is still there minutes later, beyond the slope that was there before."""
    before = (t > t[i] - LASTS_S) & (t <= t[i])
    after = (t >= t[i + 1]) & (t < t[i + 1] + LASTS_S)
    late = (t >= t[i + 1] + LASTS_S / 2.0) & (t < t[i + 1] + 1.5 * LASTS_S)
    if min(before.sum(), after.sum(), late.sum()) < 3:
        return False
    base = float(np.median(difference_c[before]))
    return all(
        (float(np.median(difference_c[part])) - base) * np.sign(step_c) >= KEPT * abs(step_c) for part in (after, late)
    )
