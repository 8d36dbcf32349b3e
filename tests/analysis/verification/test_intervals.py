"""What readings show between them: chords, gaps, noise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakwitness.analysis.verification.inputs.readings import Readings, gaps, noise
from soakwitness.analysis.verification.inputs.uncertain_gaps import UncertainGap
from soakwitness.analysis.verification.measuring.intervals import Allowed, inside

SURE = Allowed(noise_c=0.0, heating_c_per_s=0.5, cooling_c_per_s=0.25)


def seconds(trace: Readings, lower: float, upper: float, mode: str, allowed: Allowed = SURE) -> float:
    found = inside(trace, lower, upper, start_s=trace.t_s[0], end_s=trace.t_s[-1], mode=mode, allowed=allowed)  # type: ignore[arg-type]
    return found.total_s


def test_low_counts_whole_intervals_best_the_chord_high_what_touches():
    # Through 995 at 15 s, 30 s on level, through 995 again at 55 s.
    trace = Readings(np.array([0, 10, 20, 50, 60, 70.0]), np.array([980, 990, 1000, 1000, 990, 980.0]), 0.1, 10.0)
    assert seconds(trace, 995, np.inf, "low") == 30
    assert seconds(trace, 995, np.inf, "best") == 40
    assert seconds(trace, 995, np.inf, "high") == 50


def test_noise_shifts_both_edges():
    trace = Readings(np.array([0, 10, 20, 30, 40.0]), np.array([980, 994.6, 995.4, 994.6, 980]), 0.1, 10.0)
    rough = Allowed(0.5, 0.5, 0.25)
    assert seconds(trace, 995, np.inf, "low", rough) == 0
    assert seconds(trace, 995, np.inf, "high", rough) == 40
    assert seconds(trace, 995, np.inf, "best", rough) == pytest.approx(10)


def test_the_corner_of_a_ramp_is_no_noise():
    # A reading a minute, up at 10 K/min, eight minutes level, quenched: the corners bend by tens of kelvin.
    temp_c = np.array([940, 950, 960, 970, 980, 990, *[1000.0] * 8, 400, 100, 60, 50])
    trace = Readings(np.arange(temp_c.size) * 60.0, temp_c, 0.1, 60.0)
    assert noise(trace, 300, 840) > 50
    assert noise(trace, 300, 840, (970, 1030)) == pytest.approx(0.05 + 0.5 * 0.9 * 5, abs=2.3)
    # Fewer than three such readings tell nothing: all of them count.
    assert noise(trace, 300, 840, (1, 2)) == noise(trace, 300, 840)


def test_a_chord_through_the_whole_band_counts_its_part_inside():
    # 900 to 1100 in 20 s: 990 to 1010 takes 2 s.
    trace = Readings(np.array([0.0, 20.0]), np.array([900.0, 1100.0]), 0.1, 20.0)
    assert seconds(trace, 990, 1010, "best") == pytest.approx(2)


def test_a_gap_has_the_envelope_of_the_furnaces_own_rates():
    # 100 s without a reading at 1000, edge at 990: down at 0.25 K/s it is certain for 40 s, up at 0.5 K/s for 20 s.
    level = Readings(np.array([0, 10, 20, 120, 130, 140.0]), np.full(6, 1000.0), 0.1, 10.0)
    assert gaps(level, 0, 140) == ((20.0, 120.0),)
    assert seconds(level, 990, np.inf, "low") == pytest.approx(20 + 40 + 20 + 20)
    assert seconds(level, 990, np.inf, "best") == 140
    # An upper edge at 1010 is reached in 20 s of heating, and left 40 s before the end.
    assert seconds(level, -np.inf, 1010, "low") == pytest.approx(20 + 20 + 40 + 20)


def test_a_gap_between_readings_below_the_edge_can_hide_time_above_it():
    # From 985 up at 0.5 K/s it is at 990 after 10 s; to be back at 985 by 0.25 K/s it leaves 20 s before the end.
    low = Readings(np.array([0, 10, 20, 120, 130, 140.0]), np.full(6, 985.0), 0.1, 10.0)
    assert seconds(low, 990, np.inf, "high") == pytest.approx(100 - 10 - 20)
    assert seconds(low, 990, np.inf, "best") == 0


def test_a_gap_of_uncertain_length_is_never_certain():
    level = Readings(np.array([0, 10, 20, 40, 50.0]), np.full(5, 1000.0), 0.1, 10.0)
    unsure = Allowed(0.0, 0.5, 0.25, uncertain=(UncertainGap(20.0, 40.0),))
    assert seconds(level, 990, np.inf, "low", unsure) == 30
    assert seconds(level, 990, np.inf, "high", unsure) == 50


def test_noise_is_half_the_step_and_half_of_the_usual_scatter():
    # |T_k - mean of its neighbours| is 2 for every reading: 0.5/2 + 2/2.
    zigzag = Readings(np.arange(100.0), 1000 + np.tile([-1.0, 1.0], 50), 0.5, 1.0)
    assert noise(zigzag, 0, 99) == pytest.approx(0.25 + 1.0)
    assert noise(Readings(np.arange(100.0), 0.3 * np.arange(100.0), 0.1, 1.0), 0, 99) == pytest.approx(0.05)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.floats(980, 1010), st.floats(0, 2))
def test_low_lies_within_best_within_high(seed: int, lower: float, spare: float):
    rng = np.random.default_rng(seed)
    t_s = np.cumsum(rng.choice([1.0, 5.0, 60.0], 200))
    trace = Readings(t_s, 1000 + np.cumsum(rng.normal(0, 2, t_s.size)), 0.1, 1.0)
    allowed = Allowed(spare, 0.5, 0.25)
    low, best, high = (
        inside(trace, lower, lower + 10, start_s=t_s[0], end_s=t_s[-1], mode=mode, allowed=allowed)
        for mode in ("low", "best", "high")  # type: ignore[attr-defined]
    )
    for inner, outer in ((low, best), (best, high)):
        for a, b in zip(inner.start_s, inner.end_s, strict=True):
            assert np.any((outer.start_s <= a + 1e-6) & (outer.end_s >= b - 1e-6))
