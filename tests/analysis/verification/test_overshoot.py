"""Level part, overshoot and what gaps or coarse sampling hide of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.intervals import Allowed
from soakwitness.analysis.verification.measuring.overshoot import level_part, overshoot
from soakwitness.analysis.verification.rules.edges import Edges

HOLD = Hold(2, 1000.0, 5.0, 5.0, 600.0)
SURE = Allowed(0.0, 0.5, 0.25)
SLOPE = 50.0  # what still is level [K/h]


def trace(*points: tuple[float, float], every_s: float = 1.0) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + every_s / 2, every_s)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, every_s)


def test_the_level_part_ends_where_the_climb_begins():
    climbing = trace((0, 995), (10, 1000), (1000, 1000), (1100, 1050))
    level = level_part(climbing, HOLD, Edges(0, 1010, left_upward=True), 0.0, SLOPE)
    assert level.level_c == 1000
    assert level.end_s == 1000


def test_no_part_of_the_climb_is_overshoot_whatever_the_tolerance():
    wide = Hold(2, 1000.0, 5.0, 20.0, 600.0)
    climbing = trace((0, 995), (10, 1003), (1000, 1003), (1200, 1050))
    noisy = replace(climbing, temp_c=climbing.temp_c + np.random.default_rng(1).normal(0, 0.2, climbing.t_s.size))
    found = overshoot(noisy, wide, level_part(noisy, wide, Edges(0, 1072, left_upward=True), 0.2, SLOPE), SURE)
    assert found is not None
    # Level 3 above the target, held for 30 readings: the lowest of so many lies up to 3 sigma below it.
    assert 3 - 3 * 0.2 < found.overshoot_c < 4


def test_a_level_near_the_upper_edge_at_the_end_counts():
    # 10 min at the target, then 5 min at 1004, then the climb.
    stepped = trace((0, 995), (10, 1000), (600, 1000), (610, 1004), (910, 1004), (1010, 1054))
    found = overshoot(stepped, HOLD, level_part(stepped, HOLD, Edges(0, 912, left_upward=True), 0.05, SLOPE), SURE)
    assert found is not None
    assert found.overshoot_c == pytest.approx(4, abs=0.1)


def test_in_a_short_hold_the_way_in_and_out_is_not_its_level():
    # Up at 0.1 K/s, a minute at 1002, on at 0.1 K/s: 70 s of climbing, 60 s of hold, 30 s of climbing.
    short = trace((0, 995), (70, 1002), (130, 1002), (230, 1012))
    level = level_part(short, HOLD, Edges(0, 160, left_upward=True), 0.05, SLOPE)
    assert level.end_s == pytest.approx(130, abs=1)
    assert level.sure


def test_where_noise_hides_the_end_of_a_short_hold_the_upper_edge_may_have_been_its_level():
    # The same with a reading every 20 s and 3 K of noise: no half of it shows a stop.
    short = trace((0, 995), (70, 1002), (130, 1002), (230, 1012), every_s=20)
    level = level_part(short, HOLD, Edges(0, 160, left_upward=True), 3.0, SLOPE)
    found = overshoot(short, HOLD, level, Allowed(3.0, 0.5, 0.25))
    assert found is not None
    assert not level.sure
    assert found.most_c == 5


def test_reached_from_above_it_begins_where_the_level_is():
    falling = trace((0, 1005), (50, 1000), (1000, 1000), (1010, 995))
    level = level_part(falling, HOLD, Edges(0, 1010, from_above=True), 0.0, SLOPE)
    # The record begins on the way: what is within 15 % of the tolerance (0.75 K) of the level counts as level.
    assert level.start_s == pytest.approx(43)  # 1000.7 at 43 s
    falling = trace((-100, 1015), (50, 1000), (1000, 1000), (1010, 995))
    assert level_part(falling, HOLD, Edges(0, 1010, from_above=True), 0.0, SLOPE).start_s == 50


def test_peak_above_target_and_time_above_the_band():
    over = trace((0, 995), (15, 1010), (45, 1000), (1000, 1000))
    level = level_part(over, HOLD, Edges(0, 1000), 0.0, SLOPE)
    found = overshoot(over, HOLD, level, SURE)
    assert found is not None
    # Up at 1 K/s, down at 1/3 K/s: above L for 4 x (1010 - L) seconds, which are 30 at 1002.5, reached at 7.5 s.
    assert (found.overshoot_c, found.at_s) == (2.5, 7.5)
    # Up through 1005 at 10 s, down through it at 15 + 30/2 = 30 s.
    assert found.above_band_s == pytest.approx(20)
    assert not found.is_at_least


def test_a_gap_at_the_peak_makes_it_at_least():
    over = trace((0, 995), (15, 1010), (75, 1000), (1000, 1000))
    keep = (over.t_s <= 8) | (over.t_s >= 63)
    gap = Readings(over.t_s[keep], over.temp_c[keep], 0.1, 1.0)
    found = overshoot(gap, HOLD, level_part(gap, HOLD, Edges(0, 1000), 0.0, SLOPE), SURE)
    assert found is not None
    assert found.is_at_least
    # From 1003 at 8 s up at 0.5 K/s, 30 s level, from there down at 0.25 K/s to 1002 at 63 s: of the 55 s 25 are left
    # to climb and fall, which meet at (0.5 x 0.25 x 25 + 0.25 x 1003 + 0.5 x 1002) / 0.75.
    expected = (0.5 * 0.25 * 25 + 0.25 * 1003 + 0.5 * 1002) / 0.75 - 1000
    assert found.most_c == pytest.approx(expected)


def test_coarse_sampling_at_a_sharp_peak_makes_it_at_least():
    coarse = Readings(np.array([0, 60, 120, 180, 240.0]), np.array([990, 1000, 1012, 1000, 1000.0]), 0.1, 60.0)
    found = overshoot(coarse, HOLD, level_part(coarse, HOLD, Edges(30, 240), 0.0, SLOPE), SURE)
    assert found is not None
    assert found.is_at_least


def test_a_swinging_oven_has_its_mean_as_level():
    t_s = np.arange(0.0, 1801.0)
    skewed = Readings(t_s, np.where(t_s % 900 < 300, 1009.0, 994.0), 0.1, 1.0)
    by_mean = Hold(2, 1000.0, 5.0, 5.0, 600.0, judge_by="mean")
    # A third at 1009, two thirds at 994.
    assert level_part(skewed, by_mean, Edges(0, 1800), 0.0, SLOPE).level_c == pytest.approx(999, abs=0.05)
    assert level_part(skewed, HOLD, Edges(0, 1800), 0.0, SLOPE).level_c == 994


@pytest.mark.parametrize(
    ("level_s", "climb_s", "level_c"),
    [
        # Level for over half of the time: the median of all. It climbs by 72 K/h, and up to 50 are level.
        (600, 400, 1000.0),
        # For three tenths: the median where it stood level, though 1004 is the median of all and 1010 that of the end.
        (300, 700, 1000.0),
        # For a tenth, under a fifth: that of the last third, which goes from 1000 + 0.02 x (1000 x 2/3 - 100) to 1018.
        (100, 900, (1000 + 0.02 * (2000 / 3 - 100) + 1018) / 2),
    ],
)
def test_the_level_is_that_of_the_level_part_where_there_is_one(level_s: float, climb_s: float, level_c: float):
    wide = Hold(2, 1000.0, 5.0, 40.0, 600.0)
    course = trace((0, 1000), (level_s, 1000), (level_s + climb_s, 1000 + 0.02 * climb_s))
    found = level_part(course, wide, Edges(0, level_s + climb_s), 0.0, SLOPE)
    assert found.level_c == pytest.approx(level_c, abs=0.1)


def test_a_level_of_less_than_a_minute_is_none():
    wide = Hold(2, 1000.0, 5.0, 40.0, 600.0)
    # 50 s at 1000, then up at 0.2 K/s: the last third is from 1010 to 1020.
    short = trace((0, 1000), (50, 1000), (150, 1020))
    assert level_part(short, wide, Edges(0, 150), 0.0, SLOPE).level_c == pytest.approx(1015, abs=0.3)


def test_only_the_time_with_a_charge_inside_counts():
    over = trace((0, 995), (15, 1010), (45, 1010), (60, 1000), (1000, 1000))
    level = level_part(over, HOLD, Edges(0, 1000), 0.0, SLOPE)
    # 30 s at 1010; after 100 s it stands at the target, and until 40 s 25 s of 1010 and 5 K up at 1 K/s: from 10 s on.
    for between_s, held_c in (((0.0, 1000.0), 10.0), ((100.0, 1000.0), 0.0), ((0.0, 40.0), 5.0)):
        found = overshoot(over, HOLD, level, SURE, between_s)
        assert found is not None
        assert found.overshoot_c == pytest.approx(held_c, abs=0.05)
    assert overshoot(over, HOLD, level, SURE, (2000.0, 3000.0)) is None
    # Two readings are no three: the lower one counts.
    few = overshoot(over, HOLD, level, SURE, (20.0, 21.0))
    assert few is not None
    assert (few.overshoot_c, few.at_s) == (10.0, 20.0)


def test_a_gap_hides_only_what_it_is_long_enough_for():
    over = trace((0, 995), (5, 1000), (1000, 1000))
    for gap_s, hidden in ((29.0, False), (31.0, False), (60.0, True)):
        keep = (over.t_s <= 400) | (over.t_s >= 400 + gap_s)
        gap = Readings(over.t_s[keep], over.temp_c[keep], 0.1, 1.0)
        found = overshoot(gap, HOLD, level_part(gap, HOLD, Edges(0, 1000), 0.0, SLOPE), Allowed(0.5, 0.5, 0.25))
        assert found is not None
        # Of the gap what is over 30 s goes up at 0.5 K/s and down at 0.25 K/s: a sixth of a kelvin for each second.
        assert found.is_at_least is hidden
        if gap_s > 30.0:
            assert found.most_c == pytest.approx((gap_s - 30.0) / 6.0)


def test_a_peak_between_coarse_readings_shows_by_their_bend():
    def coarse(peak_c: float, noise_c: float, every_s: float = 60.0) -> bool:
        t_s = np.arange(0.0, 5 * every_s, every_s)
        readings = Readings(t_s, np.array([990.0, 1000.0, 1000.0 + peak_c, 1000.0, 1000.0]), 0.1, every_s)
        level = level_part(readings, HOLD, Edges(every_s / 2, 4 * every_s), 0.0, SLOPE)
        found = overshoot(readings, HOLD, level, Allowed(noise_c, 0.5, 0.25))
        assert found is not None
        return found.is_at_least

    # A quarter of the bend, 2 x peak / 4, over 1 K and over twice the noise; readings half a minute apart hide nothing.
    assert [coarse(2.2, 0.1), coarse(1.8, 0.1)] == [True, False]
    assert [coarse(4.0, 0.9), coarse(4.0, 1.1)] == [True, False]
    assert not coarse(12.0, 0.1, 30.0)


def test_the_foot_of_a_climb_with_ripple_is_where_a_line_through_it_comes_from_the_level():
    # On/off control: +-2 about the level and about the climb of 0.05 K/s, which begins at 1500 s.
    t_s = np.arange(0.0, 2400.0)
    course = 1000.0 + np.maximum(t_s - 1500.0, 0.0) * 0.05 + 2.0 * np.sin(2 * np.pi * t_s / 60.0)
    rippled = Readings(t_s, course, 0.1, 1.0)
    # Out of +-5 for good by 1600 s and some: the last crossing of 1005 before it is 10 K above the band.
    left_s = float(t_s[np.flatnonzero(course <= 1005.0)[-1]])
    level = level_part(rippled, HOLD, Edges(0, left_s, left_upward=True), 0.1, SLOPE)
    assert level.end_s == pytest.approx(1500.0, abs=15.0)
    assert level.level_c == pytest.approx(1000.0, abs=0.2)


def test_a_short_hold_s_last_stop_is_its_level():
    # 0.1 K/s up, 60 s at 1000, on at 0.1 K/s, twice: the second stop, at 1003, is the last one.
    twice = trace((0, 995), (50, 1000), (110, 1000), (140, 1003), (200, 1003), (300, 1013))
    level = level_part(twice, HOLD, Edges(0, 220, left_upward=True), 0.05, SLOPE)
    assert level.end_s == pytest.approx(200, abs=2)
