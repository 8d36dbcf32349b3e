"""Published examples: NIST/SEMATECH e-Handbook of Statistical Methods, as CHECKS.md section 6 quotes them."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.condition.control_charts import (
    cusum,
    ewma,
    individuals,
    mean_moving_range,
    spread,
)
from soakwitness.analysis.errors import NotEnoughData

# NIST/SEMATECH e-Handbook 6.3.2.4 (P)
EWMA_DATA = "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
EWMA_PRINTED = (
    "50.00 50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 "
    "51.94 51.99"
)
# NIST/SEMATECH e-Handbook 6.3.2.2 (limits P)
INDIVIDUALS_DATA = "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
# NIST/SEMATECH e-Handbook 6.3.2.3 (data M: from memory; the alarm at 14 and S_hi there beside it)
CUSUM_DATA = (
    "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 324.625 325.150 328.325 327.250 "
    "327.825 328.500 326.675 327.775 326.875 328.350"
)


def numbers(text: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([float(word) for word in text.split()])


def test_ewma_gives_the_handbook_s_averages_and_limits() -> None:
    chart = ewma(numbers(EWMA_DATA), target=50.0, sigma=2.0539, weight=0.3)
    printed = numbers(EWMA_PRINTED)
    assert printed[0] == chart.target
    np.testing.assert_allclose(chart.smoothed, printed[1:], atol=0.0051)  # printed to two digits
    assert chart.upper == pytest.approx(52.5884, abs=5e-5)
    assert chart.lower == pytest.approx(47.4115, abs=1.1e-4)  # 2 x 50 - 52.5884 = 47.4116
    assert not chart.out.any()


def test_individuals_give_the_handbook_s_limits() -> None:
    chart = individuals(numbers(INDIVIDUALS_DATA))
    assert chart.mean == pytest.approx(50.81, abs=5e-3)
    assert chart.moving_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.upper == pytest.approx(55.8041, abs=1e-4)
    assert chart.lower == pytest.approx(45.8159, abs=1e-4)
    assert not chart.out.any()


def test_cusum_gives_the_handbook_s_alarm() -> None:
    chart = cusum(numbers(CUSUM_DATA), target=325.0, allowance=0.3175, limit=4.1959)
    assert chart.alarms[0] == 13  # the 14th value, counted from 0
    assert chart.high[13] == pytest.approx(4.940, abs=5e-4)
    assert chart.since == 12  # the 13th value jumps to 328.3: read off the data


@pytest.mark.parametrize(
    ("limit", "shift", "expected", "repeats"),
    # average run lengths of a two-sided CUSUM with k = 0.5 (CHECKS.md section 6, C)
    [(4.0, 0.0, 167.7, 1500), (4.0, 1.0, 8.383, 4000), (5.0, 0.0, 465.4, 800), (5.0, 1.0, 10.38, 4000)],
)
def test_cusum_runs_as_long_as_it_should(limit: float, shift: float, expected: float, repeats: int) -> None:
    rng = np.random.default_rng(20261125)
    lengths = []
    for _ in range(repeats):
        run, values = 0, np.empty(0)
        block = 64 if shift else 512
        while True:
            values = np.concatenate([values, rng.normal(shift, 1.0, block)])
            alarms = cusum(values, target=0.0, allowance=0.5, limit=limit).alarms
            if alarms:
                run = alarms[0] + 1
                break
        lengths.append(run)
    error = np.std(lengths, ddof=1) / np.sqrt(repeats)
    assert abs(np.mean(lengths) - expected) < 3 * error


def test_limits_do_not_close_over_readings_that_never_move() -> None:
    chart = individuals(np.array([5.0] * 10 + [5.1]), base=10, least_spread=0.1)
    assert (chart.lower, chart.upper) == pytest.approx((4.7, 5.3))
    assert not chart.out.any()


def test_a_slow_drift_hardly_widens_the_spread() -> None:
    rng = np.random.default_rng(3)
    noise = rng.normal(0.0, 1.0, 4000)
    drift = np.linspace(0.0, 40.0, 4000)
    assert spread(noise + drift) == pytest.approx(1.0, rel=0.05)
    assert np.std(noise + drift) > 5.0


def test_one_value_has_no_moving_range() -> None:
    with pytest.raises(NotEnoughData, match="needs two"):
        mean_moving_range(np.array([1.0]))
