"""Soak of one piece in one hold: time at or above the lower edge, dips that pause it, dips that start it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.intervals import Allowed, Inside, inside, merged
from soakwitness.analysis.verification.rules.edges import SWING_S
from soakwitness.analysis.verification.rules.windows import Mode, Window, window_limits

__all__ = ["Soak", "Window", "longest", "soak", "window_limits"]


@dataclass(frozen=True)
class Soak:
    """Soak [s] and the whole time above the lower edge [s], dips or not."""

    soak_s: float
    above_s: float


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
        spans = replace(_bridged(spans, window.doors), endless=spans.endless)
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
    if spans.endless:
        return np.inf
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
