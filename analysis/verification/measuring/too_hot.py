"""Too hot is no pass: what was held over the limit from load to pull.

Definition: page ``definitions`` of the guide (too hot).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.held import highest_held
from soakwitness.analysis.verification.measuring.intervals import Allowed
from soakwitness.analysis.verification.measuring.overshoot import hidden_by_gaps
from soakwitness.analysis.verification.results.verification import TooHot
from soakwitness.analysis.verification.rules.limits import HELD_S, SETTLES_S, Limit, hot_limit_c, limits_of

__all__ = ["HotFigures", "Limit", "hot_figures", "hot_limit_c", "limits_of"]


@dataclass(frozen=True)
class HotFigures:
    """What was held over a hold's limits [K], below zero where it stayed under: for sure, and with gaps at their worst.

    ``shown`` is for people; None without three readings.
    """

    by_c: float
    most_c: float
    shown: TooHot | None


def hot_figures(
    trace: Readings,
    limits: Sequence[Limit],
    number: int,
    inside_s: tuple[float, float],
    *,
    bare_s: float | None,
    allowed: Allowed,
    lower_c: float,
    correction_c: float,
) -> HotFigures | None:
    """What a trace held over the limits of one hold while a charge was inside (``inside_s``, from load to pull).

    ``bare_s`` [s] is how long a bare chamber reading may be over, None where the work itself is known; ``lower_c`` the
    last hold's lower edge: after it, without a pull, the work counts until it falls below that. None without a reading.
    """
    held_s = HELD_S if bare_s is None else bare_s
    parts = []
    for limit in limits:
        if limit.number != number:
            continue
        start, stop = max(limit.start_s, inside_s[0]), min(limit.end_s, inside_s[1])
        if bare_s is not None and limit.before_first:
            start = max(start, inside_s[0] + SETTLES_S)
        if limit.after_last and not np.isfinite(inside_s[1]):
            stop = min(stop, _falls_below(trace, lower_c, start))
        if stop > start:
            parts.append((start, stop, limit.limit_c))
    if not parts:
        return None
    return _worst_of(trace, parts, held_s, allowed, correction_c)


def _worst_of(
    trace: Readings, parts: Sequence[tuple[float, float, float]], held_s: float, allowed: Allowed, correction_c: float
) -> HotFigures | None:
    """Held and hidden figures over neighbouring stretches with their limits."""
    hidden, most_limit_c = -np.inf, parts[0][2]
    ends = [(*trace.between(start, stop), limit) for start, stop, limit in sorted(parts)]
    z, done = np.empty(sum(high - low for low, high, _ in ends)), 0
    for low, high, limit in ends:
        np.subtract(trace.temp_c[low:high], limit, out=z[done : done + high - low])
        done += high - low
        hidden = max(hidden, hidden_by_gaps(trace, low, high, allowed, held_s) - limit)
    if all(high == low for (_, high, _), (low, _, _) in pairwise(ends)):
        t = trace.t_s[ends[0][0] : ends[-1][1]]
    else:  # a reading where two limits meet is held against both
        t = np.concatenate([trace.t_s[low:high] for low, high, _ in ends])
    held = highest_held(t, z, held_s, allowed.noise_c)
    if held is None:  # too short a time to be too hot for as long as counts
        return HotFigures(-np.inf, hidden, None)
    limit = next((most for a, b, most in sorted(parts) if a <= held.at_s <= b), most_limit_c)
    shown = None
    if held.value_c > 0.0:
        above = z > 0.0
        over_s = float(np.sum(np.diff(t)[above[:-1] & above[1:]]))
        shown = TooHot(
            held.value_c, limit + correction_c, limit + correction_c + held.value_c, held.at_s, over_s, _when(t, above)
        )
    return HotFigures(held.value_c, max(held.value_c, hidden), shown)


def _when(t_s: FloatArray, above: npt.NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """When readings were over a limit: from, to [s]; a break shorter than what counts as held is none."""
    at = np.flatnonzero(above)
    apart = np.flatnonzero(np.diff(t_s[at]) > HELD_S)
    first, last = at[np.concatenate(([0], apart + 1))], at[np.concatenate((apart, [at.size - 1]))]
    return tuple(zip(t_s[first].tolist(), t_s[last].tolist(), strict=True))


def _falls_below(trace: Readings, level_c: float, since_s: float) -> float:
    """When a trace next is below a level [s, degC]; infinity where it never does."""
    first, _ = trace.between(since_s, since_s)
    below = np.flatnonzero(trace.temp_c[first:] < level_c)
    return float(trace.t_s[first + int(below[0])]) if below.size else np.inf
