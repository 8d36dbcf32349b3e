"""Changes of level that were put into series by hand, beside known conditions that move them as well."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.condition.shifts import KnownColumns, LevelCourse, shift_of

SCATTER = 0.02


def noise(count: int, seed: int = 1) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.random.default_rng(seed).normal(0.0, SCATTER, count)


def found(values: np.ndarray[tuple[int], np.dtype[np.float64]], **more: int) -> LevelCourse:
    known = KnownColumns(np.ones((values.size, 1)), np.array([0.5]))
    return shift_of(values, known, usual_scatter=SCATTER, **more)


def test_a_step_is_found_with_its_size_its_run_and_its_way() -> None:
    values = noise(40)
    values[25:] -= 0.15
    shift = found(values)
    assert shift.main is not None
    assert (shift.main.begins, shift.main.way) == (25, "at once")
    # mean of 15 less mean of 25 values: standard error 0.02 x sqrt(1/15 + 1/25) = 0.0065
    assert shift.change == pytest.approx(-0.15, abs=3 * 0.0065)
    assert shift.gain == pytest.approx((0.15 / 0.0065) ** 2, rel=0.35)


def test_a_slow_change_is_found_as_slow() -> None:
    values = noise(46)
    values[20:] -= 0.006 * np.arange(1, 27)
    shift = found(values)
    assert shift.main is not None
    assert shift.main.way == "slowly"
    assert shift.change == pytest.approx(-0.156, abs=0.03)  # 26 runs of 0.006


def test_one_odd_run_is_no_change() -> None:
    values = noise(30)
    values[29] -= 0.4
    assert abs(found(values).change) < 0.05


def test_one_odd_run_near_the_first_that_a_known_condition_half_explains_is_no_change() -> None:
    """Seven runs alike, the second one off: with a heavy charge entered for it that was none, say."""
    values = np.zeros(8)
    values[1] = 0.38
    heavy = np.zeros(8)
    heavy[1] = 6.67
    known = KnownColumns(np.column_stack([heavy, np.ones(8)]), np.array([0.12, 0.5]))
    assert abs(shift_of(values, known, usual_scatter=SCATTER).change) < SCATTER


def test_what_is_known_is_not_taken_for_a_change() -> None:
    season = np.where(np.arange(40) < 20, -1.0, 1.0)
    values = noise(40) + 0.1 * season
    known = KnownColumns(np.column_stack([season, np.ones(40)]), np.array([0.3, 0.5]))
    assert shift_of(values, known, usual_scatter=SCATTER).gain < 18.0
    tight = KnownColumns(np.column_stack([season, np.ones(40)]), np.array([0.002, 0.5]))
    assert shift_of(values, tight, usual_scatter=SCATTER).gain > 100.0


def test_a_rise_and_a_fall_are_two_pieces_and_the_fall_is_the_main_one() -> None:
    values = noise(46)
    values[15:31] += 0.1
    values[31:] -= 0.12
    shift = found(values)
    assert shift.main is not None
    assert shift.main.begins == 31
    assert shift.change == pytest.approx(-0.12, abs=0.03)


def test_changes_are_looked_for_after_the_last_repair_only() -> None:
    values = noise(40)
    values[:20] -= 0.3
    at = np.arange(40)
    known = KnownColumns(np.column_stack([(at >= 20).astype(float), np.ones(40)]), np.array([0.5, 0.5]), 2)
    shift = shift_of(values, known, usual_scatter=SCATTER, fresh=20)
    assert shift.gain < 18.0
    assert shift.flat[-1] - shift.flat[0] == pytest.approx(0.3, abs=0.03)


def test_growing_scatter_is_restless_and_a_steady_decline_is_not() -> None:
    rng = np.random.default_rng(2)
    values = noise(48)
    values[24:] += rng.uniform(-0.14, 0.14, 24)
    assert found(values).restless > 1.9
    assert found(values).restless_gain > 5.0
    decline = noise(48) - 0.012 / 3.8 * np.arange(48)  # 1.2 % a month
    assert found(decline).restless_gain < 5.0
    step = noise(48)
    step[24:] -= 0.2
    assert found(step).restless_gain < 5.0
