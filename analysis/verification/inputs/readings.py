"""Readings of one sensor without their holes, what they cannot show, and their gaps."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.record.median import median
from soakwitness.analysis.record.run import FloatArray, Trace
from soakwitness.analysis.verification.rules.course import MOST_SORTED, SLOPE_BLOCKS, SLOPE_S, USUAL, StraightLine
from soakwitness.analysis.verification.rules.states import Arithmetic

GAP_PERIODS = 3.0
ARRAYS = Arithmetic(np.minimum, np.maximum, np.where)
MOST_OFFSETS = 50_000
FEWEST_OFFSETS = 3
BLOCK, PIECE = 1 << 15, 1024


@dataclass(frozen=True)
class Readings:
    """A trace without its holes: times [s], temperatures [degC], shape (n,), resolution [K], nominal period [s]."""

    t_s: FloatArray
    temp_c: FloatArray
    resolution_c: float
    period_s: float

    @cached_property
    def _gaps_at(self) -> npt.NDArray[np.intp]:
        """All intervals that are gaps, looked for in blocks that stay in the processor's cache."""
        most_s, t_s = GAP_PERIODS * self.period_s, self.t_s
        starts = range(0, t_s.size, BLOCK)
        return np.concatenate(
            [(np.diff(t_s[k : k + BLOCK + 1]) > most_s).nonzero()[0] + k for k in starts] or [np.empty(0, np.intp)]
        )

    def gaps_in(self, first: int, stop: int) -> npt.NDArray[np.intp]:
        """Which intervals between the readings from ``first`` to before ``stop`` are gaps: over three nominal periods.

        Counted from ``first``.
        """
        at = self._gaps_at
        if not at.size:
            return at
        return at[at.searchsorted(first) : at.searchsorted(min(stop, self.t_s.size) - 1)] - first

    def between(self, start_s: float, end_s: float) -> tuple[int, int]:
        """Index range of the readings from ``start_s`` to ``end_s``, both inclusive."""
        return int(self.t_s.searchsorted(start_s)), int(self.t_s.searchsorted(end_s, side="right"))

    def part(self, start_s: float, end_s: float) -> Readings:
        """The readings from ``start_s`` to ``end_s`` [s], both inclusive."""
        low, high = self.between(start_s, end_s)
        return replace(self, t_s=self.t_s[low:high], temp_c=self.temp_c[low:high])

    def at(self, at_s: float) -> float:
        """Temperature at a moment [degC], on the straight line between its neighbours."""
        near = slice(max(self.between(at_s, at_s)[0] - 1, 0), self.between(at_s, at_s)[1] + 1)
        return float(np.interp(at_s, self.t_s[near], self.temp_c[near]))

    def gap_after(self, index: int) -> bool:
        """Whether the interval to the next reading is a gap."""
        return bool(self.gaps_in(index, index + 2).size)

    def _inside(self, low: int, high: int, lower_c: float, upper_c: float) -> npt.NDArray[np.bool_]:
        part = self.temp_c[low:high]
        inside: npt.NDArray[np.bool_] = part >= lower_c
        return inside & (part <= upper_c) if upper_c < math.inf else inside

    def runs(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> list[tuple[int, int]]:
        """First and last index of every run of readings between two levels, both inclusive."""
        low = max(low, 0)
        inside = self._inside(low, high, lower_c, upper_c)
        if not inside.size:
            return []
        changes = np.flatnonzero(inside[1:] != inside[:-1]) + 1
        bounds = [0, *changes.tolist(), inside.size]
        skip = 0 if inside[0] else 1
        return [(low + a, low + b - 1) for a, b in zip(bounds[skip::2], bounds[skip + 1 :: 2], strict=False)]

    def stretches(
        self, low: int, high: int, lower_c: float, upper_c: float, *, apart_s: float
    ) -> list[tuple[int, int, int]]:
        """First and last index, and count, of readings between two levels whose breaks are no longer than a time."""
        inside = low + np.flatnonzero(self._inside(low, high, lower_c, upper_c))
        cuts = np.flatnonzero(np.diff(self.t_s[inside]) > apart_s) + 1
        parts = np.split(inside, cuts) if inside.size else []
        return [(int(part[0]), int(part[-1]), part.size) for part in parts]

    def first_in(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> int | None:
        """Index of the first reading between two levels, both inclusive."""
        start, stop, size = max(low, 0), min(high, self.t_s.size), PIECE
        while start < stop:  # it mostly is near: pieces are looked at that grow
            inside = self._inside(start, min(start + size, stop), lower_c, upper_c)
            at = int(inside.argmax())
            if inside[at]:
                return start + at
            start, size = start + size, 2 * size
        return None

    def last_in(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> int | None:
        """Index of the last reading between two levels, both inclusive."""
        start, stop, size = max(low, 0), min(high, self.t_s.size), PIECE
        while start < stop:
            first = max(stop - size, start)
            inside = self._inside(first, stop, lower_c, upper_c)
            at = inside.size - 1 - int(inside[::-1].argmax())
            if inside[at]:
                return first + at
            stop, size = first, 2 * size
        return None

    def coldest(self, low: int, high: int) -> int:
        """Index of the first of the lowest readings."""
        return low + int(self.temp_c[low:high].argmin())

    def hottest(self, low: int, high: int) -> int:
        """Index of the first of the highest readings."""
        return low + int(self.temp_c[low:high].argmax())

    def mean(self, low: int, high: int) -> tuple[float, float]:
        """Mean time [s] and mean temperature [degC]."""
        return float(self.t_s[low:high].mean()), float(self.temp_c[low:high].mean())

    def median_c(self, low: int, high: int) -> float:
        """Median temperature [degC]."""
        return median(self.temp_c[low:high])

    def scatter_c(self, low: int, high: int) -> float:
        """Median distance of a reading from the mean of its neighbours [K]."""
        y = self.temp_c[low:high]
        return float(np.median(np.abs(y[1:-1] - (y[:-2] + y[2:]) / 2.0)))

    def slowest_c_per_s(self, low: int, high: int, half: int) -> float:
        """Smallest slope [K/s] between the means of two neighbouring runs of ``half`` readings."""
        sums, times = (np.concatenate(([0.0], np.cumsum(x[low:high]))) for x in (self.temp_c, self.t_s))
        mean, middle = (sums[half:] - sums[:-half]) / half, (times[half:] - times[:-half]) / half
        return float(np.min(np.abs(mean[half:] - mean[:-half]) / (middle[half:] - middle[:-half])))

    @property
    def back_c(self) -> float:
        """How far a confirmed crossing may go back past its edge [K]: the larger of the resolution and 1 degC."""
        return max(self.resolution_c, 1.0)

    def time_mean_c(self, low: int, high: int) -> float:
        """Mean temperature over time [degC]."""
        t, y = self.t_s[low:high], self.temp_c[low:high]
        if t.size < 2:
            return float(y[0])
        return float(np.sum((y[1:] + y[:-1]) / 2.0 * np.diff(t)) / (t[-1] - t[0]))

    def settled_c(self, low: int, high: int) -> float:
        """Median of the densest half of the readings [degC]."""
        temp_c = self.temp_c[low:high]
        some = np.sort(temp_c[:: max(1, temp_c.size // MOST_SORTED)])
        half = (some.size + 1) // 2
        first = int(np.argmin(some[half - 1 :] - some[: some.size - half + 1]))
        return float(np.median(some[first : first + half]))

    def flat(self, low: int, high: int, slope_c_per_h: float) -> tuple[float, float]:
        """Share of the readings where the slope over 120 s is within a limit, and their median [degC]."""
        t, y = self.t_s[low:high], self.temp_c[low:high]
        every = max(1, t.size // SLOPE_BLOCKS)
        size = t.size // every
        at = t[: size * every].reshape(size, every).mean(axis=1)
        grouped = y[: size * every].reshape(size, every)
        mean, half_s = grouped.mean(axis=1), SLOPE_S / 2.0
        back, ahead = np.interp(at - half_s, at, mean), np.interp(at + half_s, at, mean)
        span = np.minimum(at + half_s, at[-1]) - np.maximum(at - half_s, at[0])
        flat = np.abs(ahead - back) <= slope_c_per_h / 3600.0 * span
        share = float(np.count_nonzero(flat)) / size
        return share, float(np.median(grouped[flat])) if share else float(y[0])

    def line(self, low: int, high: int) -> StraightLine:
        """The line through the readings."""
        t, y = self.t_s[low:high], self.temp_c[low:high]
        slope, start = np.polyfit(t - t[0], y, 1)
        off = y - (start + slope * (t - t[0]))
        noise = USUAL * float(np.median(np.abs(np.diff(y, 2)))) / np.sqrt(6.0)
        ripple = USUAL * float(np.median(np.abs(off)))
        return StraightLine(
            float(slope), float(start), ripple, float(noise), int(np.count_nonzero(off[:-1] * off[1:] < 0.0))
        )

    def last_slow(self, low: int, high: int, half: int, slope_c_per_s: float) -> int | None:
        """Where the last run of ``half`` readings begins that is followed by another at less than a slope [K/s]."""
        sums, times = (np.concatenate(([0.0], np.cumsum(x[low:high]))) for x in (self.temp_c, self.t_s))
        mean, middle = (sums[half:] - sums[:-half]) / half, (times[half:] - times[:-half]) / half
        slow = np.flatnonzero(mean[half:] - mean[:-half] < slope_c_per_s * (middle[half:] - middle[:-half]))
        return low + int(slow[-1]) if slow.size else None

    def backwards(self) -> Readings:
        """The same with the time running backwards, from minus the last time on."""
        return Readings(-self.t_s[::-1], self.temp_c[::-1], self.resolution_c, self.period_s)


def readings_of(trace: Trace) -> Readings:
    """Drop the holes of a trace."""
    seen = np.isfinite(trace.temp_c)
    t_s, temp_c = (trace.t_s, trace.temp_c) if seen.all() else (trace.t_s[seen], trace.temp_c[seen])
    return Readings(t_s, temp_c, trace.resolution_c, max(trace.period_s, _usual_distance(t_s)))


def _usual_distance(t_s: FloatArray) -> float:
    """Median distance of readings [s]: a slow link or a slow sensor makes no gap of every interval."""
    if t_s.size < 2:
        return 0.0
    some = np.arange(0, t_s.size - 1, max(1, t_s.size // 20_000))
    return float(np.median(t_s[some + 1] - t_s[some]))


def noise(readings: Readings, start_s: float, end_s: float, within_c: tuple[float, float] | None = None) -> float:
    r"""How far a reading may lie from the temperature it stands for [K].

    Half the resolution + half the 90 % quantile of \|T_k - mean of its neighbours\|. Only readings within ``within_c``
    count, where there are three such neighbours: the corner of a ramp or a door dip is no noise.
    """
    low, high = readings.between(start_s, end_s)
    part = readings.temp_c[max(low - 5, 0) : high + 5]
    if part.size < 3:
        return readings.resolution_c / 2.0
    off = np.abs(part[1:-1] - (part[:-2] + part[2:]) / 2.0)
    if within_c is not None:
        near = (part >= within_c[0]) & (part <= within_c[1])
        near = near[:-2] & near[1:-1] & near[2:]
        off = off[near] if np.count_nonzero(near) >= FEWEST_OFFSETS else off
    off = off[:: max(1, off.size // MOST_OFFSETS)]
    return readings.resolution_c / 2.0 + float(np.quantile(off, 0.9)) / 2.0


def gaps(readings: Readings, start_s: float, end_s: float) -> tuple[tuple[float, float], ...]:
    """Begin and end [s] of every interval over three nominal periods."""
    low, high = readings.between(start_s, end_s)
    first = max(low - 1, 0)
    t = readings.t_s
    return tuple((float(t[first + i]), float(t[first + i + 1])) for i in readings.gaps_in(first, high + 1))


def last_read(trace: Trace) -> int | None:
    """Index of the last reading that was had, None without one."""
    had = np.isfinite(trace.temp_c)
    return had.size - 1 - int(had[::-1].argmax()) if had.any() else None
