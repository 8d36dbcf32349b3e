"""Soak of one piece in one hold: time at or above the lower edge, dips that pause it, dips that start it again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.edges import SWING_S, Readings, crossing_s
from soakwitness.analysis.verification.intervals import Allowed, Inside, Mode, inside

PLACE: dict[Mode, int] = {"low": 0, "best": 1, "high": 2}  # reading before a crossing, the crossing, reading after


@dataclass(frozen=True)
class Window:
    """Where the soak of one piece in one hold can lie.

    Parameters
    ----------
    start_s : float
        Load mark, or where the climb to the hold began [s].
    level_start_s, level_end_s : float
        Begin and end of the level part [s].
    leave_s : float
        *Leave* as read [s].
    limit_s : float
        Begin of the next found hold, or the end of the record [s].
    from_above, left_upward : bool
        Reached from above the band; left through the upper edge.
    pull_s : float or None
        The piece's pull mark [s].
    edges_on : Readings
        The trace that enter and leave are read from.
    """

    start_s: float
    level_start_s: float
    level_end_s: float
    leave_s: float
    limit_s: float
    from_above: bool
    left_upward: bool
    pull_s: float | None
    edges_on: Readings


@dataclass(frozen=True)
class Soak:
    """Soak [s] and the whole time above the lower edge [s], dips or not."""

    soak_s: float
    above_s: float


def window_limits(window: Window, hold: Hold, error_c: float, mode: Mode, noise_c: float) -> tuple[float, float]:
    """Begin and end of the time that can count, for a sensor that reads ``error_c`` high.

    Parameters
    ----------
    window : Window
        The window.
    hold : Hold
        The hold.
    error_c : float
        Sensor error [K].
    mode : str
        ``low``, ``best`` or ``high``.
    noise_c : float
        Noise of a reading [K].

    Returns
    -------
    tuple
        Begin and end [s].
    """
    slack = {"low": -noise_c, "best": 0.0, "high": noise_c}[mode]
    upper, lower = hold.upper_c + error_c, hold.lower_c + error_c
    start, end = window.start_s, window.limit_s
    if window.from_above:
        start = max(start, _since_above(window, upper + slack, mode))
    if window.left_upward:
        end = _until_beyond(window, window.level_end_s, upper + slack, above=True)[PLACE[mode]]
    else:
        end = _until_beyond(window, window.leave_s, lower - noise_c, above=False)[PLACE["high"]]
    if window.pull_s is not None:
        end = min(end, window.pull_s)
    return start, end


def _until_beyond(window: Window, since_s: float, level_c: float, *, above: bool) -> tuple[float, float, float]:
    """Reading before, interpolated crossing and reading after going past a level; the limit where it never does."""
    trace = window.edges_on
    low, high = trace.between(since_s, window.limit_s)
    part = trace.temp_c[low:high]
    hits = np.flatnonzero(part > level_c if above else part < level_c)
    if not hits.size:
        return window.limit_s, window.limit_s, window.limit_s
    at = low + int(hits[0])
    after = float(trace.t_s[at])
    if hits[0] == 0:
        return max(after, since_s), max(after, since_s), max(after, since_s)
    before, crossed = float(trace.t_s[at - 1]), crossing_s(trace, at - 1, level_c)
    return max(before, since_s), max(crossed, since_s), after


def _since_above(window: Window, level_c: float, mode: Mode) -> float:
    """Time from which the trace stays at or below a level before the level part; minus infinity if it always was."""
    trace = window.edges_on
    low, high = trace.between(window.start_s, window.level_start_s)
    hits = np.flatnonzero(trace.temp_c[low:high] > level_c)
    if not hits.size:
        return -np.inf
    at = low + int(hits[-1])
    if mode == "high" or at + 1 >= trace.t_s.size or trace.temp_c[at + 1] > level_c:
        return float(trace.t_s[at])
    return float(trace.t_s[at + 1]) if mode == "low" else crossing_s(trace, at, level_c)


def soak(work: Readings, hold: Hold, window: Window, *, error_c: float, mode: Mode, allowed: Allowed) -> Soak:
    """Soak of one piece for one sensor error.

    Parameters
    ----------
    work : Readings
        Work temperature.
    hold : Hold
        The hold.
    window : Window
        Where it can lie.
    error_c : float
        How much the sensor reads high [K].
    mode : str
        ``low`` (certain), ``best`` (chords), ``high`` (possible).
    allowed : Allowed
        Noise, gaps and rates.

    Returns
    -------
    Soak
        Soak [s]: the longest stretch, in which dips of at most ``dip_s`` pause it and longer ones start it again.

    Notes
    -----
    A hold judged by its mean counts from its first to its last time there; its swings are no dips. In ``best`` a dip
    that stays within the noise of the edge does not start the soak again: nobody can say it was one.
    """
    start, end = window_limits(window, hold, error_c, mode, allowed.noise_c)
    level, swings = hold.lower_c + error_c, hold.judge_by == "mean"
    spans = inside(work, level, np.inf, start_s=start, end_s=end, mode=mode, allowed=allowed)
    dip_s = max(hold.dip_s, SWING_S) if swings else hold.dip_s
    sure_c = level - allowed.noise_c if mode == "best" else None
    return Soak(longest(spans, work, dip_s, sure_c, bridged=swings), spans.total_s)


def longest(
    spans: Inside,
    trace: Readings,
    dip_s: float,
    below_c: float | None,
    above_c: float | None = None,
    *,
    bridged: bool = False,
) -> float:
    """Longest stretch whose interruptions are at most ``dip_s``.

    Parameters
    ----------
    spans : Inside
        Stretches inside.
    trace : Readings
        The trace they come from.
    dip_s : float
        Longest interruption that only pauses [s].
    below_c, above_c : float or None
        An interruption ends a stretch only if a reading in it lies below or above these [degC]; None: always.
    bridged : bool
        Count the interruptions that only pause: a swinging oven is judged by its mean.

    Returns
    -------
    float
        Time inside [s].
    """
    if not spans.start_s.size:
        return 0.0
    dips = spans.start_s[1:] - spans.end_s[:-1]
    cut = dips > dip_s
    if below_c is not None:
        for i in np.flatnonzero(cut):
            cut[i] = _beyond(trace, float(spans.end_s[i]), float(spans.start_s[i + 1]), below_c, above_c)
    firsts = np.concatenate(([0], np.flatnonzero(cut) + 1))
    if bridged:
        lasts = np.append(firsts[1:] - 1, spans.end_s.size - 1)
        return float((spans.end_s[lasts] - spans.start_s[firsts]).max())
    return float(np.add.reduceat(spans.end_s - spans.start_s, firsts).max())


def _beyond(trace: Readings, start_s: float, end_s: float, below_c: float, above_c: float | None) -> bool:
    low, high = trace.between(start_s, end_s)
    part = trace.temp_c[low:high]
    return bool(part.size) and bool(part.min() < below_c or (above_c is not None and part.max() > above_c))
