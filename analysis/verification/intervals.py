"""When a trace was inside a band: certainly, by its chord, or possibly, between its readings.

An interval between two readings is certain only if its chord +- the noise stays inside, possible if it touches.
A gap (an interval over three nominal periods) has the envelope that the furnace's fastest heating and cooling allow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from soakwitness.analysis.runs import FloatArray
from soakwitness.analysis.verification.edges import Readings

Mode = Literal["low", "best", "high"]


@dataclass(frozen=True)
class Allowed:
    """What readings of one hold cannot show.

    ``noise_c`` [K] lies about every chord; ``heating_c_per_s`` and ``cooling_c_per_s`` [K/s] bound what a gap hides;
    ``uncertain`` are stretches [s] whose length itself is not known (after a restart of the recorder).
    """

    noise_c: float
    heating_c_per_s: float
    cooling_c_per_s: float
    uncertain: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Inside:
    """Stretches inside: ``start_s`` and ``end_s`` [s], shape (k,), rising, apart from each other."""

    start_s: FloatArray
    end_s: FloatArray

    @property
    def total_s(self) -> float:
        """Their sum [s]."""
        return float(np.sum(self.end_s - self.start_s))


def noise(readings: Readings, start_s: float, end_s: float) -> float:
    r"""Estimate how far a reading lies from the temperature it stands for.

    Parameters
    ----------
    readings : Readings
        The trace.
    start_s, end_s : float
        Stretch near the hold [s].

    Returns
    -------
    float
        Half the resolution + half the 90 % quantile of \|T_k - mean of its neighbours\| [K].
    """
    low, high = readings.between(start_s, end_s)
    part = readings.temp_c[max(low - 5, 0) : high + 5]
    if part.size < 3:
        return readings.resolution_c / 2.0
    off = np.abs(part[1:-1] - (part[:-2] + part[2:]) / 2.0)
    return readings.resolution_c / 2.0 + float(np.quantile(off, 0.9)) / 2.0


def gaps(readings: Readings, start_s: float, end_s: float) -> tuple[tuple[float, float], ...]:
    """List the gaps of a trace.

    Parameters
    ----------
    readings : Readings
        The trace.
    start_s, end_s : float
        Where to look [s].

    Returns
    -------
    tuple
        Begin and end [s] of every interval over three nominal periods.
    """
    low, high = readings.between(start_s, end_s)
    part = slice(max(low - 1, 0), high + 1)
    t, wide = readings.t_s[part], np.flatnonzero(readings.is_gap(part))
    return tuple((float(t[i]), float(t[i + 1])) for i in wide)


def thinned(readings: Readings, start_s: float, end_s: float, levels_c: tuple[tuple[float, float], ...]) -> Readings:
    """Drop readings amid others on the same side of every level that will be asked for.

    Parameters
    ----------
    readings : Readings
        The trace.
    start_s, end_s : float
        Stretch wanted [s]; one reading more is kept on either side.
    levels_c : tuple
        Ranges (lowest, highest) of the levels that will be asked for [degC], rising.

    Returns
    -------
    Readings
        The same answers for such levels from often far fewer readings.
    """
    low, high = readings.between(start_s, end_s)
    part = slice(max(low - 1, 0), high + 1)
    t, y = readings.t_s[part], readings.temp_c[part]
    wide = readings.is_gap(part)
    keep = np.ones(t.size, dtype=bool)
    if t.size > 64:
        edges = [level for pair in levels_c for level in pair]
        side = np.searchsorted(edges, y)
        same = (side[1:] == side[:-1]) & (side[1:] % 2 == 0) & ~wide
        keep[1:-1] = ~(same[:-1] & same[1:])
    at = np.flatnonzero(keep)
    # An interval is a gap only if it was one before: what was left out lay within.
    thin = wide[at[:-1]] if at.size > 1 else np.empty(0, dtype=bool)
    return Readings(t[at], y[at], readings.resolution_c, readings.period_s, thin)


def inside(
    readings: Readings,
    lower_c: float,
    upper_c: float,
    *,
    start_s: float,
    end_s: float,
    mode: Mode,
    allowed: Allowed,
) -> Inside:
    """Find the stretches in which a trace lies between two levels.

    Parameters
    ----------
    readings : Readings
        The trace.
    lower_c, upper_c : float
        The levels [degC]; ``inf`` for none.
    start_s, end_s : float
        Window [s].
    mode : str
        ``low`` counts what is certain, ``best`` the chord, ``high`` what is possible.
    allowed : Allowed
        Noise, gaps and rates.

    Returns
    -------
    Inside
        The stretches, clipped to the window.
    """
    first, last = readings.between(start_s, end_s)
    part = slice(max(first - 1, 0), last + 1)
    t, y = readings.t_s[part], readings.temp_c[part]
    if t.size < 2 or end_s <= start_s:
        return Inside(np.empty(0), np.empty(0))
    t0, t1, y0, y1 = t[:-1], t[1:], y[:-1], y[1:]
    begin, end = _plain(t0, t1, y0, y1, lower_c, upper_c, mode, allowed.noise_c)
    if mode != "best":
        unsure = np.flatnonzero(readings.is_gap(part) | _uncertain(t0, t1, allowed))
        if unsure.size:
            begin, end = _with_gaps(t0, t1, y0, y1, lower_c, upper_c, mode, allowed, unsure, begin, end)
    begin, end = np.maximum(begin, start_s), np.minimum(end, end_s)
    kept = end > begin
    return _merged(begin[kept], end[kept])


def _plain(
    t0: FloatArray, t1: FloatArray, y0: FloatArray, y1: FloatArray, lower: float, upper: float, mode: Mode, noise: float
) -> tuple[FloatArray, FloatArray]:
    """One stretch an interval, empty (end before begin) where outside."""
    least, most = np.minimum(y0, y1), np.maximum(y0, y1)
    if mode == "low":
        return t0, np.where((least - noise >= lower) & (most + noise <= upper), t1, -np.inf)
    if mode == "high":
        return t0, np.where((most + noise >= lower) & (least - noise <= upper), t1, -np.inf)
    begin, end = t0.copy(), t1.copy()
    crossing = np.flatnonzero((least < lower) | (most > upper))
    if crossing.size:
        c0, c1, d0, d1 = t0[crossing], t1[crossing], y0[crossing], y1[crossing]
        rise = np.where(d1 == d0, 1.0, d1 - d0)
        with np.errstate(over="ignore", invalid="ignore"):
            x_low, x_high = (lower - d0) / rise, (upper - d0) / rise
        x_in, x_out = np.minimum(x_low, x_high), np.maximum(x_low, x_high)
        x_in, x_out = np.clip(x_in, 0.0, 1.0), np.clip(x_out, 0.0, 1.0)
        outside = (d1 == d0) | (x_out <= x_in)
        begin[crossing] = c0 + x_in * (c1 - c0)
        end[crossing] = np.where(outside, -np.inf, np.where(x_out >= 1.0, c1, c0 + x_out * (c1 - c0)))
    return begin, end


def _uncertain(t0: FloatArray, t1: FloatArray, allowed: Allowed) -> np.ndarray:
    mask = np.zeros(t0.size, dtype=bool)
    for start, stop in allowed.uncertain:
        mask |= (t1 > start) & (t0 < stop)
    return mask


def _with_gaps(
    t0: FloatArray,
    t1: FloatArray,
    y0: FloatArray,
    y1: FloatArray,
    lower: float,
    upper: float,
    mode: Mode,
    allowed: Allowed,
    unsure: np.ndarray,
    begin: FloatArray,
    end: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Replace the chord by the envelope in gaps; stretches of unknown length are never certain."""
    begin, end = begin.copy(), end.copy()
    more_begin, more_end = [], []
    unknown = _uncertain(t0, t1, allowed)
    for k in unsure:
        long, noise = t1[k] - t0[k], allowed.noise_c
        up = max(allowed.heating_c_per_s, (y1[k] - y0[k]) / long)
        down = max(allowed.cooling_c_per_s, (y0[k] - y1[k]) / long)
        if mode == "high":
            late = max((lower - noise - y0[k]) / up, (y0[k] - noise - upper) / down, 0.0)
            early = max((lower - noise - y1[k]) / down, (y1[k] - noise - upper) / up, 0.0)
            begin[k], end[k] = t0[k] + late, t1[k] - early
            continue
        after = max(min((y0[k] - noise - lower) / down, (upper - y0[k] - noise) / up), 0.0)
        before = max(min((y1[k] - noise - lower) / up, (upper - y1[k] - noise) / down), 0.0)
        if unknown[k]:
            after = before = 0.0
        end[k] = min(t0[k] + after, t1[k])
        more_begin.append(max(t1[k] - before, t0[k]))
        more_end.append(t1[k])
    order = np.argsort(np.concatenate((begin, more_begin)), kind="stable")
    return np.concatenate((begin, more_begin))[order], np.concatenate((end, more_end))[order]


def _merged(begin: FloatArray, end: FloatArray) -> Inside:
    """Join stretches that touch."""
    if not begin.size:
        return Inside(begin, end)
    reach = np.maximum.accumulate(end)
    apart = np.flatnonzero(begin[1:] > reach[:-1] + 1e-9)
    return Inside(begin[np.concatenate(([0], apart + 1))], reach[np.concatenate((apart, [begin.size - 1]))])
