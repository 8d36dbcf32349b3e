"""How fast a load sensor that rides through the quench cooled between two temperatures."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.results.verification import Bounds
from soakwitness.analysis.verification.rules.course import crossing_s
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun


def cooling_time(run: GatheredRun) -> Bounds | None:
    """Time the work took between the two temperatures of the recipe's quench [s], of several load sensors the slowest.

    Interpolated, with the sampling around each crossing as its bounds; None where the recipe names no temperatures, or
    no load sensor was seen to cool through both.
    """
    quench = run.recipe.quench
    if quench is None or quench.cool_from_c is None or quench.cool_to_c is None:
        return None
    loads = run.loads or ((run.chamber,) if run.chamber.source == "load" else ())
    took = [_cooled(load.readings, quench.cool_from_c, quench.cool_to_c) for load in loads]
    return max((t for t in took if t is not None), key=lambda t: t.best, default=None)


def _cooled(trace: Readings, from_c: float, to_c: float) -> Bounds | None:
    low = _last_above(trace, from_c)
    if low is None:
        return None
    part = np.flatnonzero(trace.temp_c[low + 1 :] <= to_c)
    if not part.size:
        return None
    high = low + int(part[0])
    t = trace.t_s
    best = crossing_s(trace, high, to_c) - crossing_s(trace, low, from_c)
    return Bounds(max(float(t[high] - t[low + 1]), 0.0), best, float(t[high + 1] - t[low]))


def _last_above(trace: Readings, level_c: float) -> int | None:
    """Last reading above a level that is followed by one at or below it."""
    hits = np.flatnonzero((trace.temp_c[:-1] > level_c) & (trace.temp_c[1:] <= level_c))
    return int(hits[-1]) if hits.size else None
