"""Two sensors that stand still together: how far apart they read at the end of a hold, and all through a run."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.runs import Run
from soakwitness.analysis.verification.bad_readings import bad_readings, without_bad
from soakwitness.analysis.verification.gathering import chamber_trace, load_traces
from soakwitness.analysis.verification.model import UsualDifference
from soakwitness.analysis.verification.readings import Readings, readings_of

STEADY_S = 300.0
STEADY_C_PER_H = 30.0
SETTLES_S = 60.0  # before a hold is left
HOT_C = 100.0
EVERY_S = 150.0
BIN_C = 25.0
FEWEST_READINGS = 6


def steady_levels(one: Readings, other: Readings, until_s: float) -> tuple[float, float] | None:
    """What two sensors read over the five minutes before a moment [s], where both stood still [degC]; else None."""
    levels = []
    for trace in (one, other):
        low, high = trace.between(until_s - STEADY_S - SETTLES_S, until_s - SETTLES_S)
        t, y = trace.t_s[low:high], trace.temp_c[low:high]
        if t.size < FEWEST_READINGS or t[-1] - t[0] < 0.5 * STEADY_S:
            return None
        slope = float(np.polyfit(t - t[0], y, 1)[0]) * 3600.0
        if abs(slope) > STEADY_C_PER_H:
            return None
        levels.append(float(np.median(y)))
    return levels[0], levels[1]


def pair_differences(run: Run) -> tuple[UsualDifference, ...]:
    """By how much the chamber's sensor read above each load sensor in a run, wherever both stood still.

    Parameters
    ----------
    run : Run
        The run; its readings as they are, nothing added.

    Returns
    -------
    tuple of UsualDifference
        One for each load sensor and each 25 K of temperature in which they stood still [K, degC].

    Raises
    ------
    NotEnoughData
        If no sensor has enough readings.
    """
    run = without_bad(run, bad_readings(run))
    chamber = chamber_trace(run)
    one = readings_of(chamber)
    found: list[UsualDifference] = []
    for load in load_traces(run, chamber):
        other = readings_of(load)
        bins: dict[int, list[tuple[float, float]]] = {}
        for until_s in np.arange(one.t_s[0] + STEADY_S + SETTLES_S, one.t_s[-1] + SETTLES_S, EVERY_S).tolist():
            pair = steady_levels(one, other, until_s)
            if pair is not None and min(pair) > HOT_C:
                bins.setdefault(int(pair[0] // BIN_C), []).append(pair)
        for pairs in bins.values():
            at_c, other_c = np.median(np.array(pairs), axis=0).tolist()
            found.append(UsualDifference(chamber.name, load.name, at_c, at_c - other_c))
    return tuple(found)
