"""The expected curves for the chart: chamber and slowest blade, likely and within their bounds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from soakwitness.analysis.packet.estimate import PacketEstimate
from soakwitness.analysis.planning.blades import estimates
from soakwitness.analysis.planning.expected_chamber import ChamberCourse, FloatArray
from soakwitness.analysis.planning.plan import ExpectedHeat, PieceToPlan
from soakwitness.firmware_bridge.furnace.rack import Rack

GRID_S = 20.0


def expected(
    courses: Sequence[ChamberCourse], pieces: Sequence[PieceToPlan], rack: Rack | None, until_s: float
) -> ExpectedHeat:
    """Curves up to when the first piece comes out; every course's own time, the likely one first."""
    t_s = np.arange(0.0, until_s + GRID_S, GRID_S)
    chambers = np.array([np.interp(t_s, each.t_s, each.temp_c) for each in courses])
    chamber = (chambers.min(axis=0), chambers[0], chambers.max(axis=0))
    if not pieces:
        return ExpectedHeat(t_s, chamber, None)
    latest = sorted(courses[1:], key=lambda each: float(each.enters[max(each.enters)]))
    found = list(estimates((courses[0], latest[0], latest[-1]), pieces, rack))
    slowest = min(range(len(pieces)), key=lambda n: float(found[0][n].best_c.sum()))
    blades = [each[slowest] for each in found]
    low = np.array([np.interp(t_s, one.t_s, one.low_c) for one in blades]).min(axis=0)
    high = np.array([np.interp(t_s, one.t_s, one.high_c) for one in blades]).max(axis=0)
    return ExpectedHeat(t_s, chamber, (low, _at(blades[0], t_s), high))


def _at(found: PacketEstimate, t_s: FloatArray) -> FloatArray:
    return np.interp(t_s, found.t_s, found.best_c)
