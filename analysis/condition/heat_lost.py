"""The moment from which a furnace cooled for good though its controller still asked for heat."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.condition.levels import mean_between
from soakwitness.analysis.evidence.run_figures import HeatLost
from soakwitness.analysis.record.run import FloatArray, Run, Trace

HOT_C = 300.0
FELL_C = 80.0
CAME_BACK_C = 8.0
NEAR_TOP_C = 15.0
DOOR_S = 240.0
WAIT_S, LOOK_S = 60.0, 360.0
FULL_PCT = 90.0
ASKED_ABOVE_C = 30.0


def heat_lost(run: Run, control: Trace) -> HeatLost | None:
    """Where the reading begins to fall for good, and output or setpoint asked for more in the minutes after it.

    With the output logged it decides: a program at its end may leave its setpoint standing. Where neither is logged
    the moment is given all the same, and pull marks have to tell.
    """
    had = np.isfinite(control.temp_c)
    t, temp = control.t_s[had], control.temp_c[had]
    if t.size < 5 or temp.max() < HOT_C:
        return None
    last = last_top(without_doors(t, temp), CAME_BACK_C)
    last = int(np.flatnonzero(temp >= temp[last] - NEAR_TOP_C)[-1])
    at_s, at_c = float(t[last]), float(temp[last])
    after = (t > at_s + WAIT_S) & (t <= at_s + LOOK_S)
    if after.sum() < 2 or temp[last] - temp[-1] < FELL_C or at_c < HOT_C:
        return None
    output, setpoint = (run.signal(name) for name in ("output", "setpoint"))
    asked_pct, asked_c = (
        None if s is None else mean_between(run.t_s, s, at_s + WAIT_S, at_s + LOOK_S) for s in (output, setpoint)
    )
    full = asked_pct is not None and asked_pct >= FULL_PCT
    above = asked_pct is None and asked_c is not None and asked_c > float(temp[after].mean()) + ASKED_ABOVE_C
    unknown = output is None and setpoint is None
    return HeatLost(at_s, at_c, asked_pct, asked_c) if full or above or unknown else None


def last_top(temp_c: FloatArray, rise_c: float) -> int:
    """Index of the last top: nothing after it rises again by as much.

    ``temp_c``: readings [degC], none missing; ``rise_c``: how much is a rise [K].
    """
    low, begun = float(temp_c[0]), 0
    for i, value in enumerate(temp_c):
        low = min(low, float(value))
        if value - low >= rise_c:
            low, begun = float(value), i
    return begun + int(np.argmax(temp_c[begun:]))


def without_doors(t_s: FloatArray, temp_c: FloatArray) -> FloatArray:
    """Readings with dips shorter than four minutes filled, as pulling makes them.

    ``t_s`` [s], shape (n,), ``temp_c`` [degC], shape (n,), none missing. Returns readings [degC], shape (n,).
    """
    step_s = float(np.median(np.diff(t_s)))
    wide = 2 * (max(1, round(DOOR_S / max(step_s, 1e-3))) // 2) + 1
    return -_highest(-_highest(temp_c, wide), wide)


def _highest(values: FloatArray, wide: int) -> FloatArray:
    """Highest of so many neighbours; at the ends of those that are there."""
    padded = np.pad(values, wide // 2, constant_values=-np.inf)
    highest: FloatArray = np.lib.stride_tricks.sliding_window_view(padded, wide).max(axis=1)
    return highest
