"""Stays that are none, on traces drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.assignment import Stay
from soakwitness.analysis.verification.edges import Edges
from soakwitness.analysis.verification.passing import earlier_stay, later_stay, passes_through
from soakwitness.analysis.verification.readings import Readings

HOLD = Hold(2, 1000.0, 5.0, 5.0, 600.0)


def trace(*points: tuple[float, float]) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + 0.5)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, 1.0)


@pytest.mark.parametrize(
    ("stop_s", "passing"),
    # 10 K at 0.2 K/s before and after the stop: 50 s expected without one, 1.6 x that is 80 s.
    [(0, True), (20, True), (40, False), (600, False)],
)
def test_a_short_stay_is_only_passing_through(stop_s: float, passing: bool):
    course = trace((0, 900), (500, 1000), (500 + stop_s, 1000), (1000 + stop_s, 1100))
    there = Edges(475, 525 + stop_s, left_upward=True)
    assert passes_through(course, HOLD, there) is passing


@pytest.mark.parametrize(("stop_s", "passing"), [(0, True), (120, False)])
def test_a_short_hold_between_slow_ramps_is_one_where_it_stops(stop_s: float, passing: bool):
    # 10 K at 0.02 K/s take 500 s, and 1.6 x that are 800 s: a stop of 120 s is short of it.
    rng = np.random.default_rng(1)
    course = trace((0, 900), (5000, 1000), (5000 + stop_s, 1000), (10_000 + stop_s, 1100))
    noisy = Readings(course.t_s, course.temp_c + rng.normal(0, 0.2, course.t_s.size), 0.1, 1.0)
    assert passes_through(noisy, HOLD, Edges(4750, 5250 + stop_s, left_upward=True)) is passing


def test_turning_round_in_the_band_is_not_passing_through():
    course = trace((0, 900), (500, 1000), (1000, 900))
    assert not passes_through(course, HOLD, Edges(475, 525))


def test_the_rest_of_a_hold_after_a_cut_is_found_while_the_furnace_keeps_two_fifths_of_its_heat():
    course = trace((0, 1000), (500, 1000), (1000, 900), (1500, 1000), (2500, 1000), (3000, 900))
    assert later_stay(course, HOLD, Edges(0, 525), 3000) == Stay(1475, 2525)
    cold = trace((0, 1000), (500, 1000), (2500, 390), (4500, 1000), (5500, 1000), (6000, 900))
    assert later_stay(cold, HOLD, Edges(0, 517), 6000) is None


def test_a_first_stand_before_a_cut_belongs_to_the_hold_too():
    # 500 s at the target, a power cut down to 700, then 1000 s: 500 s are over a quarter of the 600 s asked.
    course = trace((0, 900), (200, 1000), (700, 1000), (1600, 700), (2600, 1000), (3600, 1000), (3800, 800))
    found = earlier_stay(course, HOLD, Stay(2590, 3600), 0.0)
    assert found is not None
    # In the band from 190 s on (995 at 0.5 K/s), out at 715 s (5 K at 1/3 K/s).
    assert (found.start_s, found.end_s) == (190, 715)
    # With a tenth of what is asked it was no hold yet; from hotter it is another hold's.
    assert earlier_stay(course, Hold(2, 1000.0, 5.0, 5.0, 6000.0), Stay(2590, 3600), 0.0) is None
    hotter = trace(
        (0, 900), (200, 1000), (700, 1000), (1000, 1100), (1600, 900), (2600, 1000), (3600, 1000), (3800, 800)
    )
    assert earlier_stay(hotter, HOLD, Stay(2590, 3600), 0.0) is None


def test_a_quench_passes_through_however_much_slower_it_gets():
    # 20 K/s before the band, 0.5 K/s after it.
    course = trace((0, 1040), (40, 240), (42, 200), (142, 150), (400, 40))
    assert passes_through(course, Hold(2, 200.0, 5.0, 5.0, 3600.0), Edges(41.75, 52.0))


def test_a_climb_that_slows_to_a_drift_behind_the_band_had_arrived():
    # 0.2 K/s up to 1000, then 0.02 K/s through the upper edge: 250 s in the upper half of the band.
    course = trace((0, 900), (500, 1000), (2500, 1040))
    assert not passes_through(course, HOLD, Edges(475, 750, left_upward=True))
