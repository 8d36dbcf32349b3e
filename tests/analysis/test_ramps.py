"""Ramp rates against measured runs, straight ramps and ramps with known curvature."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.record.ramp_rates import ramp_rate, theil_sen, window_rates
from tests.reference_data import measured_run


@pytest.mark.parametrize(
    ("number", "plateau_c", "rise_s", "slope_c_per_s"),
    [(1, 484.0, 100.2, 5.329), (4, 306.0, 57.7, 5.469), (24, 472.0, 88.4, 5.657)],
)
def test_measured_runs(number: int, plateau_c: float, rise_s: float, slope_c_per_s: float) -> None:
    """CHECKS.md section 7: rise through S - 5 and slope over 10 to 90 %; power comes on at 0 s."""
    t_s, temp_c = measured_run(number)
    rate = ramp_rate(t_s, temp_c, start_s=0.0, end_s=rise_s)
    assert rate is not None
    assert rate.rate_c_per_h / 3600 == pytest.approx(slope_c_per_s, rel=0.005)
    assert rate.curved  # the first seconds after power on are slow
    assert plateau_c - 12 < rate.end_c < plateau_c - 4


@given(
    slope=st.floats(0.01, 10.0),
    down=st.booleans(),
    start_c=st.floats(-50.0, 900.0),
    every_s=st.floats(0.1, 60.0),
    count=st.integers(20, 3000),
)
def test_straight_ramps_give_their_rate_back(
    slope: float, down: bool, start_c: float, every_s: float, count: int
) -> None:
    t_s = 17.0 + every_s * np.arange(count)
    slope = -slope if down else slope
    rate = ramp_rate(t_s, start_c + slope * t_s, start_s=-1.0, end_s=1e9)
    assert rate is not None
    assert rate.rate_c_per_h == pytest.approx(3600 * slope, rel=1e-6)
    assert rate.end_to_end_rate_c_per_h == pytest.approx(3600 * slope, rel=1e-6)
    assert not rate.curved


def test_odd_readings_and_gaps_do_not_move_the_rate() -> None:
    t_s = np.arange(0.0, 3600.0, 5.0)
    temp_c = 20.0 + t_s / 6.0
    temp_c[100:130] = np.nan
    temp_c[300:320] -= 40.0  # a door dip
    rate = ramp_rate(t_s, temp_c, start_s=0.0, end_s=3600.0)
    assert rate is not None
    assert rate.rate_c_per_h == pytest.approx(600.0, rel=0.01)


def test_a_slowing_ramp_is_called_curved() -> None:
    # First-order approach T = 1000 (1 - exp(-t/1000 s)) for 2000 s: end to end 1000 (1 - exp(-2))/2000 s = 1556.4/h;
    # the slope is 3288/h at 10 % and 798/h at 90 % of the way, and a median of pairs lies between.
    t_s = np.arange(0.0, 2001.0, 2.0)
    rate = ramp_rate(t_s, 1000 * (1 - np.exp(-t_s / 1000)), start_s=0.0, end_s=2000.0)
    assert rate is not None
    assert rate.end_to_end_rate_c_per_h == pytest.approx(1556.4, rel=1e-3)
    assert 798 < rate.rate_c_per_h < 3288
    assert rate.curved


@pytest.mark.parametrize(("t", "temp"), [([], []), ([1.0, 2.0], [20.0, 30.0]), ([1.0, 2.0, 3.0], [20.0, 30.0, 20.0])])
def test_nothing_to_measure(t: list[float], temp: list[float]) -> None:
    assert ramp_rate(np.array(t), np.array(temp), start_s=0.0, end_s=9.0) is None


def test_theil_sen_withstands_a_quarter_of_wild_points() -> None:
    x = np.arange(40.0)
    y = 3.0 * x + 1.0
    y[5:15] = 1e6
    assert theil_sen(x, y) == pytest.approx(3.0, abs=0.5)


def test_window_rates_of_two_slopes() -> None:
    # 1 degC/s to 500, then 0.25: by construction.
    t_s = np.arange(0.0, 1600.0, 1.0)
    temp_c = np.where(t_s < 480, 20.0 + t_s, 500.0 + (t_s - 480) * 0.25)
    windows = window_rates(t_s, temp_c, start_s=0.0, end_s=1600.0)
    assert [(w.low_c, w.high_c) for w in windows] == [
        (100, 200), (200, 300), (300, 400), (400, 500), (500, 600), (600, 700)
    ]  # fmt: skip
    assert [w.rate_c_per_h for w in windows] == pytest.approx([3600] * 4 + [900] * 2, rel=1e-6)
    assert (windows[0].start_s, windows[0].end_s) == pytest.approx((80.0, 180.0))


def test_window_rates_need_a_whole_window() -> None:
    t_s = np.arange(0.0, 60.0)
    assert window_rates(t_s, 120.0 + t_s, start_s=0.0, end_s=60.0) == ()
