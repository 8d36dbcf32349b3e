"""Ramp rates: a slope that a few odd readings do not move, the end-to-end rate beside it, and rates per window."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.record.run import FloatArray

POINTS = 300
CURVED = 0.05
S_PER_H = 3600.0


@dataclass(frozen=True)
class RampRate:
    """Rate of one ramp [K/h], negative on the way down; ``curved`` where the two rates are over 5 % apart."""

    rate_c_per_h: float
    end_to_end_rate_c_per_h: float
    curved: bool
    start_c: float
    end_c: float


@dataclass(frozen=True)
class WindowRate:
    """Rate [K/h] from the first crossing of ``low_c`` to the first of ``high_c`` [degC]."""

    low_c: float
    high_c: float
    rate_c_per_h: float
    start_s: float
    end_s: float


def theil_sen(x: FloatArray, y: FloatArray) -> float:
    """Median slope of all pairs of points.

    ``x``: abscissa, rising, in a unit of x, shape (n,), n from 2 on. Returns slope [unit of y per unit of x]; up to 29
    % of the points may be anything.

    Source: P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat. Assoc. 63 (1968)
    1379-1389.
    """
    first, second = np.triu_indices(x.size, k=1)
    return float(np.median((y[second] - y[first]) / (x[second] - x[first])))


def ramp_rate(t_s: FloatArray, temp_c: FloatArray, *, start_s: float, end_s: float) -> RampRate | None:
    """Measure the rate of a ramp.

    The rate is the Theil-Sen slope between the first reading past 10 % and the first past 90 % of the change of
    temperature, on at most 300 means of neighbouring readings.

    ``temp_c``: temperature [degC], shape (n,), NaN where nothing was read. Returns none where fewer than three readings
    or no change of temperature is on record.
    """
    t, temp = _between(t_s, temp_c, start_s, end_s)
    if t.size < 3:
        return None
    start_c, end_c = float(temp[0]), float(temp[-1])
    span = end_c - start_c
    if abs(span) < 1e-9:
        return None
    done = (temp - start_c) / span
    first, last = int(np.argmax(done >= 0.1)), int(np.argmax(done >= 0.9))
    if last - first < 2:
        first, last = 0, t.size - 1
    rate = S_PER_H * theil_sen(*_fewer(t[first : last + 1], temp[first : last + 1]))
    end_to_end = S_PER_H * span / float(t[-1] - t[0])
    return RampRate(rate, end_to_end, abs(rate - end_to_end) > CURVED * abs(end_to_end), start_c, end_c)


def window_rates(
    t_s: FloatArray, temp_c: FloatArray, *, start_s: float, end_s: float, width_c: float = 100.0
) -> tuple[WindowRate, ...]:
    """Rates of a rising ramp per window of temperature, for the furnace's own history.

    ``temp_c``: temperature [degC], shape (n,), NaN where nothing was read. ``width_c``: width of a window [K]; windows
    begin at whole multiples of it. Returns whole windows that the ramp crossed, rising; crossings are interpolated.
    """
    t, temp = _between(t_s, temp_c, start_s, end_s)
    if t.size < 3:
        return ()
    highest = np.maximum.accumulate(temp)
    edges = width_c * np.arange(np.ceil(temp[0] / width_c), np.floor(highest[-1] / width_c) + 1.0)
    after = np.searchsorted(highest, edges, side="left")
    before = np.maximum(after - 1, 0)
    rise = temp[after] - temp[before]
    part = np.divide(edges - temp[before], rise, out=np.zeros_like(edges), where=rise > 0)
    at_s = t[before] + part * (t[after] - t[before])
    return tuple(
        WindowRate(
            float(edges[k]),
            float(edges[k + 1]),
            S_PER_H * width_c / float(at_s[k + 1] - at_s[k]),
            float(at_s[k]),
            float(at_s[k + 1]),
        )
        for k in range(edges.size - 1)
        if at_s[k + 1] > at_s[k]
    )


def _between(t_s: FloatArray, temp_c: FloatArray, start_s: float, end_s: float) -> tuple[FloatArray, FloatArray]:
    """Return the readings of this time that were had."""
    part = slice(int(np.searchsorted(t_s, start_s)), int(np.searchsorted(t_s, end_s, side="right")))
    had = np.isfinite(temp_c[part])
    t, temp = t_s[part][had], temp_c[part][had]
    return t, temp


def _fewer(t: FloatArray, temp: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return means of neighbours, at most ``POINTS``: exact on a straight ramp, and noise shrinks."""
    size = -(-t.size // POINTS)
    if size == 1:
        return t, temp
    whole = (t.size // size) * size
    return t[:whole].reshape(-1, size).mean(axis=1), temp[:whole].reshape(-1, size).mean(axis=1)
