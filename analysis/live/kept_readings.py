"""Readings as the recording process keeps them: one in five seconds and the newest. Standard library only.

``KeptReadings`` answers what ``verification.course`` asks, with lists.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left, bisect_right
from collections import deque
from itertools import accumulate, pairwise
from statistics import median

from soakwitness.analysis.verification.rules.course import MOST_SORTED, SLOPE_BLOCKS, SLOPE_S, USUAL, StraightLine

KEEP_EVERY_S = 5.0
KEEP_MOST = 20_000  # 27 h; of a longer run every second reading of the older half goes
GAP_PERIODS = 3.0
LATELY = 32  # readings
Run = tuple[int, int]


class KeptReadings:
    """Temperature [degC] against time [s] of one sensor, or of a blade in its packet.

    ``every_s`` [s] is the nominal distance of readings, as they come: over three of them without one is a gap.
    ``resolution_c`` [K] is the step of a reading.
    """

    def __init__(self, *, every_s: float, resolution_c: float) -> None:
        self.t_s, self.temp_c = array("d"), array("d")
        self.off_c = array("d")  # of the mean of its neighbours [K]; NaN where it is not known
        self._gaps: dict[float, float] = {}  # lengths [s] of gaps, by the reading before
        self._raw: deque[tuple[float, float]] = deque(maxlen=LATELY)  # the newest, whether they were kept or not
        self.every_s = self._usual_s = every_s
        self.resolution_c = resolution_c
        self.count, self.highest_c = 0, -math.inf  # of all readings, whether they were kept or not

    def __len__(self) -> int:
        return len(self.t_s)

    @property
    def period_s(self) -> float:
        """Usual distance of the readings that are kept [s]."""
        return max(self._usual_s, KEEP_EVERY_S)

    @property
    def gap_s(self) -> float:
        """A longer time than this without a reading is a gap [s]."""
        return GAP_PERIODS * self._usual_s

    @property
    def gaps_s(self) -> float:
        """How long nothing was read in all [s]."""
        return sum(self._gaps.values())

    def gaps_between(self, start_s: float, end_s: float) -> float:
        """How long nothing was read between two moments [s]."""
        return sum(max(0.0, min(at + long, end_s) - max(at, start_s)) for at, long in self._gaps.items())

    @property
    def back_c(self) -> float:
        """How far a confirmed crossing may go back past its edge [K]: the larger of the resolution and 1 degC."""
        return max(self.resolution_c, 1.0)

    def add(self, t_s: float, temp_c: float) -> None:
        """Take the newest reading; the one before stays if it is needed."""
        t, raw = self.t_s, self._raw
        gap = bool(t) and t_s - t[-1] > self.gap_s
        if len(raw) > 1:
            self.off_c[-1] = abs(raw[-1][1] - (raw[-2][1] + temp_c) / 2.0)
        if len(t) < 2 or gap or t[-2] in self._gaps or t_s - t[-2] >= KEEP_EVERY_S - 1e-6:
            if gap:
                self._gaps[t[-1]] = t_s - t[-1]
            self._append(t_s, temp_c)
        else:
            t[-1], self.temp_c[-1], self.off_c[-1] = t_s, temp_c, math.nan
        raw.append((t_s, temp_c))
        self.count, self.highest_c = self.count + 1, max(self.highest_c, temp_c)
        if self.count % LATELY == 0 and len(raw) > 1:  # a slow link, or a slow sensor, makes no gap of every interval
            self._usual_s = max(self.every_s, median(b[0] - a[0] for a, b in pairwise(raw)))

    def _append(self, t_s: float, temp_c: float) -> None:
        if len(self.t_s) >= KEEP_MOST:
            half = KEEP_MOST // 2
            for row in (self.t_s, self.temp_c, self.off_c):
                row[:half] = row[:half:2]
        self.t_s.append(t_s)
        self.temp_c.append(temp_c)
        self.off_c.append(math.nan)

    def drop(self, start_s: float, end_s: float) -> None:
        """Take out the readings from one moment to another [s]: they were none."""
        low, high = self.between(start_s, end_s)
        for row in (self.t_s, self.temp_c, self.off_c):
            del row[low:high]
        self._gaps = {at: long for at, long in self._gaps.items() if not start_s <= at <= end_s}
        if 0 < low < len(self.t_s) and self.t_s[low] - self.t_s[low - 1] > self.gap_s:
            self._gaps[self.t_s[low - 1]] = self.t_s[low] - self.t_s[low - 1]
        self.highest_c = max(self.temp_c, default=-math.inf)
        left = [raw for raw in self._raw if not start_s <= raw[0] <= end_s]
        self._raw.clear()
        self._raw.extend(left)

    def noise_c(self, start_s: float, end_s: float, within_c: tuple[float, float] | None) -> float:
        """How far a reading may lie from the temperature it stands for [K]; see ``verification.readings.noise``."""
        low, high = self.between(start_s, end_s)
        near = within_c or (-math.inf, math.inf)
        offs = zip(self.off_c[low:high], self.temp_c[low:high], strict=True)
        off = sorted(o for o, y in offs if o == o and near[0] <= y <= near[1])
        return self.resolution_c / 2.0 + (_quantile(off, 0.9) / 2.0 if off else 0.0)

    # What verification.course asks

    def between(self, start_s: float, end_s: float) -> Run:
        """Index range of the readings from ``start_s`` to ``end_s``, both inclusive."""
        return bisect_left(self.t_s, start_s), bisect_right(self.t_s, end_s)

    def at(self, at_s: float) -> float:
        """Temperature at a moment [degC], on the straight line between its neighbours."""
        t, y = self.t_s, self.temp_c
        after = bisect_left(t, at_s)
        if after == 0 or after == len(t):
            return y[0] if after == 0 else y[-1]
        share = (at_s - t[after - 1]) / (t[after] - t[after - 1])
        return y[after - 1] + share * (y[after] - y[after - 1])

    def gap_after(self, index: int) -> bool:
        """Whether the interval to the next reading is a gap."""
        return self.t_s[index] in self._gaps

    def runs(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> list[Run]:
        """First and last index of every run of readings between two levels, both inclusive."""
        found, first = [], -1
        low = max(low, 0)
        for index, y in enumerate(self.temp_c[low:high], low):
            if lower_c <= y <= upper_c:
                if first < 0:
                    first = index
            elif first >= 0:
                found.append((first, index - 1))
                first = -1
        if first >= 0:
            found.append((first, min(high, len(self.t_s)) - 1))
        return found

    def stretches(
        self, low: int, high: int, lower_c: float, upper_c: float, *, apart_s: float
    ) -> list[tuple[int, int, int]]:
        """First and last index, and count, of readings between two levels whose breaks are no longer than a time."""
        found: list[tuple[int, int, int]] = []
        t, last_s = self.t_s, -math.inf
        for first, last in self.runs(low, high, lower_c, upper_c):
            for index in range(first, last + 1):
                if found and t[index] - last_s <= apart_s:
                    found[-1] = (found[-1][0], index, found[-1][2] + 1)
                else:
                    found.append((index, index, 1))
                last_s = t[index]
        return found

    def first_in(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> int | None:
        """Index of the first reading between two levels, both inclusive."""
        part = enumerate(self.temp_c[max(low, 0) : high], max(low, 0))
        return next((index for index, y in part if lower_c <= y <= upper_c), None)

    def last_in(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> int | None:
        """Index of the last reading between two levels, both inclusive."""
        y = self.temp_c
        indices = range(min(high, len(y)) - 1, max(low, 0) - 1, -1)
        return next((index for index in indices if lower_c <= y[index] <= upper_c), None)

    def coldest(self, low: int, high: int) -> int:
        """Index of the first of the lowest readings."""
        part = self.temp_c[low:high]
        return low + part.index(min(part))

    def hottest(self, low: int, high: int) -> int:
        """Index of the first of the highest readings."""
        part = self.temp_c[low:high]
        return low + part.index(max(part))

    def mean(self, low: int, high: int) -> tuple[float, float]:
        """Mean time [s] and mean temperature [degC]."""
        return sum(self.t_s[low:high]) / (high - low), sum(self.temp_c[low:high]) / (high - low)

    def median_c(self, low: int, high: int) -> float:
        """Median temperature [degC]."""
        return median(self.temp_c[low:high])

    def scatter_c(self, low: int, high: int) -> float:
        """Median distance of a reading from the mean of its neighbours [K]."""
        return median(off for off in self.off_c[low:high] if off == off) if self._has_off(low, high) else 0.0

    def slowest_c_per_s(self, low: int, high: int, half: int) -> float:
        """Smallest slope [K/s] between the means of two neighbouring runs of ``half`` readings."""
        return min((abs(slope) for slope in self._slopes(low, high, half)), default=math.inf)

    def last_slow(self, low: int, high: int, half: int, slope_c_per_s: float) -> int | None:
        """Where the last run of ``half`` readings begins that is followed by another at less than a slope [K/s]."""
        slow = [index for index, slope in enumerate(self._slopes(low, high, half), low) if slope < slope_c_per_s]
        return slow[-1] if slow else None

    def _slopes(self, low: int, high: int, half: int) -> list[float]:
        """Slopes [K/s] between the means of neighbouring runs of ``half`` readings."""
        sums = [0.0, *accumulate(self.temp_c[low:high])]
        times = [0.0, *accumulate(self.t_s[low:high])]
        count = high - low - 2 * half + 1
        return [
            (sums[k + 2 * half] - 2.0 * sums[k + half] + sums[k])
            / (times[k + 2 * half] - 2.0 * times[k + half] + times[k])
            for k in range(count)
        ]

    def time_mean_c(self, low: int, high: int) -> float:
        """Mean temperature over time [degC]."""
        t, y = self.t_s, self.temp_c
        if high - low < 2:
            return y[low]
        area = sum((y[k] + y[k + 1]) / 2.0 * (t[k + 1] - t[k]) for k in range(low, high - 1))
        return area / (t[high - 1] - t[low])

    def settled_c(self, low: int, high: int) -> float:
        """Median of the densest half of the readings [degC]."""
        some = sorted(self.temp_c[low : high : max(1, (high - low) // MOST_SORTED)])
        half = (len(some) + 1) // 2
        widths = [some[k + half - 1] - some[k] for k in range(len(some) - half + 1)]
        first = widths.index(min(widths))
        return median(some[first : first + half])

    def flat(self, low: int, high: int, slope_c_per_h: float) -> tuple[float, float]:
        """Share of the readings where the slope over 120 s is within a limit, and their median [degC]."""
        every = max(1, (high - low) // SLOPE_BLOCKS)
        starts = range(low, high - every + 1, every)
        at = [sum(self.t_s[k : k + every]) / every for k in starts] if every > 1 else self.t_s[low:high].tolist()
        mean = (
            [sum(self.temp_c[k : k + every]) / every for k in starts] if every > 1 else self.temp_c[low:high].tolist()
        )
        half_s, slope, first_s, last_s = SLOPE_S / 2.0, slope_c_per_h / 3600.0, at[0], at[-1]
        back = _along(at, mean, [t - half_s for t in at])
        ahead = _along(at, mean, [t + half_s for t in at])
        level = [
            start
            for start, t, before_c, after_c in zip(starts, at, back, ahead, strict=True)
            if abs(after_c - before_c) <= slope * (min(t + half_s, last_s) - max(t - half_s, first_s))
        ]
        values = [y for start in level for y in self.temp_c[start : start + every]]
        return len(level) / len(starts), median(values) if values else self.temp_c[low]

    def line(self, low: int, high: int) -> StraightLine:
        """The line through the readings."""
        t = [at - self.t_s[low] for at in self.t_s[low:high]]
        y, count = self.temp_c[low:high], high - low
        middle_s, middle_c = sum(t) / count, sum(y) / count
        spread = sum((a - middle_s) ** 2 for a in t)
        slope = sum((a - middle_s) * (b - middle_c) for a, b in zip(t, y, strict=True)) / spread
        start = middle_c - slope * middle_s
        off = [b - start - slope * a for a, b in zip(t, y, strict=True)]
        bends = [abs(a - 2.0 * b + c) for a, b, c in zip(y, y[1:], y[2:], strict=False)]
        crosses = sum(a * b < 0.0 for a, b in zip(off, off[1:], strict=False))
        ripple = USUAL * median(abs(a) for a in off)
        return StraightLine(slope, start, ripple, USUAL * median(bends) / math.sqrt(6.0), crosses)

    def backwards(self) -> KeptReadings:
        """The same with the time running backwards, from minus the last time on."""
        other = KeptReadings(every_s=self._usual_s, resolution_c=self.resolution_c)
        other.t_s = array("d", (-t for t in reversed(self.t_s)))
        other.temp_c, other.off_c = self.temp_c[::-1], self.off_c[::-1]
        return other

    def _has_off(self, low: int, high: int) -> bool:
        return any(off == off for off in self.off_c[low:high])


def _along(t_s: list[float], temp_c: list[float], moments_s: list[float]) -> list[float]:
    """Temperatures at rising moments [degC], on the straight lines between readings; beyond them the end's."""
    found, after, last = [], 1, len(t_s) - 1
    for moment_s in moments_s:
        while after < last and t_s[after] < moment_s:
            after += 1
        if moment_s <= t_s[0] or moment_s >= t_s[last]:
            found.append(temp_c[0] if moment_s <= t_s[0] else temp_c[last])
            continue
        share = (moment_s - t_s[after - 1]) / (t_s[after] - t_s[after - 1])
        found.append(temp_c[after - 1] + share * (temp_c[after] - temp_c[after - 1]))
    return found


def _quantile(values: list[float], share: float) -> float:
    """A quantile of sorted values, on the line between the two beside it."""
    place = share * (len(values) - 1)
    low = int(place)
    high = min(low + 1, len(values) - 1)
    return values[low] + (place - low) * (values[high] - values[low])
