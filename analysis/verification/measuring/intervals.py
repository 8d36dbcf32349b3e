"""When a trace was inside a band: certainly, by its chord, or possibly, between its readings.

An interval between two readings is certain only if its chord +- the noise stays inside, possible if it touches.
A gap (an interval over three nominal periods) has the envelope that the furnace's fastest heating and cooling allow.
One that was longer than it is on record has no end where a reading beside it may be inside.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.uncertain_gaps import UncertainGap
from soakwitness.analysis.verification.rules.windows import Mode

__all__ = ["Allowed", "Inside", "Mode", "inside", "merged", "within"]


@dataclass(frozen=True)
class Allowed:
    """What readings of one hold cannot show.

    ``noise_c`` [K] lies about every chord; ``heating_c_per_s`` and ``cooling_c_per_s`` [K/s] bound what a gap hides;
    ``uncertain`` are gaps whose length itself is not known (after a restart of the computer).
    """

    noise_c: float
    heating_c_per_s: float
    cooling_c_per_s: float
    uncertain: tuple[UncertainGap, ...] = ()


@dataclass(frozen=True)
class Inside:
    """Stretches inside: ``start_s`` and ``end_s`` [s], shape (k,), rising, apart from each other.

    ``endless``: one of them may have lasted longer than is on record, nobody knows by how much.
    """

    start_s: FloatArray
    end_s: FloatArray
    endless: bool = False

    @property
    def total_s(self) -> float:
        """Their sum [s]."""
        return np.inf if self.endless else float((self.end_s - self.start_s).sum())


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

    ``mode``: ``low`` counts what is certain, ``best`` the chord, ``high`` what is possible.
    """
    first, last = readings.between(start_s, end_s)
    first = max(first - 1, 0)
    t, y = readings.t_s[first : last + 1], readings.temp_c[first : last + 1]
    if t.size < 2 or end_s <= start_s:
        return Inside(np.empty(0), np.empty(0))
    whole = _whole(y, lower_c, upper_c, mode, allowed.noise_c)
    parts, endless = None, False
    if mode == "best":
        parts = _crossings(t, y, lower_c, upper_c, whole)
    else:
        unsure = readings.gaps_in(first, last + 1)
        if allowed.uncertain:
            unsure = np.union1d(unsure, within(t, allowed.uncertain).nonzero()[0])
            longer = [gap for gap in allowed.uncertain if gap.longer]
            endless = mode == "high" and bool((whole & within(t, longer)).any())
        if unsure.size:
            whole[unsure] = False
            parts = _in_gaps(t, y, lower_c, upper_c, mode, allowed, unsure)
    first_of, last_of = _runs(whole)
    begin, end = t[first_of], t[last_of]
    if parts is not None and parts[0].size:
        begin, end = np.concatenate((begin, parts[0])), np.concatenate((end, parts[1]))
        order = begin.argsort(kind="stable")
        begin, end = begin[order], end[order]
    begin, end = np.maximum(begin, start_s), np.minimum(end, end_s)
    kept = end > begin
    return replace(merged(begin[kept], end[kept]), endless=endless)


def _whole(y: FloatArray, lower: float, upper: float, mode: Mode, noise: float) -> npt.NDArray[np.bool_]:
    """Which intervals between neighbouring readings count from end to end."""
    if mode == "high":
        reaches = y >= lower - noise
        touches = reaches[:-1] | reaches[1:]
        if np.isfinite(upper):
            below = y <= upper + noise
            touches &= below[:-1] | below[1:]
        return touches
    spare = noise if mode == "low" else 0.0
    good = y >= lower + spare
    if np.isfinite(upper):
        good &= y <= upper - spare
    both: npt.NDArray[np.bool_] = good[:-1] & good[1:]
    return both


def _runs(mask: npt.NDArray[np.bool_]) -> tuple[np.ndarray, np.ndarray]:
    """First reading and last reading of every run of true intervals."""
    change = (mask[1:] != mask[:-1]).nonzero()[0] + 1
    bounds = np.concatenate(([0], change, [mask.size]))
    runs = mask[bounds[:-1]].nonzero()[0]
    return bounds[runs], bounds[runs + 1]


def _crossings(
    t: FloatArray, y: FloatArray, lower: float, upper: float, whole: npt.NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """The part inside of every chord that crosses an edge."""
    high = np.maximum(y[:-1], y[1:]) >= lower
    if np.isfinite(upper):
        high &= np.minimum(y[:-1], y[1:]) <= upper
    at = (high & ~whole).nonzero()[0]
    t0, t1, y0, rise = t[at], t[at + 1], y[at], y[at + 1] - y[at]
    edge = np.minimum(upper, 1e9)
    to_low, to_high = (lower - y0) / rise, (edge - y0) / rise
    come, go = np.clip(np.minimum(to_low, to_high), 0.0, 1.0), np.clip(np.maximum(to_low, to_high), 0.0, 1.0)
    return t0 + come * (t1 - t0), t0 + go * (t1 - t0)


def within(t: FloatArray, uncertain: Iterable[UncertainGap]) -> npt.NDArray[np.bool_]:
    """Which intervals between neighbouring readings lie in gaps whose length is not known."""
    mask = np.zeros(max(t.size - 1, 0), dtype=bool)
    for gap in uncertain:
        mask |= (t[1:] > gap.start_s) & (t[:-1] < gap.end_s)
    return mask


def _in_gaps(
    t: FloatArray, y: FloatArray, lower: float, upper: float, mode: Mode, allowed: Allowed, gaps_at: np.ndarray
) -> tuple[FloatArray, FloatArray]:
    """Stretches inside within gaps, by the envelope; a gap of unknown length is never certain."""
    t0, t1, y0, y1 = t[gaps_at], t[gaps_at + 1], y[gaps_at], y[gaps_at + 1]
    noise, long = allowed.noise_c, t1 - t0
    up = np.maximum(allowed.heating_c_per_s, (y1 - y0) / long)
    down = np.maximum(allowed.cooling_c_per_s, (y0 - y1) / long)
    if mode == "high":
        late = np.maximum(np.maximum((lower - noise - y0) / up, (y0 - noise - upper) / down), 0.0)
        early = np.maximum(np.maximum((lower - noise - y1) / down, (y1 - noise - upper) / up), 0.0)
        return t0 + late, t1 - early
    after = np.maximum(np.minimum((y0 - noise - lower) / down, (upper - y0 - noise) / up), 0.0)
    before = np.maximum(np.minimum((y1 - noise - lower) / up, (upper - y1 - noise) / down), 0.0)
    unknown = within(t, allowed.uncertain)[gaps_at]
    after, before = np.where(unknown, 0.0, after), np.where(unknown, 0.0, before)
    return np.concatenate((t0, np.maximum(t1 - before, t0))), np.concatenate((np.minimum(t0 + after, t1), t1))


def merged(begin_s: FloatArray, end_s: FloatArray) -> Inside:
    """Join stretches (from, to) [s] that touch; they come in order of their begin."""
    if not begin_s.size:
        return Inside(begin_s, end_s)
    if begin_s.size == 1:
        return Inside(begin_s, end_s)
    reach = np.maximum.accumulate(end_s)
    apart = (begin_s[1:] > reach[:-1] + 1e-9).nonzero()[0]
    return Inside(begin_s[np.concatenate(([0], apart + 1))], reach[np.concatenate((apart, [begin_s.size - 1]))])
