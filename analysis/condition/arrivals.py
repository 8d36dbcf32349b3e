"""How the chamber came to each hold of a run and stood there: how slowly, how far over, at what level."""

from __future__ import annotations

import math

import numpy as np

from soakwitness.analysis.condition.measuring import control_trace
from soakwitness.analysis.evidence.arrival import Arrival
from soakwitness.analysis.evidence.run_figures import HoldFigures, RunFigures
from soakwitness.analysis.record.run import FloatArray, Run

FROM_C, TO_C = 6.0, 1.0  # below the level: the last degrees
SHORTEST_S = 300.0
LATER_SHARE = 0.5  # of a hold: what is level by then
EARLY_SHARE = 0.6  # of a hold: where a hump that came with the climb has its top
OF_A_SAW = 0.9  # nine tenths of the time a saw is within nine tenths of its range, which is twice its swing
TURN, LEAST_SWING_C = 0.5, 1.0  # of a swing, on either side: what is less is noise on the way; and less of one is that
CLEAR_S = 60.0  # a door opened for loading or pulling moves the reading so long before its mark


def arrivals(run: Run, figures: RunFigures) -> tuple[Arrival, ...]:
    """Measure the beginning of every hold that was reached by climbing, with nothing loaded or pulled in it.

    ``figures``: what was measured of the run: where its holds began and ended.
    """
    control = control_trace(run)
    if control is None:
        return ()
    had = np.isfinite(control.temp_c)
    t_s, temp_c = control.t_s[had], control.temp_c[had]
    moved = (*figures.loads_s, *figures.pulls_s, *figures.door_marks_s)
    found = (_arrival(t_s, temp_c, hold, moved) for hold in figures.holds)
    return tuple(one for one in found if one is not None)


def _arrival(t_s: FloatArray, temp_c: FloatArray, hold: HoldFigures, moved_s: tuple[float, ...]) -> Arrival | None:
    enter_s = hold.chamber_enter_s if hold.chamber_enter_s is not None else hold.enter_s
    if not hold.found or enter_s is None or hold.leave_s is None:
        return None
    end_s = min([hold.leave_s, *(at - CLEAR_S for at in moved_s if at > enter_s)])
    inside = (t_s >= enter_s) & (t_s <= end_s)
    if end_s - enter_s < SHORTEST_S or inside.sum() < 10:
        return None
    later = inside & (t_s >= enter_s + LATER_SHARE * (end_s - enter_s))
    later_c = temp_c[later]
    level_c = float(np.median(later_c))
    swing_c = float(np.subtract(*np.percentile(later_c, (95.0, 5.0)))) / (2.0 * OF_A_SAW)
    rising = (t_s > enter_s - 1800.0) & (t_s <= end_s)
    t, temp = t_s[rising], temp_c[rising]
    below, there = np.flatnonzero(temp < level_c - FROM_C), np.flatnonzero(temp >= level_c - TO_C)
    if not below.size or not there.size or below[0] > there[0]:
        return None
    first = int(there[there > below[0]][0]) if (there > below[0]).any() else int(there[0])
    start_s = float(t[below[below < first][-1]])
    early = (t >= t[first]) & (t <= enter_s + EARLY_SHARE * (end_s - enter_s))
    over_c = float(temp[early].max()) - level_c if early.any() else 0.0
    return Arrival(
        target_c=hold.target_c,
        settle_s=max(float(t[first]) - start_s, 0.0) / math.log(FROM_C / TO_C),
        overshoot_c=max(over_c, 0.0),
        level_c=None if hold.setpoint_c is None else level_c - hold.setpoint_c,
        swing_c=swing_c,
        swing_s=_from_rise_to_rise(t_s[later], later_c - level_c, swing_c) if swing_c >= LEAST_SWING_C else None,
    )


def _from_rise_to_rise(t_s: FloatArray, off_c: FloatArray, swing_c: float) -> float | None:
    """How long a swing takes [s], by its rises from one side of its level to the other: None with fewer than two."""
    turn_c = TURN * swing_c
    sides = np.where(off_c >= turn_c, 1, np.where(off_c <= -turn_c, -1, 0))
    turns = np.flatnonzero(sides)
    rises = turns[1:][np.diff(sides[turns]) > 0]
    return float(np.median(np.diff(t_s[rises]))) if rises.size >= 2 else None
