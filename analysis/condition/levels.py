"""Levels of a trace: where it stayed, near what, and how two sensors differ there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.evidence.run_figures import Difference, HoldFigures
from soakwitness.analysis.record.run import FloatArray, Run, Trace

NEAR_C = 170.0
LEVEL_WINDOW_S = 300.0
LEVEL_SHARE = 1 / 6
LEVEL_RATE_C_PER_H = 60.0
COLD_S = 120.0
COLD_BELOW_C = 60.0
LEVEL_FROM_C = 80.0
STILL_C = 1.5


def mean_between(t_s: FloatArray, values: FloatArray, start_s: float | None, end_s: float | None) -> float | None:
    """Median of what was read between two moments."""
    if start_s is None or end_s is None:
        return None
    first, last = np.searchsorted(t_s, (start_s, end_s))
    part = values[first : last + 1]
    part = part[np.isfinite(part)]
    return float(np.median(part)) if part.size else None


def longest_stay(t_s: FloatArray, flags: npt.NDArray[np.bool_], around_s: float) -> float | None:
    """How long a flag stays true around a moment.

    Returns time [s]; None where the flag is false there.
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
    t_s: FloatArray, temp_c: FloatArray, target_c: float, *, least_s: float, hold_s: float = 0.0
) -> tuple[float | None, float | None]:
    """Where a trace stayed level nearest to a target: the level that a missing hold may have had instead.

    Level is where the mean over the next half window and that over the last differ by less than 60 K/h. The window is
    five minutes, or a sixth of a long hold: an oven that swings around its temperature stays there all the same.

    Returns start and end of the longest such stay [s], or (None, None).
    """
    good = np.isfinite(temp_c)
    t, temp = t_s[good], temp_c[good]
    if t.size < 5 or t[-1] - t[0] < LEVEL_WINDOW_S:
        return None, None
    rate = _slow_rate(t, temp, max(LEVEL_WINDOW_S, LEVEL_SHARE * hold_s))
    level = (np.abs(rate) < LEVEL_RATE_C_PER_H) & (np.abs(temp - target_c) < NEAR_C) & (temp > LEVEL_FROM_C)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], level.astype(np.int8), [0]))))
    stays = [(float(t[a]), float(t[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    stays = [stay for stay in stays if stay[1] - stay[0] >= least_s]
    return max(stays, key=lambda stay: stay[1] - stay[0]) if stays else (None, None)


def _slow_rate(t_s: FloatArray, temp_c: FloatArray, window_s: float) -> FloatArray:
    """Mean over the half window that follows minus that over the one before, as a rate [K/h]; ends go on level."""
    half = 0.5 * window_s
    ends = np.concatenate(([t_s[0] - window_s], t_s, [t_s[-1] + window_s]))
    values = np.concatenate(([temp_c[0]], temp_c, [temp_c[-1]]))
    area = np.concatenate(([0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(ends))))
    here = np.interp(t_s, ends, area)
    after, before = np.interp(t_s + half, ends, area) - here, here - np.interp(t_s - half, ends, area)
    return np.asarray((after - before) / half**2 * 3600.0)


def differences(run: Run, control: Trace, holds: Sequence[HoldFigures]) -> tuple[Difference, ...]:
    """Control reading minus every other sensor in the chamber, where both are level: cold, and late in each hold.

    A hold that is not in its band is compared where both stayed level: of two sensors that disagree, one is outside.

    Returns differences [K]; of a load sensor only the last quarter of a hold counts, when it has caught up.
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
            start_s, end_s = _together(run.t_s, control, other, hold)
            if start_s is None or end_s is None:
                continue
            start_s = end_s - 0.25 * (end_s - start_s)
            level = mean_between(run.t_s, gap, start_s, end_s)
            if other.role == "load" and not _settled(run.t_s, gap, start_s, end_s):
                continue
            at_c = mean_between(run.t_s, control.temp_c, start_s, end_s)
            if level is not None and at_c is not None:
                found.append(Difference(other.name, other.role, at_c, level, hold.step))
    return tuple(found)


def _together(t_s: FloatArray, control: Trace, other: Trace, hold: HoldFigures) -> tuple[float | None, float | None]:
    """From when to when both stayed level in a hold; from enter to leave where that cannot be seen."""
    enters = [t for t in (hold.enter_s, hold.chamber_enter_s) if t is not None]
    ends = [t for t in (hold.leave_s, (hold.chamber_enter_s or 0.0) + (hold.chamber_s or 0.0)) if t is not None]
    start_s, end_s = (min(enters), max(ends)) if enters and hold.found else (None, None)
    if start_s is None:
        start_s, end_s = level_near(t_s, control.temp_c, hold.target_c, least_s=0.25 * hold.required_s)
    usual_c = mean_between(t_s, other.temp_c, start_s, end_s)
    if start_s is None or end_s is None or usual_c is None:
        return None, None
    inside = (t_s >= start_s) & (t_s <= end_s)
    level = level_near(t_s[inside], other.temp_c[inside], usual_c, least_s=0.125 * hold.required_s)
    return level if level[0] is not None else (hold.enter_s, hold.leave_s)


def _settled(t_s: FloatArray, gap: FloatArray, start_s: float, end_s: float) -> bool:
    """Whether a difference still changes: a thick blade that has not caught up says nothing of the sensors."""
    middle = 0.5 * (start_s + end_s)
    early, late = mean_between(t_s, gap, start_s, middle), mean_between(t_s, gap, middle, end_s)
    return early is not None and late is not None and abs(late - early) < STILL_C


def _cold_difference(t_s: FloatArray, control_c: FloatArray, other_c: FloatArray) -> tuple[float, float] | None:
    """Difference before the furnace heats; None where either was warm already or rises too fast for that."""
    if t_s.size == 0:
        return None
    early = (t_s <= t_s[0] + COLD_S) & np.isfinite(control_c) & np.isfinite(other_c)
    if not early.any():
        return None
    begin = int(np.argmax(early))
    still = early & (np.abs(control_c - control_c[begin]) < STILL_C) & (np.abs(other_c - other_c[begin]) < STILL_C)
    first = np.flatnonzero(still)[:12]
    at_c = float(np.median(control_c[first]))
    if max(at_c, float(np.median(other_c[first]))) > COLD_BELOW_C:
        return None
    return at_c, float(np.median(control_c[first] - other_c[first]))
