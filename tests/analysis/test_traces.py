"""Cleaning, resolution and units: single impossible points go, whatever can be real stays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.record.traces import clean, period, resolution, rising, trace
from tests.reference_data import measured_run


def furnace(every_s: float = 1.0, noise_c: float = 0.2) -> tuple[np.ndarray, np.ndarray]:
    """20 to 1050 degC at 30 degC/min, a hold of half an hour, noise, 0.1 degC resolution."""
    t_s = np.arange(0.0, 3860.0, every_s)
    temp_c = np.minimum(20.0 + 0.5 * t_s, 1050.0) + np.random.default_rng(1).normal(0, noise_c, t_s.size)
    return t_s, np.round(temp_c, 1)


@pytest.mark.parametrize("every_s", [0.1, 1.0, 5.0, 60.0])
@pytest.mark.parametrize("wild_c", [0.0, 1372.0, -200.0, 1200.0, 3276.7, -9999.0])
def test_single_wild_points_are_dropped_and_counted(every_s: float, wild_c: float) -> None:
    t_s, temp_c = furnace(every_s)
    places = [int(p * t_s.size) for p in (0.75, 0.85, 0.95)]
    temp_c[places] = wild_c
    cleaned, dropped = clean(t_s, temp_c, role="control", resolution_c=0.1)
    assert dropped == 3
    assert list(np.flatnonzero(np.isnan(cleaned))) == places


@pytest.mark.parametrize("every_s", [0.1, 1.0, 5.0, 60.0])
@pytest.mark.parametrize("noise_c", [0.0, 0.4, 1.0])
def test_nothing_is_dropped_from_noise(every_s: float, noise_c: float) -> None:
    t_s, temp_c = furnace(every_s, noise_c)
    cleaned, dropped = clean(t_s, temp_c, role="control", resolution_c=0.1)
    assert dropped == 0
    assert cleaned is temp_c


@pytest.mark.parametrize("every_s", [0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0])
def test_a_door_dip_stays(every_s: float) -> None:
    """20 s of open door take the control sensor down by 55 degC, as on the simulated furnace; then it returns."""
    t_s, temp_c = furnace(every_s)
    since = t_s - 3000.0
    dip = np.where(
        (since >= 0) & (since < 20), 2.75 * since, np.where(since >= 20, 55.0 * np.exp(-(since - 20) / 60), 0)
    )
    _, dropped = clean(t_s, temp_c - dip, role="control", resolution_c=0.1)
    assert dropped == 0


@pytest.mark.parametrize("every_s", [0.5, 1.0, 5.0, 60.0])
def test_a_quench_stays(every_s: float) -> None:
    t_s, temp_c = furnace(every_s)
    since = np.maximum(t_s - 3500.0, 0.0)
    temp_c = 25.0 + (temp_c - 25.0) * np.exp(-since / 8.0)
    _, dropped = clean(t_s, temp_c, role="load", resolution_c=0.1)
    assert dropped == 0


def test_two_equal_odd_points_are_a_run_and_stay() -> None:
    t_s, temp_c = furnace()
    temp_c[3000:3002] = 400.0
    cleaned, dropped = clean(t_s, temp_c, role="control", resolution_c=0.1)
    assert dropped == 0
    assert list(cleaned[3000:3002]) == [400.0, 400.0]


def test_every_second_point_wild_takes_the_wild_ones() -> None:
    t_s, temp_c = furnace()
    temp_c[[3000, 3002]] = 0.0
    cleaned, dropped = clean(t_s, temp_c, role="control", resolution_c=0.1)
    assert dropped == 2
    assert list(np.flatnonzero(np.isnan(cleaned))) == [3000, 3002]


def test_a_wild_point_beside_missing_ones() -> None:
    t_s, temp_c = furnace()
    temp_c[3000:3005] = np.nan
    temp_c[3005] = 1300.0
    temp_c[3006] = np.nan
    cleaned, dropped = clean(t_s, temp_c, role="control", resolution_c=0.1)
    assert dropped == 1
    assert np.isnan(cleaned[3005])


def test_short_and_empty_traces() -> None:
    for size in range(5):
        t_s, temp_c = np.arange(float(size)), np.full(size, 20.0)
        assert clean(t_s, temp_c, role="control")[1] == 0
    assert clean(np.arange(9.0), np.full(9, np.nan), role="control")[1] == 0


@pytest.mark.parametrize("number", [1, 4, 24])
def test_measured_runs_keep_every_plausible_reading(number: int) -> None:
    t_s, temp_c = measured_run(number)
    _, dropped = clean(t_s, temp_c, role="control", resolution_c=0.1)
    assert dropped == 0
    assert resolution(temp_c) == 0.1


@given(shift_s=st.floats(-1e6, 1e6), shift_c=st.floats(-50.0, 50.0))
def test_shifting_time_or_temperature_changes_nothing(shift_s: float, shift_c: float) -> None:
    t_s, temp_c = furnace(5.0)
    temp_c[[100, 500]] = 1300.0
    here = clean(t_s, temp_c, role="control")[1]
    assert here == clean(t_s + shift_s, temp_c + shift_c, role="control")[1] == 2


@pytest.mark.parametrize("step", [10.0, 5.0, 1.0, 0.5, 0.25, 0.1, 0.0625, 0.05, 0.01])
def test_resolution_of_rounded_readings(step: float) -> None:
    temp_c = np.random.default_rng(2).uniform(20.0, 1050.0, 2000)
    assert resolution(np.round(temp_c / step) * step) == step


def test_resolution_without_much_to_go_by() -> None:
    assert resolution(np.full(500, 780.0)) == 1.0
    assert resolution(np.full(500, np.nan)) == 0.001
    assert resolution(np.random.default_rng(0).uniform(0, 1000, 500)) == 0.001


def test_time_that_does_not_rise() -> None:
    assert rising(np.array([1.0, 2.0, 3.0])) is None
    kept = rising(np.array([1.0, 2.0, 2.0, 1.5, np.nan, 3.0]))
    assert kept is not None
    assert list(kept) == [True, True, False, False, False, True]


def test_period_is_the_median() -> None:
    assert period(np.array([0.0, 1.0, 2.0, 3.0, 90.0])) == 1.0
    assert period(np.array([5.0])) == 1.0


def test_trace_counts() -> None:
    t_s, temp_c = furnace()
    temp_c[3000] = -9999.0
    made = trace("front", "load", t_s, temp_c, resolution_c=0.1, period_s=1.0)
    assert (made.name, made.role, made.dropped_points, made.resolution_c) == ("front", "load", 1, 0.1)
    assert np.isnan(made.temp_c[3000])
