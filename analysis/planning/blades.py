"""When the blades of a charge are in a hold's band, over an expected chamber: every draw of every piece."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.draws import IN_A_GAP, normal_set, sensor_lags_s
from soakwitness.analysis.packet.estimate import ChamberToFollow, PacketEstimate, estimate_each, estimate_row_each
from soakwitness.analysis.packet.grid import ChamberGrid, rate_c_per_s
from soakwitness.analysis.packet.piece import ROOM_C, PacketModel
from soakwitness.analysis.packet.rack import Row
from soakwitness.analysis.packet_runs.fitting import PRIOR_LAG_S
from soakwitness.analysis.planning.expected_chamber import ChamberCourse
from soakwitness.analysis.planning.out_of_band import share_below
from soakwitness.analysis.planning.plan import PieceToPlan
from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.firmware_bridge.furnace.rack import Rack

FloatArray = npt.NDArray[np.float64]
DRAWS = 64  # of each chamber
EVERY_S = 10.0
# Sensors' lags differ by some 15 s, and the elements shine on a packet as if it were as much again more or less: half
# of what a run told is the sensor's own. Engineering guesses.
OWN_SHARE, OWN_SPREAD_S = 0.5, 10.5
BEFORE_S, AFTER_S = 900.0, 3600.0  # of the display's entering: where the chamber's own is looked for


@dataclass(frozen=True)
class Crossings:
    """When a hold's edge is passed [s from the start], inf for never: by the draws and by the best figures.

    ``draws_s`` and ``best_s`` are each piece's, shape (pieces, draws) and (pieces,); ``chamber_s`` and
    ``chamber_best_s`` the chamber's own, whose sensor shows it later, with each piece's draws of that lag. ``below``
    and ``below_best`` are the shares of what follows in which a furnace that swings has the piece below the edge.
    """

    draws_s: FloatArray
    best_s: FloatArray
    chamber_s: FloatArray
    chamber_best_s: FloatArray
    below: FloatArray
    below_best: FloatArray


def estimates(
    chambers: Sequence[ChamberCourse], pieces: Sequence[PieceToPlan], rack: Rack | None
) -> Iterator[tuple[PacketEstimate, ...]]:
    """Each piece over each chamber: those with slots as one row, alike ones without as one.

    What its place is off the sensor's is the chamber's affair here, and drawn with it.
    """
    pieces = [replace(one, packet=replace(one.packet, sensor_offset_c=0.0)) for one in pieces]
    true = [ChamberToFollow(c.t_s, c.temp_c + c.reads_low_c + c.place_c, c.load_s) for c in chambers]
    upright = {one.slot: one.packet for one in pieces if one.slot is not None} if rack is not None else {}
    rows: Iterator[tuple[PacketEstimate | None, ...]] = iter([()] * len(chambers))
    if rack is not None and upright:
        row = Row(rack, tuple(upright.get(slot) for slot in range(1, rack.slots + 1)))
        rows = estimate_row_each(true, row=row, start_c=ROOM_C, draws=DRAWS)
    wrapped: dict[float, dict[PacketModel, None]] = {}  # by the foil [mm]: what has the same marches at once
    for one in pieces:
        if one.slot not in upright:
            wrapped.setdefault(one.packet.foil and one.packet.foil_mm, {})[one.packet] = None
    alone = [
        (packets, estimate_each(((p, c) for c in true for p in packets), start_c=ROOM_C, draws=DRAWS))
        for packets in wrapped.values()
    ]
    for in_rack in rows:
        by_itself = {packet: next(each) for packets, each in alone for packet in packets}
        found = [by_itself[p.packet] if p.slot not in upright else in_rack[p.slot - 1] for p in pieces]
        yield tuple(one for one in found if one is not None)


def crossings(
    chambers: Sequence[ChamberCourse], pieces: Sequence[PieceToPlan], rack: Rack | None, hold: Hold
) -> list[Crossings]:
    """First moments within a hold's band: no piece is there before the chamber, nor before it is loaded."""
    each = zip(chambers, estimates(chambers, pieces, rack), strict=True)
    return [_crossings(chamber, pieces, found, hold) for chamber, found in each]


def _crossings(
    chamber: ChamberCourse, pieces: Sequence[PieceToPlan], estimated: Sequence[PacketEstimate], hold: Hold
) -> Crossings:
    load_s = chamber.load_s or 0.0
    own = [np.maximum(entering(chamber, hold, _own_lags_s(one.packet)), load_s) for one in pieces]
    since_s = min(float(one.min()) for one in own)
    found, below = [], []
    for each, one in zip(estimated, own, strict=True):
        until_s = float(each.draw_t_s[-1])
        lag_s = each.lag_s(hold.lower_c, since_s, until_s).best_s
        best_s = np.inf if lag_s is None else max(since_s, each.load_t_s) + lag_s
        draws = np.nan_to_num(each.crossing_s(hold.lower_c, since_s, until_s), nan=np.inf)
        found.append(np.maximum(np.append(best_s, draws), one))
        below.append(_below(each, hold.lower_c, found[-1], since_s) if chamber.swings else np.zeros(DRAWS + 1))
    blades, chambers, out = np.array(found), np.array(own), np.array(below)
    return Crossings(blades[:, 1:], blades[:, 0], chambers[:, 1:], chambers[:, 0], out[:, 1:], out[:, 0])


def _below(each: PacketEstimate, level_c: float, from_s: FloatArray, since_s: float) -> FloatArray:
    """Share of the time below a level after the first crossing, best first and draws; even where steps are uneven."""
    t_s = np.arange(since_s, float(each.draw_t_s[-1]), EVERY_S)
    every = (each.best_draw_c, *each.draws_c)
    return share_below(t_s, np.array([np.interp(t_s, each.draw_t_s, one) for one in every]), level_c, from_s)


def _own_lags_s(packet: PacketModel) -> FloatArray:
    """The sensor's own lag [s], best first and draws: what a run told of it has the shine of the elements in it."""
    lags = sensor_lags_s(packet, DRAWS)
    if not packet.fitted:
        return lags
    rest = OWN_SPREAD_S * normal_set(DRAWS)[:, IN_A_GAP]  # of the draws what an expected chamber leaves free
    own: FloatArray = PRIOR_LAG_S + OWN_SHARE * (lags - PRIOR_LAG_S) + np.append(0.0, rest)
    return own


def entering(chamber: ChamberCourse, hold: Hold, lags_s: FloatArray) -> FloatArray:
    """When the chamber itself comes into a hold's band [s], for several lags of its sensor [s].

    Before or after the display shows it, by that lag and by what the sensor reads wrong.
    """
    shown_s = chamber.enters[hold.number]
    near = np.flatnonzero((chamber.t_s >= shown_s - BEFORE_S) & (chamber.t_s <= shown_s + AFTER_S))
    t_s = chamber.t_s[near]
    grid = ChamberGrid(chamber.t_s, chamber.temp_c, np.zeros((0, 2)))
    true_c = chamber.temp_c[near] + chamber.reads_low_c + lags_s[:, None] * rate_c_per_s(grid, t_s)
    over_c = true_c - hold.lower_c if chamber.temp_c[near[0]] < hold.lower_c else hold.upper_c - true_c
    index = (over_c >= 0.0).argmax(axis=1)
    rows = np.arange(lags_s.size)
    before = np.maximum(index - 1, 0)
    short = -over_c[rows, before]
    share = short / np.maximum(short + over_c[rows, index], 1e-9)
    crossed: FloatArray = np.where(index > 0, t_s[before] + share * (t_s[index] - t_s[before]), shown_s)
    return crossed
