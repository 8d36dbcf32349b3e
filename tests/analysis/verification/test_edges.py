"""Edges of a hold on traces drawn by hand; expected times follow from the lines' equations."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.rules.edges import (
    confirmed_crossing,
    crossing_s,
    enter,
    inside_band,
    leave,
    leave_after,
    limit_c,
)
from soakwitness.analysis.verification.rules.states import BandStay

HOLD = Hold(2, 1000.0, 5.0, 5.0, 600.0)


def trace(*points: tuple[float, float], every_s: float = 1.0, step_c: float = 0.1) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + every_s / 2, every_s)
    return Readings(t_s, np.interp(t_s, at, level), step_c, every_s)


def test_crossing_is_interpolated():
    # From 990 at 10 s to 1000 at 20 s: 995 at 15 s.
    assert crossing_s(Readings(np.array([10.0, 20.0]), np.array([990.0, 1000.0]), 0.1, 10.0), 0, 995.0) == 15.0


def test_a_crossing_that_goes_back_by_more_than_a_degree_within_30_s_is_not_confirmed():
    back = trace((0, 990), (10, 996), (20, 993.5), (30, 1000), (200, 1000))
    # Up through 995 at 0 + 5/0.6 = 8.3 s, back 1.5 below the edge at 20 s, up again at 20 + 1.5/0.65 = 22.3 s.
    assert confirmed_crossing(back, 995.0, upward=True, start_s=0, end_s=200) == pytest.approx(20 + 1.5 / 0.65)


def test_a_crossing_that_goes_back_by_less_than_a_degree_is_confirmed():
    back = trace((0, 990), (10, 996), (20, 994.5), (30, 1000), (200, 1000))
    assert confirmed_crossing(back, 995.0, upward=True, start_s=0, end_s=200) == pytest.approx(5 / 0.6)


def test_a_coarse_instrument_may_go_back_by_its_step():
    back = Readings(
        np.arange(0.0, 100.0, 10.0), np.array([990, 996, 994, 1000, 1000, 1000, 1000, 1000, 1000, 1000.0]), 2.0, 10
    )
    # 1 below the edge is less than the step of 2: confirmed at 0 + 10 x 5/6.
    assert confirmed_crossing(back, 995.0, upward=True, start_s=0, end_s=100) == pytest.approx(50 / 6)


def test_two_further_readings_confirm_where_that_is_longer_than_30_s():
    slow = Readings(
        np.arange(0.0, 600.0, 60.0), np.array([900, 998, 998, 990, 999, 999, 999, 999, 999, 999.0]), 0.1, 60.0
    )
    # The third reading after the crossing is at 120 s, past 30 s but the second further one: 990 takes it back.
    assert confirmed_crossing(slow, 995.0, upward=True, start_s=0, end_s=600) == pytest.approx(180 + 60 * 5 / 9)


def test_the_last_crossing_stands_where_none_is_confirmed():
    chatter = trace((0, 990), (10, 996), (20, 990), (30, 996), (40, 990), (50, 996), (60, 990))
    assert confirmed_crossing(chatter, 995.0, upward=True, start_s=0, end_s=60) == pytest.approx(40 + 5 / 0.6)


def test_enter_from_below_and_from_above():
    up = trace((0, 20), (980, 1000), (3000, 1000))
    assert enter(up, HOLD, BandStay(1000, 2900), after_s=0, from_above=False) == (pytest.approx(975), True, False, 0.0)
    down = trace((0, 1100), (1000, 1000), (3000, 1000))
    found = enter(down, HOLD, BandStay(1100, 2900), after_s=0, from_above=True)
    assert found == (pytest.approx(950), True, True, 0.0)  # 1100 - 0.1 t = 1005


def test_a_record_that_begins_in_the_band_has_no_crossing():
    level = trace((50, 1000), (3000, 1000))
    assert enter(level, HOLD, BandStay(60, 2900), after_s=50, from_above=False) == (50.0, False, False, 50.0)


def test_an_undershoot_after_a_hotter_hold_is_still_reached_from_above():
    under = trace((0, 1100), (1060, 994), (1120, 1000), (3000, 1000))
    found = enter(under, HOLD, BandStay(1200, 2900), after_s=0, from_above=True)
    assert found is not None
    assert found[0] == pytest.approx(950)
    assert found[2]


def test_leave_downwards_is_the_first_crossing_not_taken_back_within_120_s():
    # A dip of 100 s at 1000 s is taken back; the one at 2000 s is not.
    course = trace(
        (0, 1000), (1000, 1000), (1010, 990), (1100, 990), (1110, 1000), (2000, 1000), (2100, 980), (3000, 700)
    )
    assert leave(course, HOLD, BandStay(0, 1990), enter_s=0, before_s=3000, climbs=False) == (
        pytest.approx(2025),
        True,
        False,
    )


def test_leave_upwards_before_a_climb_is_the_last_crossing_of_the_upper_edge():
    # An overshoot of 8 at the start is no leave; the climb from 2000 s at 0.5 K/s is: through 1005 at 2010 s.
    course = trace((0, 990), (18, 1008), (100, 1000), (2000, 1000), (2200, 1100))
    assert leave(course, HOLD, BandStay(100, 1990), enter_s=5, before_s=2200, climbs=True) == (
        pytest.approx(2010),
        True,
        True,
    )


def test_a_door_dip_in_the_climb_does_not_move_the_leave():
    course = trace((0, 1000), (2000, 1000), (2100, 1050), (2110, 1001), (2130, 1060), (2200, 1100))
    assert leave(course, HOLD, BandStay(0, 1990), enter_s=0, before_s=2200, climbs=True)[0] == pytest.approx(2010)


def test_a_record_that_ends_in_the_band_was_not_left():
    assert leave(trace((0, 1000), (900, 1000)), HOLD, BandStay(0, 890), enter_s=0, before_s=900, climbs=False) == (
        900,
        False,
        False,
    )


def test_a_last_hold_that_stands_above_its_band_is_left_when_it_cools():
    # In at 995, five minutes at 1007, then down at 0.5 K/s: through 995 at 405 + 12/0.5 = 434 s after the start.
    hot = trace((0, 990), (10, 995), (35, 1007), (410, 1007), (460, 982))
    stay = BandStay(10, 400)
    last = leave(hot, HOLD, stay, enter_s=10, before_s=460, climbs=False, hotter_follows=False)
    assert last[0] == pytest.approx(410 + 12 / 0.5)
    assert last[1:] == (True, False)
    # Where the recipe goes on to a hotter hold it was left upward: 1005 at 10 + 25 x 10/12 s.
    before = leave(hot, HOLD, stay, enter_s=10, before_s=460, climbs=False, hotter_follows=True)
    assert before[0] == pytest.approx(10 + 25 * 10 / 12)
    assert before[2]


def test_a_trace_that_ended_before_is_not_entered():
    short = trace((0, 20), (100, 500))
    assert enter(short, HOLD, BandStay(200, 300), after_s=150, from_above=False) is None


def test_a_dip_right_after_coming_from_above_is_a_dip_of_the_hold():
    # Down through 1005 at 95 s; a minute at 1000, 30 s at 950, and back.
    down = trace((0, 1100), (100, 1000), (160, 1000), (165, 950), (195, 950), (200, 1000), (600, 1000))
    found = enter(down, HOLD, BandStay(200, 600), after_s=0, from_above=True)
    assert found is not None
    assert found[0] == pytest.approx(95)
    assert found[2]
    # Ten minutes there are a new attempt from below.
    cold = trace((0, 1100), (100, 1000), (160, 1000), (165, 950), (765, 950), (770, 1000), (1200, 1000))
    found = enter(cold, HOLD, BandStay(770, 1200), after_s=0, from_above=True)
    assert found is not None
    assert found[0] == pytest.approx(769.5)


def test_a_third_further_reading_takes_no_crossing_back():
    # A reading a minute: in at 60 s, two further ones inside, and only the one after those is back by 5 K.
    slow = Readings(
        np.arange(0.0, 600.0, 60.0), np.array([900, 998, 998, 998, 990, 999, 999, 999, 999, 999.0]), 0.1, 60.0
    )
    assert confirmed_crossing(slow, 995.0, upward=True, start_s=0, end_s=600) == pytest.approx(60 * 95 / 98)


def test_an_oven_that_swings_is_in_at_its_first_crossing():
    back = trace((0, 990), (10, 996), (20, 990), (30, 1000), (200, 1000))
    assert confirmed_crossing(back, 995.0, upward=True, start_s=0, end_s=200, at_once=True) == pytest.approx(5 / 0.6)
    assert confirmed_crossing(back, 995.0, upward=True, start_s=0, end_s=200) == pytest.approx(25.0)
    assert confirmed_crossing(back, 1100.0, upward=True, start_s=0, end_s=200) is None


def test_readings_on_the_edges_are_in_the_band():
    step = Readings(np.arange(5.0), np.array([994.9, 995.0, 1000.0, 1005.0, 1005.1]), 0.1, 1.0)
    assert inside_band(step, HOLD, 0.0, 4.0) == [(1, 3)]
    assert inside_band(step, HOLD, 2.0, 4.0) == [(2, 3)]
    assert limit_c(HOLD) == 1005.0
    assert limit_c(Hold(2, 1000.0, 5.0, 5.0, 600.0, max_overshoot_c=8.0)) == 1008.0


# The chamber leaves at 1000 s; the load sensor is in since 100 s.
AFTER = (100.0, 1000.0)


@pytest.mark.parametrize(
    ("points", "climbs", "left"),
    [
        # Inside then: out at its first crossing of either edge, down at 0.1 K/s from 1100 s or up at 0.05 K/s.
        (((0, 990), (100, 1000), (1100, 1000), (1400, 970)), False, (1150.0, True, False)),
        (((0, 990), (100, 1000), (1100, 1000), (1400, 1015)), True, (1200.0, True, True)),
        # Below then: at its last fall before, in at 50 s and out from 600 s at 0.1 K/s.
        (((0, 990), (100, 1000), (600, 1000), (700, 990), (1400, 990)), False, (650.0, True, False)),
        # Above then, and the furnace goes on: at its last rise before; else when it comes down again.
        (((0, 990), (100, 1000), (600, 1000), (800, 1020), (1400, 1080)), True, (650.0, True, True)),
        (((0, 990), (100, 1000), (600, 1000), (800, 1020), (1100, 1020), (1400, 990)), False, (1350.0, True, False)),
        # Still inside at the end of its record.
        (((0, 990), (100, 1000), (1400, 1000)), False, (1400.0, False, False)),
    ],
)
def test_a_load_sensor_leaves_by_itself_after_the_chamber(
    points: tuple[tuple[float, float], ...], climbs: bool, left: tuple[float, bool, bool]
):
    found = leave_after(trace(*points), HOLD, *AFTER, climbs=climbs)
    assert found == (pytest.approx(left[0]), left[1], left[2])


def test_a_load_sensor_that_ended_before_the_chamber_left_was_not_seen_to_leave():
    ended = trace((0, 990), (100, 1000), (700, 1000))
    assert leave_after(ended, HOLD, *AFTER, climbs=False) == (700.0, False, False)


def test_a_leave_upward_without_a_hotter_hold_counts_once_the_time_is_met():
    # In from 5 to 2010 s, over the 600 s asked, then up to 1012 and there: left upward at 1005, at 2010 s.
    on = trace((0, 990), (10, 1000), (2000, 1000), (2024, 1012), (3000, 1012))
    found = leave(on, HOLD, BandStay(10, 1990), enter_s=5, before_s=3000, climbs=False, hotter_follows=False)
    assert found == (pytest.approx(2010.0), True, True)
    # Not met yet, it belongs to it up to a band's width above.
    asked = Hold(2, 1000.0, 5.0, 5.0, 3600.0)
    found = leave(on, asked, BandStay(10, 1990), enter_s=5, before_s=3000, climbs=False, hotter_follows=False)
    assert found == (3000.0, False, False)


def test_a_climb_that_fell_away_first_is_no_leave_upward():
    # A band's width below the band before the climb: left downward.
    fell = trace((0, 1000), (1000, 1000), (1040, 980), (1300, 980), (1400, 1100))
    assert leave(fell, HOLD, BandStay(0, 990), enter_s=0, before_s=1400, climbs=True)[2] is False
    near = trace((0, 1000), (1000, 1000), (1010, 990), (1050, 990), (1160, 1100))
    assert leave(near, HOLD, BandStay(0, 990), enter_s=0, before_s=1160, climbs=True) == (
        pytest.approx(1065.0),
        True,
        True,
    )
