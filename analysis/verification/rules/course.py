"""What the rules ask of readings in order of time; standard library only.

``readings.Readings`` answers with numpy for whole runs, ``live.kept.Kept`` with lists in the recording process: so the
rules of placing stand once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

MOST_SORTED = 20_000
SLOPE_S = 120.0
SLOPE_BLOCKS = 2000
USUAL = 1.4826  # times the median distance from the median is one deviation


class Numbers(Protocol):
    """A row of numbers: an array or a list."""

    def __len__(self) -> int:
        """How many."""
        ...

    def __getitem__(self, index: int, /) -> float:
        """One of them."""
        ...


@dataclass(frozen=True)
class StraightLine:
    """A line through readings: slope [K/s] and value at the first [degC]; ``ripple_c`` is the usual distance from it.

    ``noise_c`` is the part of that from reading to reading [K], ``crosses`` how often they cross it.
    """

    slope_c_per_s: float
    start_c: float
    ripple_c: float
    noise_c: float
    crosses: int


class Course(Protocol):
    """Temperature [degC] against time [s] without holes. Index ranges are half open, as in slices."""

    @property
    def t_s(self) -> Numbers:
        """Times [s], rising."""
        ...

    @property
    def temp_c(self) -> Numbers:
        """Temperatures [degC]."""
        ...

    @property
    def resolution_c(self) -> float:
        """Step of the reading [K]."""
        ...

    @property
    def period_s(self) -> float:
        """Nominal distance of readings [s]."""
        ...

    @property
    def back_c(self) -> float:
        """How far a confirmed crossing may go back past its edge [K]."""
        ...

    def between(self, start_s: float, end_s: float) -> tuple[int, int]:
        """Index range of the readings from ``start_s`` to ``end_s``, both inclusive."""
        ...

    def at(self, at_s: float) -> float:
        """Temperature at a moment [degC], on the straight line between its neighbours."""
        ...

    def gap_after(self, index: int) -> bool:
        """Whether the interval to the next reading is over three nominal periods."""
        ...

    def runs(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> list[tuple[int, int]]:
        """First and last index of every run of readings between two levels, both inclusive."""
        ...

    def stretches(
        self, low: int, high: int, lower_c: float, upper_c: float, *, apart_s: float
    ) -> list[tuple[int, int, int]]:
        """First and last index, and count, of readings between two levels whose breaks are no longer than a time."""
        ...

    def first_in(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> int | None:
        """Index of the first reading between two levels, both inclusive."""
        ...

    def last_in(self, low: int, high: int, lower_c: float = -math.inf, upper_c: float = math.inf) -> int | None:
        """Index of the last reading between two levels, both inclusive."""
        ...

    def coldest(self, low: int, high: int) -> int:
        """Index of the first of the lowest readings; there must be one."""
        ...

    def hottest(self, low: int, high: int) -> int:
        """Index of the first of the highest readings; there must be one."""
        ...

    def mean(self, low: int, high: int) -> tuple[float, float]:
        """Mean time [s] and mean temperature [degC]."""
        ...

    def median_c(self, low: int, high: int) -> float:
        """Median temperature [degC]."""
        ...

    def scatter_c(self, low: int, high: int) -> float:
        """Median distance of a reading from the mean of its neighbours [K]."""
        ...

    def slowest_c_per_s(self, low: int, high: int, half: int) -> float:
        """Smallest slope [K/s] between the means of two neighbouring runs of ``half`` readings."""
        ...

    def time_mean_c(self, low: int, high: int) -> float:
        """Mean temperature over time [degC]."""
        ...

    def settled_c(self, low: int, high: int) -> float:
        """Median of the densest half of the readings [degC]: in a short hold the way in and out is much of the time."""
        ...

    def flat(self, low: int, high: int, slope_c_per_h: float) -> tuple[float, float]:
        """Share of the readings where the slope over 120 s is within a limit, and their median [degC]."""
        ...

    def line(self, low: int, high: int) -> StraightLine:
        """The line through the readings."""
        ...

    def last_slow(self, low: int, high: int, half: int, slope_c_per_s: float) -> int | None:
        """Where the last run of ``half`` readings begins that is followed by another at less than a slope [K/s]."""
        ...

    def backwards(self) -> Course:
        """The same with the time running backwards, from minus the last time on."""
        ...


def above(level_c: float) -> float:
    """The lowest number over a level [degC]: as an inclusive edge it leaves the level itself out."""
    return math.nextafter(level_c, math.inf)


def below(level_c: float) -> float:
    """The highest number under a level [degC]."""
    return math.nextafter(level_c, -math.inf)


def crossing_s(course: Course, index: int, level_c: float) -> float:
    """Time [s] at which the chord from reading ``index`` to the next crosses a level."""
    start_s, end_s = float(course.t_s[index]), float(course.t_s[index + 1])
    from_c, to_c = float(course.temp_c[index]), float(course.temp_c[index + 1])
    return start_s + (level_c - from_c) / (to_c - from_c) * (end_s - start_s)


def last_s(course: Course) -> float:
    """Time of the last reading [s]."""
    return float(course.t_s[len(course.t_s) - 1])


def count_in(course: Course, low: int, high: int, lower_c: float, upper_c: float) -> int:
    """How many readings lie between two levels [degC], both inclusive."""
    return sum(last - first + 1 for first, last in course.runs(low, high, lower_c, upper_c))


def hottest_c(course: Course, low: int, high: int) -> float:
    """Highest temperature [degC]; -inf without a reading."""
    low, high = max(low, 0), min(high, len(course.t_s))
    return float(course.temp_c[course.hottest(low, high)]) if high > low else -math.inf


def coldest_c(course: Course, low: int, high: int) -> float:
    """Lowest temperature [degC]; inf without a reading."""
    low, high = max(low, 0), min(high, len(course.t_s))
    return float(course.temp_c[course.coldest(low, high)]) if high > low else math.inf
