"""Levels of a trace: where it stayed, near what, and how two sensors differ there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.condition.figures import Difference, HoldFigures
from soakwitness.analysis.runs import FloatArray, Run, Trace

NEAR_C = 170.0
LEVEL_WINDOW_S = 300.0
LEVEL_RATE_C_PER_H = 60.0
COLD_S = 120.0
COLD_BELOW_C = 60.0
STILL_C = 1.5


def mean_between(t_s: FloatArray, values: FloatArray, start_s: float | None, end_s: float | None) -> float | None:
    """Median of what was read between two moments.

    Parameters
    ----------
    t_s : ndarray
        Times [s], shape (n,).
    values : ndarray
        Readings in any unit, shape (n,).
    start_s, end_s : float or None
        From when to when [s].

    Returns
    -------
    float or None
        None where nothing was read there.
    """
    if start_s is None or end_s is None:
        return None
    first, last = np.searchsorted(t_s, (start_s, end_s))
    part = values[first : last + 1]
    part = part[np.isfinite(part)]
    return float(np.median(part)) if part.size else None


def longest_stay(t_s: FloatArray, flags: npt.NDArray[np.bool_], around_s: float) -> float | None:
    """How long a flag stays true around a moment.

    Parameters
    ----------
    t_s : ndarray
        Times [s], shape (n,).
    flags : ndarray
        Flags, shape (n,).
    around_s : float
        A moment within the stay [s].

    Returns
    -------
    float or None
        Time [s]; None where the flag is false there.
    """
    if t_s.size == 0:
        return None
    here = min(int(np.searchsorted(t_s, around_s)), t_s.size - 1)
    if not flags[here]:
        return None
    before = np.flatnonzero(~flags[:here])
    after = np.flatnonzero(~flags[here:])
    first = int(before[-1]) + 1 if before.size else 0
    last = here + int(after[0]) - 1 if after.size else t_s.size - 1
    return float(t_s[last] - t_s[first])


def level_near(
    t_s: FloatArray, temp_c: FloatArray, target_c: float, *, least_s: float
) -> tuple[float | None, float | None]:
    """Where a trace stayed level nearest to a target: the level that a missing hold may have had instead.

    Parameters
    ----------
    t_s : ndarray
        Times [s], shape (n,).
    temp_c : ndarray
        Temperature [degC], shape (n,).
    target_c : float
        Temperature it should have had [degC].
    least_s : float
        Shortest stay that counts [s].

    Returns
    -------
    tuple of float or None
        Start and end of the longest such stay [s], or (None, None).
    """
    good = np.isfinite(temp_c)
    t, temp = t_s[good], temp_c[good]
    if t.size < 5 or t[-1] - t[0] < LEVEL_WINDOW_S:
        return None, None
    half = 0.5 * LEVEL_WINDOW_S
    rate = (np.interp(t + half, t, temp) - np.interp(t - half, t, temp)) / LEVEL_WINDOW_S * 3600.0
    level = (np.abs(rate) < LEVEL_RATE_C_PER_H) & (np.abs(temp - target_c) < NEAR_C) & (temp > COLD_BELOW_C + 40.0)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], level.astype(np.int8), [0]))))
    stays = [(float(t[a]), float(t[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    stays = [stay for stay in stays if stay[1] - stay[0] >= least_s]
    return max(stays, key=lambda stay: stay[1] - stay[0]) if stays else (None, None)


def differences(run: Run, control: Trace, holds: Sequence[HoldFigures]) -> tuple[Difference, ...]:
    """Control reading minus every other sensor in the chamber, where both are level: cold, and late in each hold.

    Parameters
    ----------
    run : Run
        The run.
    control : Trace
        The trace that stands for the furnace.
    holds : sequence of HoldFigures
        Its holds.

    Returns
    -------
    tuple of Difference
        Differences [K]; of a load sensor only the last quarter of a hold counts, when it has caught up.
    """
    found: list[Difference] = []
    for other in run.traces:
        if other.name == control.name or other.role == "ambient":
            continue
        gap = control.temp_c - other.temp_c
        cold = _cold_difference(run.t_s, control.temp_c, other.temp_c)
        if cold is not None:
            found.append(Difference(other.name, other.role, *cold))
        for hold in holds:
            if hold.enter_s is None or hold.leave_s is None:
                continue
            start_s = hold.leave_s - 0.25 * (hold.leave_s - hold.enter_s)
            level = mean_between(run.t_s, gap, start_s, hold.leave_s)
            if other.role == "load" and not _settled(run.t_s, gap, start_s, hold.leave_s):
                continue
            at_c = mean_between(run.t_s, control.temp_c, start_s, hold.leave_s)
            if level is not None and at_c is not None:
                found.append(Difference(other.name, other.role, at_c, level, hold.step))
    return tuple(found)


def _settled(t_s: FloatArray, gap: FloatArray, start_s: float, end_s: float) -> bool:
    """Whether a difference still changes: a thick blade that has not caught up says nothing of the sensors."""
    middle = 0.5 * (start_s + end_s)
    early, late = mean_between(t_s, gap, start_s, middle), mean_between(t_s, gap, middle, end_s)
    return early is not None and late is not None and abs(late - early) < STILL_C


def _cold_difference(t_s: FloatArray, control_c: FloatArray, other_c: FloatArray) -> tuple[float, float] | None:
    """Difference before the furnace heats; None where it was warm already or rises too fast for that."""
    if t_s.size == 0:
        return None
    early = (t_s <= t_s[0] + COLD_S) & np.isfinite(control_c) & np.isfinite(other_c)
    if not early.any():
        return None
    begin = int(np.argmax(early))
    still = early & (np.abs(control_c - control_c[begin]) < STILL_C) & (np.abs(other_c - other_c[begin]) < STILL_C)
    first = np.flatnonzero(still)[:12]
    at_c = float(np.median(other_c[first]))
    if at_c > COLD_BELOW_C:
        return None
    return float(np.median(control_c[first])), float(np.median(control_c[first] - other_c[first]))
