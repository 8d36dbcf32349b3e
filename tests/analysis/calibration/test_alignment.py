"""Two logs with clocks of their own, brought together by their shape."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakwitness.analysis.calibration.measured_pairs.alignment import align_by_shape, on_first_clock
from soakwitness.analysis.errors import NotEnoughData

FloatArray = npt.NDArray[np.float64]


def course(t_s: FloatArray) -> FloatArray:
    return np.interp(t_s, [0, 2400, 4200, 6000, 8400, 16_000], [20, 780, 780, 1040, 1040, 200])


@given(
    shift=st.floats(-5000.0, 5000.0),
    period=st.sampled_from([1.0, 7.0, 30.0]),
    late=st.floats(0.0, 1500.0),
    seed=st.integers(0, 100),
)
@settings(max_examples=25, deadline=None)
def test_the_shift_is_found(shift: float, period: float, late: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    first_s = np.arange(0.0, 15_000.0, 5.0)
    true_s = np.arange(late, 14_000.0, period)  # begins later, ends earlier, other period, other error, own clock
    first = course(first_s) + rng.normal(0, 0.3, first_s.size)
    second = np.round(1.004 * course(true_s) + 2.0 + rng.normal(0, 0.3, true_s.size))
    found = align_by_shape(first_s, first, true_s - shift, second)
    assert found.shift_s == pytest.approx(shift, abs=max(5.0, period / 3.0))
    assert found.likeness > 0.95
    brought = on_first_clock(first_s, true_s - shift, second, found.shift_s)
    hold = (first_s > 6200) & (first_s < 8200)
    assert np.nanmean(brought[hold]) == pytest.approx(1.004 * 1040 + 2.0, abs=0.3)


def test_another_days_log_is_refused() -> None:
    t_s = np.arange(0.0, 15_000.0, 5.0)
    other = np.interp(t_s, [0, 9000, 9100, 15_000], [20, 500, 200, 180])
    with pytest.raises(NotEnoughData, match="do not show the same heating"):
        align_by_shape(t_s, course(t_s), t_s, other)


def test_two_places_that_fit_are_refused() -> None:
    t_s = np.arange(0.0, 20_000.0, 10.0)
    twice = np.interp(t_s % 10_000.0, [0, 2400, 4200, 8000, 10_000], [20, 780, 780, 20, 20])
    once = twice[:1000]
    with pytest.raises(NotEnoughData, match="fit at two places"):
        align_by_shape(t_s, twice, t_s[:1000], once)


def test_a_flat_or_short_log_is_refused() -> None:
    t_s = np.arange(0.0, 5000.0, 10.0)
    with pytest.raises(NotEnoughData, match="no rise or fall"):
        align_by_shape(t_s, course(t_s), t_s, np.full(t_s.size, 700.0))
    with pytest.raises(NotEnoughData, match="too short"):
        align_by_shape(t_s, course(t_s), t_s[:60], course(t_s[:60]))


def test_gaps_stay_gaps() -> None:
    second_s = np.array([0.0, 10.0, 20.0, 100.0, 110.0])
    values = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    got = on_first_clock(np.array([5.0, 50.0, 105.0, 200.0]), second_s, values, 0.0)
    assert got == pytest.approx([1.5, np.nan, 4.5, np.nan], nan_ok=True)
