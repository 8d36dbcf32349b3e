"""Soak of one piece in one hold: time at or above the lower edge, dips that pause it, dips that start it again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.edges import SWING_S, Readings, crossing_s
from soakwitness.analysis.verification.intervals import Allowed, Inside, Mode, inside


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
    start, end = window.start_s, window.limit_s
    if window.from_above:
        start = max(start, _came_down(window, hold.upper_c + error_c, mode, noise_c))
    width = hold.below_c + hold.above_c
    if window.left_upward:
        end = _went_up(window, hold.upper_c + error_c, width, mode, noise_c)
    else:
        end = _went_down(window, hold.lower_c + error_c, width, noise_c)
    if window.pull_s is not None:
        end = min(end, window.pull_s)
    return start, end


def _went_up(window: Window, level_c: float, width_c: float, mode: Mode, noise_c: float) -> float:
    """When it climbed out: surely in the band until (``low``), last crossing (``best``), perhaps still in until."""
    trace = window.edges_on
    low, high = trace.between(window.level_end_s, window.limit_s)
    part = trace.temp_c[low:high]
    part = part[: _until(part > level_c + width_c)]
    if mode == "low":
        first = int(np.argmax(part > level_c - noise_c)) if np.any(part > level_c - noise_c) else part.size
        return window.limit_s if first == part.size else _at(trace, low + first - 1, window.level_end_s)
    inside = np.flatnonzero(part <= level_c + (noise_c if mode == "high" else 0.0))
    if not inside.size:
        return window.level_end_s
    last = low + int(inside[-1])
    if last + 1 >= high:
        return window.limit_s
    return _at(trace, last + 1, 0.0) if mode == "high" else crossing_s(trace, last, level_c)


def _went_down(window: Window, level_c: float, width_c: float, noise_c: float) -> float:
    """Reading after the last that can be in the band, before the trace is a band's width below it."""
    trace = window.edges_on
    low, high = trace.between(window.leave_s, window.limit_s)
    part = trace.temp_c[low:high]
    part = part[: _until(part < level_c - width_c)]
    inside = np.flatnonzero(part >= level_c - noise_c)
    last = low + int(inside[-1]) if inside.size else low - 1
    return window.limit_s if last + 1 >= high else _at(trace, last + 1, window.leave_s)


def _came_down(window: Window, level_c: float, mode: Mode, noise_c: float) -> float:
    """When it came down into the band: perhaps (``high``), at the last crossing (``best``), surely (``low``)."""
    trace = window.edges_on
    low, high = trace.between(window.start_s, window.level_start_s)
    part = trace.temp_c[low:high]
    if mode == "high":
        above = np.flatnonzero(part > level_c + noise_c)
        touches = np.flatnonzero(part[int(part.argmax()) :] <= level_c + noise_c) if above.size else above
        if not touches.size:
            return -np.inf
        return _at(trace, low + int(part.argmax()) + int(touches[0]) - 1, window.start_s)
    above = np.flatnonzero(part > level_c - (noise_c if mode == "low" else 0.0))
    if not above.size:
        return -np.inf
    last = low + int(above[-1])
    if mode == "low" or last + 1 >= trace.t_s.size or trace.temp_c[last + 1] > level_c:
        return _at(trace, min(last + 1, trace.t_s.size - 1), 0.0)
    return crossing_s(trace, last, level_c)


def _until(gone: np.ndarray) -> int:
    """How many readings until the first that is gone, that one included."""
    return int(np.argmax(gone)) + 1 if gone.any() else gone.size


def _at(trace: Readings, index: int, least_s: float) -> float:
    return max(float(trace.t_s[max(index, 0)]), least_s)


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
