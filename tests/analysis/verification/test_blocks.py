"""The block medians that the search goes by: their times, temperatures and slopes, from the lines' equations."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.verification.holds.assignment import MOST_POINTS, ArrayBlocks, block_medians
from tests.verification_runs import drawn

# Up at 0.5 K/s (1800 K/h) for 1000 s, level for 1000 s, down at 0.25 K/s (900 K/h) for 1000 s.
UP_AND_DOWN = [(0.0, 100.0), (1000.0, 600.0), (2000.0, 600.0), (3000.0, 350.0)]


def blocks(every_s: float = 1.0) -> ArrayBlocks:
    t_s, temp_c = drawn(UP_AND_DOWN, every_s=every_s)
    return block_medians(t_s, temp_c, every_s)


def at(found: ArrayBlocks, t_s: float) -> int:
    return int(np.argmin(np.abs(found.t_s - t_s)))


def test_a_block_is_ten_seconds_with_its_mean_time_and_median() -> None:
    found = blocks()
    assert found.block_s == 10.0
    # 0 to 9 s, 100 to 104.5 degC; the last reading, at 3000 s, has a block of its own.
    assert (found.t_s[0], found.temp_c[0]) == (4.5, pytest.approx(102.25))
    assert (found.t_s[-1], found.temp_c[-1]) == (3000.0, pytest.approx(350.0))
    assert found.t_s.size == 301
    # One wrong reading in a block does nothing.
    t_s, temp_c = drawn(UP_AND_DOWN)
    temp_c[1504] = 1300.0
    assert block_medians(t_s, temp_c, 1.0).temp_c[150] == 600.0


def test_readings_further_apart_are_their_own_blocks() -> None:
    found = blocks(30.0)
    assert found.block_s == 30.0
    assert np.array_equal(found.t_s, np.arange(0.0, 3001.0, 30.0))
    assert found.temp_c[10] == pytest.approx(250.0)


def test_a_day_of_readings_has_no_more_blocks_than_is_searched() -> None:
    t_s = np.arange(0.0, 86_400.0, 2.0)
    found = block_medians(t_s, np.full(t_s.size, 500.0), 2.0)
    assert found.block_s == pytest.approx(t_s[-1] / (MOST_POINTS - 1))
    assert found.t_s.size <= MOST_POINTS


def test_slopes_to_either_side_over_two_minutes() -> None:
    found = blocks()
    middle, corner, level, falling = (at(found, t) for t in (500.0, 1000.0, 1500.0, 2500.0))
    assert (found.left_c_per_h[middle], found.right_c_per_h[middle]) == (pytest.approx(1800.0), pytest.approx(1800.0))
    assert found.left_c_per_h[corner] == pytest.approx(1800.0, rel=0.05)
    assert found.right_c_per_h[corner] == pytest.approx(0.0, abs=50.0)
    assert (found.left_c_per_h[level], found.right_c_per_h[level]) == (0.0, 0.0)
    assert (found.left_c_per_h[falling], found.right_c_per_h[falling]) == (pytest.approx(-900.0), pytest.approx(-900.0))
    # At the ends the one side there is counts for both.
    assert found.left_c_per_h[0] == found.right_c_per_h[0] == pytest.approx(1800.0)
    assert found.right_c_per_h[-1] == found.left_c_per_h[-1] == pytest.approx(-900.0, rel=0.02)
    # 60 s after the corner half of the two minutes to the left are level: 30 K in 120 s.
    assert found.left_c_per_h[at(found, 1060.0)] == pytest.approx(900.0, rel=0.1)
    assert found.right_c_per_h[at(found, 940.0)] == pytest.approx(900.0, rel=0.1)


def test_the_flattest_the_slowest_and_the_stillest_slope() -> None:
    found = blocks()
    near = at(found, 940.0)
    # To the right 60 of 120 s climb (900 K/h), 60 of 300 s (360) and 60 of 600 s (180); to the left all (1800).
    assert found.flat_c_per_h[near] == pytest.approx(180.0, rel=0.1)
    assert found.still_c_per_h[near] == pytest.approx(180.0, rel=0.1)
    assert found.slow_c_per_h[near] == pytest.approx(1800.0, rel=0.01)
    # Over ten minutes to either side: level on the left, or nearly, and down on the right.
    late = at(found, 2100.0)
    assert found.slow_c_per_h[late] == pytest.approx(-0.25 * 100 / 600 * 3600, rel=0.1)
    assert found.still_c_per_h[late] == pytest.approx(0.25 * 100 / 600 * 3600, rel=0.1)
    # Two minutes to the left of 2100 s all but 20 s fall: what is flattest is over ten minutes.
    assert found.flat_c_per_h[late] == pytest.approx(150.0, rel=0.1)


def test_one_reading_has_no_slope() -> None:
    found = block_medians(np.array([0.0]), np.array([20.0]), 1.0)
    assert (found.left_c_per_h.tolist(), found.right_c_per_h.tolist()) == ([0.0], [0.0])


def test_a_hole_in_the_record_leaves_out_its_blocks() -> None:
    t_s, temp_c = drawn(UP_AND_DOWN)
    kept = (t_s < 1200) | (t_s >= 1700)
    found = block_medians(t_s[kept], temp_c[kept], 1.0)
    assert found.t_s.size == 301 - 50
    # The slope across it is taken to the next block there is.
    before = at(found, 1195.0)
    assert found.right_c_per_h[before] == 0.0
    assert found.t_s[before + 1] - found.t_s[before] == pytest.approx(510.0)
