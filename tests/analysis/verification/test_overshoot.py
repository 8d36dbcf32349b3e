"""Level part, overshoot and what gaps or coarse sampling hide of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.edges import Edges
from soakwitness.analysis.verification.intervals import Allowed
from soakwitness.analysis.verification.overshoot import level_part, overshoot
from soakwitness.analysis.verification.readings import Readings

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
