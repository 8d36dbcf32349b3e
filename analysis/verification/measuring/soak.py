"""Soak of one piece in one hold: time at or above the lower edge, dips that pause it, dips that start it again."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.holds.edges import SWING_S, TAKEN_BACK_S
from soakwitness.analysis.verification.inputs.readings import Readings, crossing_s
from soakwitness.analysis.verification.measuring.intervals import Allowed, Inside, Mode, inside, merged

PIECE = 1024
Spans = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Window:
    """Where the soak of one piece in one hold can lie.

    ``start_s``: load mark, or where the climb to the hold began [s]. ``limit_s``: begin of the next found hold, or the
    end of the record [s]. ``from_above``, ``left_upward``: reached from above the band; left through the upper edge.
    ``edges_on``: the trace that enter and leave are read from. ``chamber_leaves_s``: when the chamber left, where
    another sensor's edges are these [s]. ``follows``: the work, low, best and high, where it lags behind ``edges_on``
    and leaves by itself after it. ``doors``: dips (from, to) [s] that a door explains: the walls stay hot meanwhile.
    ``climbs_on``: A hotter hold was found after it; else what went out upwards and did not come back at once is over.
    """

    start_s: float
    enter_s: float
    level_start_s: float
    level_end_s: float
    leave_s: float
    limit_s: float
    from_above: bool
    left_upward: bool
    pull_s: float | None
    edges_on: Readings
    chamber_leaves_s: float | None = None
    follows: Mapping[Mode, Readings] | None = None
    doors: Spans = ()
    climbs_on: bool = True


@dataclass(frozen=True)
class Soak:
    """Soak [s] and the whole time above the lower edge [s], dips or not."""

    soak_s: float
    above_s: float


def window_limits(window: Window, hold: Hold, error_c: float, mode: Mode, noise_c: float) -> tuple[float, float]:
    """Begin and end [s] of the time that can count, for a sensor that reads ``error_c`` [K] high.

    ``noise_c`` [K] is that of a reading.
    """
    start = window.start_s
    if window.from_above:
        start = max(start, _came_down(window, hold.upper_c + error_c, mode, noise_c))
    if mode == "best" and error_c == 0.0:
        start = max(start, window.enter_s)
    if window.chamber_leaves_s is not None and window.leave_s >= window.chamber_leaves_s:
        end = _first_out(window.edges_on, hold, error_c, mode, noise_c, window.chamber_leaves_s)
    elif window.left_upward:
        width = hold.below_c + hold.above_c
        end = _went_up(window, hold.upper_c + error_c, width, mode, noise_c)
    else:
        end = _went_down(window, hold, error_c, mode, noise_c)
    if window.follows is not None:
        end = max(end, _first_out(window.follows[mode], hold, error_c, mode, 0.0, end))
    if window.pull_s is not None:
        end = min(end, window.pull_s)
    return start, end


def _went_up(window: Window, level_c: float, width_c: float, mode: Mode, noise_c: float) -> float:
    """When it climbed out: surely in the band until (``low``), last crossing (``best``), perhaps still in until."""
    trace = window.edges_on
    low, high = trace.between(window.level_end_s, window.limit_s)
    part = trace.temp_c[low:high]
    part = part[: _until(part, lambda some: some > level_c + width_c)]
    if not window.climbs_on:
        gone = _stays_out(trace.t_s[low : low + part.size], part > level_c + noise_c)
        part = part[: int(gone.argmax()) + 1] if gone.any() else part
    if mode == "low":
        first = (part > level_c - noise_c).nonzero()[0]
        return _at(trace, low + int(first[0]) - 1, window.level_end_s) if first.size else window.limit_s
    inside = (part <= level_c + (noise_c if mode == "high" else 0.0)).nonzero()[0]
    if not inside.size:
        return window.level_end_s
    last = low + int(inside[-1])
    if last + 1 >= high:
        return window.limit_s
    return _at(trace, last + 1, 0.0) if mode == "high" else crossing_s(trace, last, level_c)


def _went_down(window: Window, hold: Hold, error_c: float, mode: Mode, noise_c: float) -> float:
    """Reading after the last that can belong to the hold: what is below it for two minutes, or above it, is none."""
    trace = window.edges_on
    level_c = hold.lower_c + error_c - (noise_c if mode == "high" else 0.0)
    low, high = trace.between(window.leave_s, window.limit_s)
    low = max(low - 1, 0)
    t, y = trace.t_s[low:high], trace.temp_c[low:high]
    most_c = max(hold.upper_c + error_c + noise_c, float(y[0]) if y.size else -np.inf)
    back_s = SWING_S if hold.judge_by == "mean" else TAKEN_BACK_S
    last = _last_before(t, y[: _until(y, lambda some: some > most_c)], level_c, back_s)
    if last is None:
        return window.leave_s
    return window.limit_s if low + last + 1 >= high else _at(trace, low + last + 1, window.leave_s)


def _last_before(t: FloatArray, y: FloatArray, level_c: float, back_s: float) -> int | None:
    """Last reading at or above a level before the trace was below it for longer than ``back_s`` [s]."""
    inside = (y >= level_c).nonzero()[0]
    if not inside.size:
        return None
    last = int(inside[-1])
    if last - int(inside[0]) < inside.size:  # all between them are
        return last
    at = t[inside]
    away = ((at[1:] - at[:-1] > back_s) & (inside[1:] - inside[:-1] > 1)).nonzero()[0]
    return int(inside[away[0]]) if away.size else last


def _first_out(trace: Readings, hold: Hold, error_c: float, mode: Mode, noise_c: float, since_s: float) -> float:
    """First crossing of either edge after a moment [s]; that moment where the trace is below the band then."""
    spare = {"low": -noise_c, "best": 0.0, "high": noise_c}[mode]
    lower, upper = hold.lower_c + error_c - spare, hold.upper_c + error_c + spare
    first = max(trace.between(since_s, since_s)[1] - 1, 0)
    y = trace.temp_c[first:]
    if y[0] < lower:
        return since_s
    either = y[0] <= upper
    out = _first(y, lambda some: (some < lower) | (some > upper) if either else some < lower)
    at = first + out if out is not None else trace.t_s.size - 1
    if out is None or mode == "high":
        return max(_at(trace, at, since_s), since_s)
    if mode == "low" or trace.temp_c[at] < lower:
        return max(_at(trace, at if trace.temp_c[at] < lower else at - 1, since_s), since_s)
    return max(crossing_s(trace, at - 1, upper), since_s)


def _came_down(window: Window, level_c: float, mode: Mode, noise_c: float) -> float:
    """When it came down into the band: perhaps (``high``), at the last crossing (``best``), surely (``low``)."""
    trace = window.edges_on
    low, high = trace.between(window.start_s, window.level_start_s)
    part = trace.temp_c[low:high]
    if mode == "high":
        above = (part > level_c + noise_c).nonzero()[0]
        touches = (part[int(part.argmax()) :] <= level_c + noise_c).nonzero()[0] if above.size else above
        if not touches.size:
            return -np.inf
        return _at(trace, low + int(part.argmax()) + int(touches[0]) - 1, window.start_s)
    above = (part > level_c - (noise_c if mode == "low" else 0.0)).nonzero()[0]
    if not above.size:
        return -np.inf
    last = low + int(above[-1])
    if mode == "low" or last + 1 >= trace.t_s.size or trace.temp_c[last + 1] > level_c:
        return _at(trace, min(last + 1, trace.t_s.size - 1), 0.0)
    return crossing_s(trace, last, level_c)


def _stays_out(t_s: FloatArray, out: np.ndarray) -> np.ndarray:
    """Where a trace goes out for longer than what is taken back at once."""
    ends = np.flatnonzero(np.diff(np.concatenate(([False], out, [False])).astype(np.int8))).reshape(-1, 2)
    gone = np.zeros(out.size, dtype=bool)
    for first, after in ends:
        gone[first] = t_s[min(after, t_s.size - 1)] - t_s[first] > TAKEN_BACK_S
    return gone


def _first(y: FloatArray, gone: Callable[[FloatArray], npt.NDArray[np.bool_]]) -> int | None:
    """Index of the first reading that is gone; it mostly is near, so that pieces are looked at that grow."""
    start, size = 0, PIECE
    while start < y.size:
        found = gone(y[start : start + size])
        at = int(found.argmax())
        if found[at]:
            return start + at
        start, size = start + size, 2 * size
    return None


def _until(y: FloatArray, gone: Callable[[FloatArray], npt.NDArray[np.bool_]]) -> int:
    """How many readings until the first that is gone, that one included."""
    first = _first(y, gone)
    return y.size if first is None else first + 1


def _at(trace: Readings, index: int, least_s: float) -> float:
    return max(float(trace.t_s[max(index, 0)]), least_s)


def soak(work: Readings, hold: Hold, window: Window, *, error_c: float, mode: Mode, allowed: Allowed) -> Soak:
    """Soak of one piece for one sensor error.

    A hold judged by its mean counts from its first to its last time there; its swings are no dips. In ``best`` a dip
    that stays within the noise of the edge does not start the soak again: nobody can say it was one. In ``high`` a dip
    that a door explains is none, because the walls stay hot.

    Returns soak [s]: the longest stretch, in which dips of at most ``dip_s`` pause it and longer ones start it again.
    """
    start, end = window_limits(window, hold, error_c, mode, allowed.noise_c)
    level, swings = hold.lower_c + error_c, hold.judge_by == "mean"
    spans = inside(work, level, np.inf, start_s=start, end_s=end, mode=mode, allowed=allowed)
    if mode == "high" and window.doors:
        spans = _bridged(spans, window.doors)
    dip_s = max(hold.dip_s, SWING_S) if swings else hold.dip_s
    sure_c = level - allowed.noise_c if mode == "best" else None
    return Soak(longest(spans, work, dip_s, sure_c, bridged=swings), spans.total_s)


def _bridged(spans: Inside, doors: Sequence[tuple[float, float]]) -> Inside:
    """Stretches joined across the dips between them that a door explains."""
    begin, end = list(spans.start_s), list(spans.end_s)
    for gone, back in zip(spans.end_s[:-1].tolist(), spans.start_s[1:].tolist(), strict=True):
        if any(a <= back and b >= gone for a, b in doors):
            begin.append(gone)
            end.append(back)
    order = np.argsort(begin, kind="stable")
    return merged(np.asarray(begin)[order], np.asarray(end)[order])


def longest(
    spans: Inside,
    trace: Readings,
    dip_s: float,
    below_c: float | None,
    above_c: float | None = None,
    *,
    bridged: bool = False,
) -> float:
    """Longest stretch [s] whose interruptions are at most ``dip_s`` [s].

    An interruption ends a stretch only if a reading in it lies below ``below_c`` or above ``above_c`` [degC] (None:
    always). ``bridged`` counts the interruptions that only pause: a swinging oven is judged by its mean.
    """
    if not spans.start_s.size:
        return 0.0
    if spans.start_s.size == 1:
        return float(spans.end_s[0] - spans.start_s[0])
    dips = spans.start_s[1:] - spans.end_s[:-1]
    cut = dips > dip_s
    if below_c is not None:
        for i in cut.nonzero()[0]:
            cut[i] = _beyond(trace, float(spans.end_s[i]), float(spans.start_s[i + 1]), below_c, above_c)
    firsts = np.concatenate(([0], cut.nonzero()[0] + 1))
    if bridged:
        lasts = np.append(firsts[1:] - 1, spans.end_s.size - 1)
        return float((spans.end_s[lasts] - spans.start_s[firsts]).max())
    return float(np.add.reduceat(spans.end_s - spans.start_s, firsts).max())


def _beyond(trace: Readings, start_s: float, end_s: float, below_c: float, above_c: float | None) -> bool:
    low, high = trace.between(start_s, end_s)
    part = trace.temp_c[low:high]
    return bool(part.size) and bool(part.min() < below_c or (above_c is not None and part.max() > above_c))
