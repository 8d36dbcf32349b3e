"""Control charts for single values in order of time: individuals, EWMA and CUSUM, each with its limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.record.run import FloatArray

D2_OF_TWO = 1.128  # mean range of two values over their standard deviation, normal distribution


@dataclass(frozen=True)
class Individuals:
    """Single values with limits from their moving ranges, shape (n,); ``out`` is True beyond a limit."""

    values: FloatArray
    mean: float
    moving_range: float
    lower: float
    upper: float
    out: np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True)
class Ewma:
    """Exponentially weighted means, shape (n,), the start value left out; ``out`` is True beyond a limit."""

    values: FloatArray
    smoothed: FloatArray
    target: float
    lower: float
    upper: float
    out: np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True)
class Cusum:
    """Two one-sided cumulative sums, shape (n,). ``alarms`` are the indices where one is above ``limit``."""

    values: FloatArray
    high: FloatArray
    low: FloatArray
    target: float
    allowance: float
    limit: float
    alarms: tuple[int, ...]

    @property
    def since(self) -> int | None:
        """Index of the first value of the drift that raised the last alarm: where that sum last left zero."""
        if not self.alarms:
            return None
        last = self.alarms[-1]
        side = self.high if self.high[last] > self.limit else self.low
        zeros = np.flatnonzero(side[:last] <= 0.0)
        return int(zeros[-1]) + 1 if zeros.size else 0


def mean_moving_range(values: FloatArray) -> float:
    """Mean absolute difference of neighbours.

    ``values``: values in order of time, any unit, shape (n,).

    Raises NotEnoughData if there are fewer than two values.
    """
    if values.size < 2:
        raise NotEnoughData(f"{values.size} value: a moving range needs two. Record more runs.")
    return float(np.abs(np.diff(values)).mean())


def spread(values: FloatArray) -> float:
    """Standard deviation of single values estimated from their moving ranges, which a slow drift hardly widens.

    MR / 1.128.

    ``values``: values in order of time, any unit, shape (n,).

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    return mean_moving_range(values) / D2_OF_TWO


def individuals(values: FloatArray, *, base: int | None = None, least_spread: float = 0.0) -> Individuals:
    """Individuals chart.

    Limits are mean +- 3 MR / 1.128.

    ``values``: values in order of time, any unit, shape (n,). ``base``: take mean and limits from so many of the first
    values only. ``least_spread``: standard deviation that the limits never go below, such as the resolution of the
    reading allows; same unit.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    values = np.asarray(values, dtype=float)
    part = values[:base]
    centre, moving = float(part.mean()), mean_moving_range(part)
    reach = 3.0 * max(moving / D2_OF_TWO, least_spread)
    out = (values < centre - reach) | (values > centre + reach)
    return Individuals(values, centre, moving, centre - reach, centre + reach, out)


def ewma(values: FloatArray, *, target: float, sigma: float, weight: float = 0.3, width: float = 3.0) -> Ewma:
    """Exponentially weighted moving average chart.

    z_i = w x_i + (1 - w) z_(i-1), z_0 = target; limits target +- width sigma sqrt(w / (2 - w)), which are those of a
    chart that has been running for a while.

    ``values``: values in order of time, any unit, shape (n,). ``target``: value that is expected; the average starts
    from it. ``weight``: weight of the newest value, 0 to 1 (0.2 to 0.3 is usual). ``width``: limits at so many standard
    deviations of the average.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    """
    values = np.asarray(values, dtype=float)
    smoothed = np.empty_like(values)
    last = target
    for i, value in enumerate(values):
        last = weight * value + (1.0 - weight) * last
        smoothed[i] = last
    reach = width * sigma * (weight / (2.0 - weight)) ** 0.5
    out = np.abs(smoothed - target) > reach
    return Ewma(values, smoothed, target, target - reach, target + reach, out)


def cusum(values: FloatArray, *, target: float, allowance: float, limit: float) -> Cusum:
    """Two-sided cumulative sum chart in its tabular form.

    high_i = max(0, high_(i-1) + x_i - target - k), low_i = max(0, low_(i-1) + target - k - x_i).

    ``values``: values in order of time, any unit, shape (n,). ``allowance``: what a value may be off without adding to
    a sum (half a standard deviation is usual), same unit. ``limit``: A sum above it is an alarm (4 or 5 standard
    deviations are usual), same unit.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
    """
    values = np.asarray(values, dtype=float)
    high, low = np.empty_like(values), np.empty_like(values)
    up = down = 0.0
    for i, value in enumerate(values):
        up = max(0.0, up + value - target - allowance)
        down = max(0.0, down + target - allowance - value)
        high[i], low[i] = up, down
    alarms = tuple(int(i) for i in np.flatnonzero((high > limit) | (low > limit)))
    return Cusum(values, high, low, target, allowance, limit, alarms)
