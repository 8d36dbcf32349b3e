"""When the blades of a charge are in a hold's band, over an expected chamber: every draw of every piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.estimate import PacketEstimate, estimate, estimate_row
from soakwitness.analysis.packet.piece import ROOM_C, PacketModel
from soakwitness.analysis.packet.rack import Row
from soakwitness.analysis.planning.expected_chamber import ChamberCourse
from soakwitness.analysis.planning.plan import PieceToPlan
from soakwitness.firmware_bridge.furnace.rack import Rack

FloatArray = npt.NDArray[np.float64]
DRAWS = 64  # of each chamber


@dataclass(frozen=True)
class Crossings:
    """When each piece comes into the band [s from the start]: all draws, shape (pieces, draws), and the best figures.

    NaN where it does not.
    """

    draws_s: FloatArray
    best_s: FloatArray


def estimates(chamber: ChamberCourse, pieces: Sequence[PieceToPlan], rack: Rack | None) -> tuple[PacketEstimate, ...]:
    """Each piece over a chamber: those with slots as one row, alike ones without as one."""
    upright = {one.slot: one.packet for one in pieces if one.slot is not None}
    in_rack: dict[int, PacketEstimate] = {}
    if rack is not None and upright:
        row = Row(rack, tuple(upright.get(slot) for slot in range(1, rack.slots + 1)))
        each = estimate_row(chamber.t_s, chamber.temp_c, row=row, load_t_s=chamber.load_s, start_c=ROOM_C, draws=DRAWS)
        in_rack = {slot: one for slot, one in enumerate(each, start=1) if one is not None}
    alone: dict[PacketModel, PacketEstimate] = {}
    for one in pieces:
        if one.slot not in in_rack and one.packet not in alone:
            alone[one.packet] = estimate(
                chamber.t_s,
                chamber.temp_c,
                packet=one.packet,
                load_t_s=chamber.load_s,
                start_c=ROOM_C,
                draws=DRAWS,
            )
    return tuple(in_rack.get(one.slot or 0) or alone[one.packet] for one in pieces)


def crossings(found: Sequence[PacketEstimate], level_c: float, since_s: float) -> Crossings:
    """First moments from ``since_s`` on at or above a level."""
    until_s = float(found[0].draw_t_s[-1])
    draws = np.array([one.crossing_s(level_c, since_s, until_s) for one in found])
    best = [one.lag_s(level_c, since_s, until_s).best_s for one in found]
    begun = [max(since_s, one.load_t_s) for one in found]
    best_s = [np.nan if lag is None else at + lag for at, lag in zip(begun, best, strict=True)]
    return Crossings(draws, np.array(best_s))
