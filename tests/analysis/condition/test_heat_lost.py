"""When a furnace began to cool for good though it was asked to heat, and how fast it climbed to its top."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.condition.climbing import climb_rates
from soakwitness.analysis.condition.heat_lost import heat_lost, last_top, without_doors
from soakwitness.analysis.record.run import FloatArray, Run, Trace
from tests.furnace_days import Blade, Day, Fitting, live, run_of

BLADES = tuple(Blade(f"B-{i}", pull_after_s=60.0 * i) for i in range(4))


def trace(t: FloatArray, temp: FloatArray) -> Trace:
    return Trace("control", "control", t, temp, 0.1, float(t[1] - t[0]))


def test_dips_of_pulling_are_filled_and_a_long_fall_is_not() -> None:
    t = np.arange(0.0, 4000.0, 10.0)
    temp = np.full(t.size, 1000.0)
    temp[100:110] -= 30.0  # a door, 100 s
    temp[200:260] -= 30.0  # ten minutes
    filled = without_doors(t, temp)
    assert filled[105] == 1000.0
    assert filled[230] == 970.0


def test_the_last_top_is_the_one_after_which_nothing_rises_again() -> None:
    temp = np.array([20.0, 900.0, 1000.0, 950.0, 980.0, 975.0, 700.0, 702.0, 500.0])
    assert last_top(temp, 8.0) == 4
    assert last_top(temp, 40.0) == 2  # 30 K up again are no rise of forty


def test_a_window_s_rate_is_that_of_its_first_rise() -> None:
    # 100 K in 240 s are 1500 K/h up to 500 degC, then 100 K in 600 s are 600 K/h
    t = np.arange(0.0, 4200.0, 10.0)
    temp = np.interp(t, [0.0, 960.0, 2760.0, 4200.0], [100.0, 500.0, 800.0, 300.0])
    rates = climb_rates(trace(t, temp))
    assert rates["300"] == pytest.approx(1500.0)
    assert rates["600"] == pytest.approx(600.0)
    assert "800" not in rates


@pytest.mark.parametrize(("signals", "asked"), [(True, True), (False, False)])
def test_a_circuit_that_trips_is_seen_and_an_ordinary_end_is_not(signals: bool, asked: bool) -> None:
    tripped = _lived(Day(seed=3, cut=(120.0, 50_000.0), blades=BLADES), signals)
    lost = heat_lost(*tripped)
    assert lost is not None
    assert (lost.output_pct is not None and lost.output_pct > 90.0) == asked
    assert lost.at_c == pytest.approx(1040.0, abs=20.0)
    plain = _lived(Day(seed=3, blades=BLADES), signals)
    if signals:
        assert heat_lost(*plain) is None


def test_a_cut_that_came_back_is_no_loss_for_good() -> None:
    back = _lived(Day(seed=3, cut=(120.0, 900.0), blades=BLADES), True)
    assert heat_lost(*back) is None


def _lived(day: Day, signals: bool) -> tuple[Run, Trace]:
    run = run_of(live(day), replace(Fitting(), signals=signals), "x")
    return run, run.traces[0]
