"""Stable stretches: found where they are, and not where the furnace moved."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakwitness.analysis.calibration.measured_pairs.stretches import (
    StretchLimits,
    runs_of,
    stable_stretches,
    steadiness,
)

FloatArray = npt.NDArray[np.float64]
RNG = np.random.default_rng(5)


def two_holds() -> tuple[FloatArray, FloatArray]:
    """Ramp, 30 min at 600 from 3000 s, ramp, 40 min at 1000 from 7200 s, cooling."""
    t_s = np.arange(0.0, 12_000.0, 5.0)
    temp = np.interp(t_s, [0, 3000, 4800, 7200, 9600, 12_000], [20, 600, 600, 1000, 1000, 500])
    return t_s, temp


def test_both_holds_and_nothing_else() -> None:
    t_s, temp = two_holds()
    noise = RNG.normal(0, 0.1, (2, t_s.size))
    found = stable_stretches(t_s, temp + noise[0], temp + 2.0 + noise[1])
    assert [round(s.reference_c) for s in found] == [600, 1000]
    for stretch, (start, end) in zip(found, [(3000, 4800), (7200, 9600)], strict=True):
        assert start <= stretch.start_s < start + 120  # up to a minute of lag of the window is lost
        assert end - 240 < stretch.end_s <= end
        assert stretch.sensor_c - stretch.reference_c == pytest.approx(2.0, abs=0.05)
        assert abs(stretch.drift_c_per_h) < 1.0


@pytest.mark.parametrize(
    ("spoil", "left"),
    [
        ("creep", [600]),  # 20 degC/h over the second hold
        ("dip", [600, 1000]),  # a door dip ends a stretch; what is before it is long enough
        ("gap", [600, 1000]),  # a hole of five minutes
        ("short", [1000]),  # the first hold cut to 9 min
        ("sensor wanders", [600]),  # the sensor alone drifts in the second hold
    ],
)
def test_what_spoils_a_hold(spoil: str, left: list[int]) -> None:
    t_s, temp = two_holds()
    second = (t_s >= 7200) & (t_s <= 9600)
    sensor = temp + 1.0
    if spoil == "creep":
        temp = temp + np.where(t_s >= 7200, 20.0 / 3600.0 * (np.minimum(t_s, 9600) - 7200), 0.0)
        sensor = temp + 1.0
    elif spoil == "dip":
        dip = np.where(t_s > 8400, -50.0 * np.exp(-(t_s - 8400) / 120.0), 0.0)
        temp, sensor = temp + dip, sensor + dip
    elif spoil == "gap":
        temp = np.where((t_s > 8000) & (t_s < 8300), np.nan, temp)
    elif spoil == "short":
        temp = np.where((t_s > 3540) & (t_s < 4800), temp - 0.05 * (t_s - 3540), temp)
        sensor = temp + 1.0
    else:
        sensor = sensor + np.where(second, 8.0 / 3600.0 * (t_s - 7200), 0.0)
    found = stable_stretches(t_s, temp, sensor)
    assert sorted({round(s.reference_c) for s in found}) == left
    for stretch in found:
        inside = (t_s >= stretch.start_s) & (t_s <= stretch.end_s)
        assert np.nanmax(temp[inside]) - np.nanmin(temp[inside]) < 2.5
        assert np.isfinite(temp[inside]).all()


def test_below_the_lowest_temperature_nothing_counts() -> None:
    t_s = np.arange(0.0, 3600.0, 10.0)
    flat = np.full(t_s.size, 22.0)
    assert stable_stretches(t_s, flat, flat) == ()
    assert len(stable_stretches(t_s, flat, flat, StretchLimits(lowest_c=0.0))) == 1


def test_a_long_creep_gives_its_last_part() -> None:
    t_s = np.arange(0.0, 7200.0, 10.0)
    temp = 800.0 + 3.0 * t_s / 3600.0  # 6 K in two hours: each window passes, the whole does not
    (stretch,) = stable_stretches(t_s, temp, temp)
    assert stretch.spread_c <= 1.5
    assert stretch.end_s == pytest.approx(7200 - 120, abs=15)


@given(cut=st.integers(0, 2399))
@settings(max_examples=25, deadline=None)
def test_readings_to_come_never_make_an_earlier_window_unstable(cut: int) -> None:
    t_s, temp = two_holds()
    whole = steadiness(t_s, temp, temp, StretchLimits())
    part = steadiness(t_s[:cut], temp[:cut], temp[:cut], StretchLimits())
    if part.t_s.size:
        same = part.t_s.size - 1  # the last cell may be half full
        assert (part.stable[:same] == whole.stable[:same]).all()


def test_runs_of_true() -> None:
    assert runs_of(np.array([True, False, True, True])) == [(0, 0), (2, 3)]
    assert runs_of(np.array([], dtype=bool)) == []


def test_a_coarse_sensor_does_not_excuse_a_swinging_reference() -> None:
    # the reference swings by 2.2 K in steps of 0.1 (2 minutes); the sensor, in steps of 1 degC, shows nothing of it
    t_s = np.arange(0.0, 3600.0, 5.0)
    reference = 780.0 + np.round(1.1 * np.sin(2 * np.pi * t_s / 120.0), 1)
    (stretch,) = stable_stretches(t_s, reference, np.full(t_s.size, 783.0), resolutions_c=(0.1, 1.0))
    assert stretch.swing_s == pytest.approx(120.0, abs=10.0)  # not still, but whole swings
    assert len(stable_stretches(t_s, reference, np.full(t_s.size, 783.0), resolutions_c=(1.0, 1.0))) == 1
