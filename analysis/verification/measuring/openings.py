"""Falls of the chamber that look like an opened door, also inside the band: quick, and partly back at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.dips import DOOR_FALL_S, DOOR_FASTER, OwnCooling

# Engineering guesses, no source: what a door does to a control sensor, against ripple and against a program's step.
LEAST_FALL_C = 8.0
LEAST_RATE_C_PER_S = 0.25
BACK_SHARE, BACK_S = 0.1, 60.0
ONE_FALL_S = 15.0  # a fall that halts no longer is one
RIPPLE_C_PER_S = 0.1


@dataclass(frozen=True)
class Opening:
    """One fall: when it began [s], and how deep it was [K]."""

    at_s: float
    depth_c: float


def openings(trace: Readings, since_s: float, until_s: float, cooling: OwnCooling) -> tuple[Opening, ...]:
    """Falls between two moments [s] that look like the door, in the order of time.

    Faster than this furnace cools by itself by a factor of three, and partly back within a minute: a furnace that was
    switched off goes on falling, a controller's swing is slow. One behind the other is two, however soon.
    """
    low, high = trace.between(since_s, until_s)
    t, y = trace.t_s[low:high], trace.temp_c[low:high]
    if t.size < 3:
        return ()
    rate = np.diff(y) / np.diff(t)
    own = np.array([cooling.rate_c_per_s(float(temp_c)) or 0.0 for temp_c in y[:-1]])
    quick = np.flatnonzero(rate <= -np.maximum(DOOR_FASTER * own, LEAST_RATE_C_PER_S))
    parts = np.split(quick, np.flatnonzero(_apart(t, y, quick)) + 1) if quick.size else []
    found = []
    for part in parts:
        first, last = int(part[0]), int(part[-1]) + 1
        while first > 0 and rate[first - 1] < -RIPPLE_C_PER_S and t[last] - t[first - 1] <= DOOR_FALL_S:
            first -= 1
        while last < t.size - 1 and y[last + 1] < y[last] and t[last + 1] - t[first] <= DOOR_FALL_S:
            last += 1
        depth_c = float(y[first] - y[last])
        after = y[last : int(np.searchsorted(t, t[last] + BACK_S, side="right"))]
        back_c = float(after.max() - y[last])
        if depth_c >= LEAST_FALL_C and back_c >= BACK_SHARE * depth_c and t[last] - t[first] <= DOOR_FALL_S:
            found.append(Opening(float(t[first]), depth_c))
    return tuple(found)


def _apart(t: FloatArray, y: FloatArray, quick: npt.NDArray[np.intp]) -> npt.NDArray[np.bool_]:
    """Between which quick intervals another fall begins: it rose meanwhile, or halted for a while."""
    before, after = quick[:-1] + 1, quick[1:]
    apart: npt.NDArray[np.bool_] = (y[after] > y[before]) | (t[after] - t[before] > ONE_FALL_S)
    return apart
