"""The first questions of campaigns/foreign_plans.py, whose author had not read how plans are made."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.campaigns.foreign_plans import table, told, try_one
from tests.foreign_kiln import SIGMA, ZERO_C, Charge, Controller, Day, Duty, Kiln, Leg, Packet, exchange, facing, heat
from tests.foreign_plans import SORTS, a_case

BARE = Packet(foil=False, outer=0.6, inner=0.2, gap_w_m2k=100.0, foil_mm=0.05, arrest_c=780.0, arrest_j_kg=60e3)
PID = Controller(gain=1 / 30, reset_s=400.0, rate_s=20.0, swing_c=0.0, ready_c=2.0, waits_c=15.0, pauses=False)
KILN = Kiln(
    power_w=2500.0, wire_j_k=700.0, wire_m2=0.08, inside_m2=0.2, k_w_mk=0.2, brick_j_m3k=0.6e6,
    layers_m=(0.006, 0.014, 0.03, 0.06), leak_m2=0.0006, door_m2=0.012, works=0.04, shows=0.04, air=0.3,
    couple_s=20.0, reads_high_c=3.0, noise_c=0.1, places_c=(0.0,), controller=PID,
)  # fmt: skip
DAY = Day(mains=1.0, room_c=20.0, starts_c=20.0, drift_c=0.0, seed="a day")


@pytest.mark.parametrize(("side", "published"), [(1.0, 0.1998), (2.0, 0.4153), (10.0, 0.8270)])
def test_the_view_of_two_squares(side: float, published: float) -> None:
    """Howell, Catalog of Radiation Heat Transfer Configuration Factors, C-11, one apart."""
    assert facing(1.0, side, side) == pytest.approx(published, abs=6e-4)


def test_faces_as_warm_as_the_walls_exchange_nothing() -> None:
    charge = Charge((3.0, 5.0, 2.0), (BARE,) * 3, (1, 2, 4), 15.0)
    of_faces, of_walls = exchange(charge, [True, True, True])
    assert of_faces.sum(axis=1) + of_walls == pytest.approx(np.zeros(6), abs=1e-12)


def test_a_lone_face_takes_what_a_grey_face_in_a_large_room_takes() -> None:
    of_faces, of_walls = exchange(Charge((3.0,), (BARE,), (1,), None), [True])
    assert list(of_walls) == pytest.approx([0.6, 0.6])
    assert of_faces == pytest.approx(np.diag([-0.6, -0.6]))


def test_a_blade_follows_by_its_own_time_constant() -> None:
    """Held at 1000 degC: h = 4 e sigma T^3 + film = 281 + 7, so that 3 mm of 640 J/kg/K have 26 s."""
    charge = Charge((3.0,), (BARE,), (1,), None, width_mm=1.0, length_mm=1.0)
    duty = Duty(load_leg=0, load_shown_c=1000.0, wait_s=3600.0, out_shown_c=1000.0, out_s=(1200.0,))
    ran = heat(KILN, (Leg(1003.0, None, math.inf),), charge, DAY, duty)
    t, blade = np.array(ran.t_s), np.array(ran.blades_c)[:, 0]
    chamber = np.array(ran.chamber_c)
    late = [float(t[np.flatnonzero(blade >= 1000.0 - off)[0]]) for off in (40.0, 40.0 / math.e)]
    steep = 4.0 * 0.6 * SIGMA * (985.0 + ZERO_C) ** 3 + 7.0
    assert late[1] - late[0] == pytest.approx(7750.0 * 0.0015 * 640.0 / steep, abs=10.0)
    assert chamber[-30] == pytest.approx(1000.0, abs=1.5)
    assert ran.display_c[-30] == pytest.approx(chamber[-30] + 3.0, abs=1.0)


def test_the_inner_blades_of_a_rack_are_later() -> None:
    charge = Charge((3.0,) * 5, (BARE,) * 5, (1, 2, 3, 4, 5), 15.0)
    duty = Duty(load_leg=0, load_shown_c=1000.0, wait_s=600.0, out_shown_c=1000.0, out_s=(900.0,) * 5)
    ran = heat(KILN, (Leg(1003.0, None, math.inf),), charge, DAY, duty)
    blades, began = np.array(ran.blades_c), int(ran.load_s / 5.0)
    comes = [int(np.flatnonzero(blades[:, k] > 900.0)[0]) for k in range(5)]
    assert comes[2] > comes[0] == comes[4]
    assert min(ran.display_c[began : began + 60]) < 1000.0  # the load has cooled the chamber


def test_a_case_is_the_same_again() -> None:
    assert a_case(2) == a_case(2) != a_case(3)
    assert {a_case(seed).sort for seed in (0, 3, 4)} <= set(SORTS)


@pytest.mark.parametrize("seed", [0, 3, 4])
def test_an_answer_comes_and_its_truth_is_computed(seed: int) -> None:
    tried = try_one(seed)
    assert not tried.broke, told(tried)
    assert tried.answer is not None
    assert len(tried.had) == len(tried.case.blades_mm) == len(tried.answer.out_s)
    assert all(0.0 <= had.soak_s <= had.above_s for had in tried.had)
    assert str(seed) in told(tried)
    assert table([tried])
