"""Finding the stable stretches of a run in which two sensors can be compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.measured_pairs.swinging import (
    LEAST_SWINGS,
    over_swings,
    swing_period_s,
    within_swing,
)
from soakwitness.firmware_bridge.common.wording import Diff, Rate, Says, Temp, duration, joined, moment

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

GRID_S = 10.0
FILL_CELLS = 2  # so many empty cells in a row are bridged, more are a gap
SMOOTH_CELLS = 3
# When a hold ends, sensors show it late: this much is cut off.
CUT_START_S, CUT_END_S = 30.0, 120.0


@dataclass(frozen=True)
class StretchLimits:
    """What counts as stable. Shown with the result; all are settings of this program, no standard's.

    ``drift_c_per_h`` holds for each sensor and for their difference, ``spread_c`` is highest minus lowest of smoothed
    readings, to which each reading's own step is added; nothing below ``lowest_c`` counts.
    """

    minutes: float = 10.0
    drift_c_per_h: float = 6.0
    spread_c: float = 1.5
    lowest_c: float = 100.0

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "minutes": self.minutes,
            "drift_c_per_h": self.drift_c_per_h,
            "spread_c": self.spread_c,
            "lowest_c": self.lowest_c,
            "origin": "settings of this program",
        }


@dataclass(frozen=True)
class Stretch:
    """One stable stretch: when [s], at which temperature [degC], its drift [K/h] and spread [K] (of the reference).

    ``swing_s``: period of the furnace's swing, over whole ones of which it was averaged [s]; None where it stood still.
    """

    start_s: float
    end_s: float
    reference_c: float
    sensor_c: float
    drift_c_per_h: float
    spread_c: float
    swing_s: float | None = None

    @property
    def minutes(self) -> float:
        """Length [min]."""
        return (self.end_s - self.start_s) / 60.0


@dataclass(frozen=True)
class Steadiness:
    """How steady a run is in the window that ends at each cell of a grid."""

    t_s: FloatArray
    reference_c: FloatArray
    sensor_c: FloatArray
    drift_c_per_h: FloatArray
    spread_c: FloatArray
    stable: BoolArray
    cells: int


def steadiness(
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    limits: StretchLimits,
    *,
    resolutions_c: tuple[float, float] = (0.0, 0.0),
) -> Steadiness:
    """Drift and spread over a moving window.

    ``reference_c``, ``sensor_c``: readings [degC, NaN where there is none], shape (n,). Returns on a grid of 10 s or
    the sampling period; drift is the steepest of reference, sensor and their difference, spread the larger of the two
    after its own step is taken off.
    """
    grid_s, both = _on_grid(t_s, np.column_stack([reference_c, sensor_c]))
    step_s = grid_s[1] - grid_s[0] if grid_s.size > 1 else GRID_S
    cells = max(4, round(limits.minutes * 60.0 / step_s))
    drift, spread = _drift_and_spread(both, cells, step_s)
    if grid_s.size >= cells:
        smooth = np.lib.stride_tricks.sliding_window_view(_smoothed(both), cells, axis=0)
        each = np.nan_to_num(np.ptp(smooth, axis=2), nan=np.inf)
        spread[cells - 1 :] = (each - np.array(resolutions_c)).max(axis=1)
    stable = (drift <= limits.drift_c_per_h) & (spread <= limits.spread_c)
    stable &= np.nan_to_num(both[:, 0], nan=-np.inf) >= limits.lowest_c
    return Steadiness(grid_s, both[:, 0], both[:, 1], drift, spread, stable, cells)


def stable_stretches(
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    limits: StretchLimits | None = None,
    *,
    resolutions_c: tuple[float, float] = (0.0, 0.0),
) -> tuple[Stretch, ...]:
    """Find the stretches in which both sensors stood still, and together.

    ``reference_c``, ``sensor_c``: readings [degC, NaN where there is none], shape (n,). Returns in time order, at least
    ``limits.minutes`` long. Where a long hold creeps, its last part within the spread; where the furnace swings, whole
    swings whose means keep the limits.
    """
    limits = limits or StretchLimits()
    steady = steadiness(t_s, reference_c, sensor_c, limits, resolutions_c=resolutions_c)
    still = [
        _settled(steady, first - steady.cells + 1, last + 1, limits, resolutions_c[0])
        for first, last in runs_of(steady.stable)
    ]
    found = _apart([stretch for stretch in still if stretch is not None])
    found += _swinging(steady, found, limits)
    return tuple(sorted(found, key=lambda stretch: stretch.start_s))


def _apart(found: Sequence[Stretch]) -> list[Stretch]:
    """Stretches that share no reading: of two that overlap the longer one."""
    kept: list[Stretch] = []
    for stretch in sorted(found, key=lambda s: -s.minutes):
        if all(stretch.end_s < other.start_s or stretch.start_s > other.end_s for other in kept):
            kept.append(stretch)
    return kept


def _swinging(steady: Steadiness, still: Sequence[Stretch], limits: StretchLimits) -> list[Stretch]:
    """Stretches in which the furnace swings, where it does not stand still: steady are the means over whole swings."""
    both = np.column_stack([steady.reference_c, steady.sensor_c])
    if both.shape[0] < steady.cells:
        return []
    free = within_swing(both, steady.cells) & (np.nan_to_num(both[:, 0], nan=-np.inf) >= limits.lowest_c)
    for stretch in still:
        free &= (steady.t_s < stretch.start_s - CUT_END_S) | (steady.t_s > stretch.end_s + CUT_END_S)
    swinging = [_over_whole_swings(steady, first, last + 1, limits) for first, last in runs_of(free)]
    return [stretch for stretch in swinging if stretch is not None]


def _over_whole_swings(steady: Steadiness, begin: int, end: int, limits: StretchLimits) -> Stretch | None:
    """Longest part of a swinging level whose means over a swing keep the limits, cut to whole swings."""
    step_s = steady.t_s[1] - steady.t_s[0]
    period_s = swing_period_s(steady.reference_c[begin:end], step_s)
    if period_s is None:
        return None
    cells = round(period_s / step_s)
    part = np.column_stack([steady.reference_c[begin:end], steady.sensor_c[begin:end]])
    means = over_swings(part, cells)
    window = max(4, round(max(limits.minutes * 60.0 - period_s, period_s) / step_s))
    drift, spread = _drift_and_spread(means, window, step_s)
    steady_means = (drift <= limits.drift_c_per_h) & (spread <= limits.spread_c)
    best: Stretch | None = None
    for first, last in runs_of(steady_means):
        start, stop = begin + first - window + 1 - cells // 2, begin + last + 1 + cells // 2 - round(CUT_END_S / step_s)
        swings = int((stop - start) * step_s / period_s)
        if swings < LEAST_SWINGS or swings * period_s < limits.minutes * 60.0:
            continue
        stretch = replace(_stretch(steady, stop - round(swings * period_s / step_s), stop), swing_s=period_s)
        stretch = replace(stretch, drift_c_per_h=float(np.nanmin(drift[first : last + 1])))
        if best is None or stretch.minutes > best.minutes:
            best = stretch
    return best


def what_was_missed(
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    limits: StretchLimits,
    *,
    resolutions_c: tuple[float, float] = (0.0, 0.0),
) -> Says:
    """Say what a stable stretch would have been, and by how much the steadiest part missed it."""
    steady = steadiness(t_s, reference_c, sensor_c, limits, resolutions_c=resolutions_c)
    asked = Says.of(
        "no stable stretch: none of {length} in which both sensors drift at most {drift} and spread at most {spread}, "
        "above {lowest}.",
        length=duration(60.0 * limits.minutes),
        drift=Rate(limits.drift_c_per_h),
        spread=Diff(limits.spread_c),
        lowest=Temp(limits.lowest_c),
    )
    hot = np.nan_to_num(steady.reference_c, nan=-np.inf) >= limits.lowest_c
    missed = np.maximum(steady.drift_c_per_h / limits.drift_c_per_h, steady.spread_c / limits.spread_c)
    missed = np.where(hot, missed, np.inf)
    if not missed.size or not np.isfinite(missed).any():
        hot_s = float(hot.sum() * (steady.t_s[1] - steady.t_s[0])) if steady.t_s.size > 1 else 0.0
        both = Says.of("Both were read above that for {hot}. Log longer.", hot=duration(hot_s))
        return joined([asked, both])
    i = int(np.argmin(missed))
    over = []
    if steady.drift_c_per_h[i] > limits.drift_c_per_h:
        more = Rate(float(steady.drift_c_per_h[i] - limits.drift_c_per_h))
        over.append(Says.of("drifts {drift}, {more} too much", drift=Rate(float(steady.drift_c_per_h[i])), more=more))
    if steady.spread_c[i] > limits.spread_c:
        more_c = Diff(float(steady.spread_c[i] - limits.spread_c))
        over.append(Says.of("spreads {spread}, {more} too much", spread=Diff(float(steady.spread_c[i])), more=more_c))
    nearest = Says.of(
        "The steadiest, around {at} up to {when}, {over}. Hold the furnace longer with the door shut, or give other "
        "limits: --drift, --spread, --minutes.",
        at=Temp(float(steady.reference_c[i])),
        when=moment(float(steady.t_s[i])),
        over=joined(over, " and ") if over else "is too short once its ends are cut off",
    )
    return joined([asked, nearest])


def _drift_and_spread(both: FloatArray, cells: int, step_s: float) -> tuple[FloatArray, FloatArray]:
    """Steepest drift of two traces and their difference [K/h], and larger spread [K], in the window before each."""
    drift, spread = np.full(both.shape[0], np.inf), np.full(both.shape[0], np.inf)
    if both.shape[0] >= cells:
        windows = np.lib.stride_tricks.sliding_window_view(both, cells, axis=0)
        lever = np.arange(cells) - (cells - 1) / 2.0
        slopes = windows @ (lever / (lever @ lever)) / step_s * 3600.0
        steepest = np.maximum(np.abs(slopes).max(axis=1), np.abs(slopes[:, 1] - slopes[:, 0]))
        drift[cells - 1 :] = np.nan_to_num(steepest, nan=np.inf)
        spread[cells - 1 :] = np.nan_to_num(np.ptp(windows, axis=2), nan=np.inf).max(axis=1)
    return drift, spread


def _settled(steady: Steadiness, begin: int, end: int, limits: StretchLimits, resolution_c: float) -> Stretch | None:
    """Cut the ends off, then shorten from the front until the whole is within the limits; None if too little stays."""
    step_s = steady.t_s[1] - steady.t_s[0]
    begin, end = begin + round(CUT_START_S / step_s), end - round(CUT_END_S / step_s)
    if end - begin < steady.cells:
        return None
    begin = _last_part(steady.reference_c, begin, end, limits.spread_c + resolution_c, steady.cells)
    for first in range(begin, end - steady.cells + 1):
        stretch = _stretch(steady, first, end)
        if abs(stretch.drift_c_per_h) <= limits.drift_c_per_h:
            return stretch
    return None


def _stretch(steady: Steadiness, begin: int, end: int) -> Stretch:
    """Figures of the cells ``begin`` to ``end`` (exclusive)."""
    t_s, reference = steady.t_s[begin:end], steady.reference_c[begin:end]
    return Stretch(
        start_s=float(t_s[0]),
        end_s=float(t_s[-1]),
        reference_c=float(np.nanmean(reference)),
        sensor_c=float(np.nanmean(steady.sensor_c[begin:end])),
        drift_c_per_h=float(np.polyfit(t_s - t_s[0], reference, 1)[0] * 3600.0),
        spread_c=float(np.ptp(_smoothed(reference[:, None])[:, 0])),
    )


def _on_grid(t_s: FloatArray, both: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Means on a grid of 10 s or the sampling period; short holes are bridged, longer ones stay empty."""
    if t_s.size < 2:
        return np.empty(0), np.empty((0, 2))
    step_s = max(GRID_S, float(np.median(np.diff(t_s))))
    cell = np.floor((t_s - t_s[0]) / step_s + 1e-9).astype(np.intp)
    count = int(cell[-1]) + 1
    out = np.full((count, 2), np.nan)
    for column in range(2):
        good = np.isfinite(both[:, column])
        number = np.bincount(cell[good], minlength=count)
        total = np.bincount(cell[good], weights=both[good, column], minlength=count)
        np.divide(total, number, out=out[:, column], where=number > 0)
        _bridge(out[:, column])
    return t_s[0] + (np.arange(count) + 0.5) * step_s, out


def _bridge(values: FloatArray) -> None:
    """Fill holes of a few cells between their neighbours, in place."""
    for first, last in runs_of(np.isnan(values)):
        if last - first < FILL_CELLS and first > 0 and last + 1 < values.size:
            hole = np.arange(first, last + 1)
            values[hole] = np.interp(hole, [first - 1, last + 1], [values[first - 1], values[last + 1]])


def _smoothed(values: FloatArray) -> FloatArray:
    """Moving mean over three cells, shape kept (n, m)."""
    if values.shape[0] < SMOOTH_CELLS:
        return values
    inner = np.lib.stride_tricks.sliding_window_view(values, SMOOTH_CELLS, axis=0).mean(axis=2)
    return np.concatenate([inner[:1], inner, inner[-1:]])


def runs_of(flags: BoolArray) -> list[tuple[int, int]]:
    """Find the runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _last_part(values: FloatArray, begin: int, end: int, spread_c: float, cells: int) -> int:
    """Begin of the longest last part whose smoothed readings stay within the spread."""
    smooth = _smoothed(values[begin:end, None])[::-1, 0]
    wide = np.maximum.accumulate(smooth) - np.minimum.accumulate(smooth) > spread_c
    keep = int(np.argmax(wide)) if wide.any() else end - begin
    return end - max(keep, cells)
