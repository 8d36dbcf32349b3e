"""Readings of one sensor without their holes, what they cannot show, and their gaps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.record.run import FloatArray, Trace

ROOM_C = 20.0  # around the furnace, where nothing is said of it
GAP_PERIODS = 3.0
MOST_OFFSETS = 50_000
FEWEST_OFFSETS = 3
BLOCK = 1 << 15


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

    @property
    def back_c(self) -> float:
        """How far a confirmed crossing may go back past its edge [K]: the larger of the resolution and 1 degC."""
        return max(self.resolution_c, 1.0)


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


def crossing_s(readings: Readings, index: int, level_c: float) -> float:
    """Time [s] at which the chord from reading ``index`` to the next crosses a level."""
    t, y = readings.t_s[index : index + 2], readings.temp_c[index : index + 2]
    return float(t[0] + (level_c - y[0]) / (y[1] - y[0]) * (t[1] - t[0]))


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
