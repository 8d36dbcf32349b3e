"""Level part, overshoot and what gaps or coarse sampling hide of it."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.edges import Edges, Readings
from soakwitness.analysis.verification.intervals import Allowed
from soakwitness.analysis.verification.overshoot import level_part, overshoot

HOLD = Hold(2, 1000.0, 5.0, 5.0, 600.0)
SURE = Allowed(0.0, 0.5, 0.25)


def trace(*points: tuple[float, float], every_s: float = 1.0) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + every_s / 2, every_s)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, every_s)


def test_the_level_part_ends_where_the_climb_begins():
    climbing = trace((0, 995), (10, 1000), (1000, 1000), (1100, 1050))
    level = level_part(climbing, HOLD, Edges(0, 1010, left_upward=True), 0.0)
    assert level.level_c == 1000
    # Within 15 % of the tolerance (0.75 K) of the level until 1.5 s into the climb.
    assert level.end_s == pytest.approx(1001)


def test_reached_from_above_it_begins_where_the_level_is():
    falling = trace((0, 1005), (50, 1000), (1000, 1000), (1010, 995))
    level = level_part(falling, HOLD, Edges(0, 1010, from_above=True), 0.0)
    assert level.start_s == pytest.approx(43)  # 1000.7 at 43 s


def test_peak_above_target_and_time_above_the_band():
    over = trace((0, 995), (15, 1010), (45, 1000), (1000, 1000))
    level = level_part(over, HOLD, Edges(0, 1000), 0.0)
    found = overshoot(over, HOLD, level, SURE)
    assert found is not None
    assert (found.overshoot_c, found.at_s) == (10, 15)
    # Up through 1005 at 10 s, down through it at 15 + 30/2 = 30 s.
    assert found.above_band_s == pytest.approx(20)
    assert not found.is_at_least


def test_a_gap_at_the_peak_makes_it_at_least():
    over = trace((0, 995), (15, 1010), (45, 1000), (1000, 1000))
    keep = (over.t_s <= 8) | (over.t_s >= 32)
    gap = Readings(over.t_s[keep], over.temp_c[keep], 0.1, 1.0)
    found = overshoot(gap, HOLD, level_part(gap, HOLD, Edges(0, 1000), 0.0), SURE)
    assert found is not None
    assert found.is_at_least
    # From 1003 at 8 s up at 0.5 K/s, from 1004.33 at 32 s back up at 0.25 K/s:
    # they meet at (0.5 x 0.25 x 24 + 0.25 x 1003 + 0.5 x 1004.33) / 0.75.
    expected = (0.5 * 0.25 * 24 + 0.25 * 1003 + 0.5 * (1010 - 10 * 17 / 30)) / 0.75 - 1000
    assert found.most_c == pytest.approx(expected)


def test_coarse_sampling_at_a_sharp_peak_makes_it_at_least():
    coarse = Readings(np.array([0, 60, 120, 180, 240.0]), np.array([990, 1000, 1012, 1000, 1000.0]), 0.1, 60.0)
    found = overshoot(coarse, HOLD, level_part(coarse, HOLD, Edges(30, 240), 0.0), SURE)
    assert found is not None
    assert found.is_at_least


def test_a_swinging_oven_has_its_mean_as_level():
    t_s = np.arange(0.0, 1801.0)
    skewed = Readings(t_s, np.where(t_s % 900 < 300, 1009.0, 994.0), 0.1, 1.0)
    by_mean = Hold(2, 1000.0, 5.0, 5.0, 600.0, judge_by="mean")
    # A third at 1009, two thirds at 994.
    assert level_part(skewed, by_mean, Edges(0, 1800), 0.0).level_c == pytest.approx(999, abs=0.05)
    assert level_part(skewed, HOLD, Edges(0, 1800), 0.0).level_c == 994
