"""What a load sensor in a known slot tells of a packet, against blades of the radiosity solution."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.packet.estimate import estimate_row
from soakwitness.analysis.packet.piece import for_piece, generic_packet
from soakwitness.analysis.packet.rack import Row, alike, beside
from soakwitness.analysis.packet_runs.fitting import fit_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.firmware_bridge.furnace.rack import Rack
from tests.packet_oracle import TruePacket
from tests.rack_oracle import FloatArray, solve_rack

T = np.arange(0.0, 9000.0, 10.0)
TRUE = TruePacket(3.0, eps_o=0.5, f_i=0.16, gap_mm=0.8)
RACK = Rack(6, 14.0)


def chamber(t: float) -> float:
    return float(np.interp(t, [0, 1500, 2700, 5000, 9000], [20, 780, 780, 1040, 1040]))


CHAMBER = np.array([chamber(t) for t in T])


@pytest.fixture(scope="module")
def blades() -> FloatArray:
    return solve_rack([TRUE] * 6, RACK.spacing_mm, chamber, T)


@pytest.mark.parametrize("slot", [1, 3])
def test_a_sensor_in_a_slot_tells_the_lag_of_all_slots(slot: int, blades: FloatArray) -> None:
    known = generic_packet(PacketSpec(3.0))
    measured = blades[slot - 1] + np.random.default_rng(slot).normal(0.0, 0.3, T.size)
    where = alike(RACK, known, slot, range(1, 7))
    found = fit_packet(T, CHAMBER, measured, packet=known, load_t_s=0.0, where=where)
    assert found.residual_c < 2.0
    row = Row(RACK, (found.packet,) * 6)
    for estimate, blade in zip(estimate_row(T, CHAMBER, row=row, load_t_s=0.0), blades, strict=True):
        assert estimate is not None
        true_s = T[np.flatnonzero(blade >= 1034.0)[0]] - 4947.0
        lag = estimate.lag_s(1034.0, 4947.0)
        assert lag.best_s == pytest.approx(true_s, rel=0.15, abs=10.0)
        assert lag.low_s is not None
        assert lag.low_s - 10.0 <= true_s <= (lag.high_s or np.inf) + 10.0


def test_neighbours_of_another_thickness_have_the_same_foil(blades: FloatArray) -> None:
    known, thick = generic_packet(PacketSpec(3.0)), TruePacket(6.0, eps_o=0.5, f_i=0.16, gap_mm=0.8)
    measured = solve_rack([thick, TRUE, thick], RACK.spacing_mm, chamber, T)[1]
    packets = [for_piece(known, PacketSpec(mm)) for mm in (6.0, 3.0, 6.0)]
    where = beside(Rack(3, 14.0), packets, ["1", "2", "3"], 1)
    found = fit_packet(T, CHAMBER, measured, packet=known, load_t_s=0.0, where=where)
    assert found.residual_c < 2.0
    assert found.packet.thickness_mm == 3.0
    alone = fit_packet(T, CHAMBER, measured, packet=known, load_t_s=0.0)
    # Taken for a lone one, the foil gets the blame for the neighbours.
    assert alone.packet.eps_o < 0.8 * found.packet.eps_o
