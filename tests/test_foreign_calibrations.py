"""The foreign generator of calibrations: the same from the same seed, its physics, and that it can be entered."""

from __future__ import annotations

import numpy as np
import pytest

from tests.campaigns.foreign_calibrations import lines_of, tally_of
from tests.foreign_calibration_cases import BY_EYE, KINDS, calibration_case
from tests.foreign_chains import STEP_S, Chain, Chamber, lagged


@pytest.mark.parametrize("kind", KINDS)
def test_a_seed_is_one_case(kind: str) -> None:
    first, again = calibration_case(5, kind), calibration_case(5, kind)
    assert first.truth == again.truth
    for one, other in zip(first.calibrations, again.calibrations, strict=True):
        assert (one.levels_c, one.certificate, one.stated, one.sheet) == (
            other.levels_c,
            other.certificate,
            other.stated,
            other.sheet,
        )
        assert (one.log is None) == (kind in BY_EYE)
        if one.log is not None and other.log is not None:
            np.testing.assert_array_equal(one.log.reference_c, other.log.reference_c)
            np.testing.assert_array_equal(one.log.sensor_c, other.log.sensor_c)


def test_a_sound_chain_shows_what_is_there() -> None:
    np.testing.assert_allclose(Chain("N").error_c([300.0, 780.0, 1060.0]), 0.0, atol=1e-6)


def test_a_cold_junction_one_degree_warm_reads_as_the_slopes_say() -> None:
    """NIST SRD 60, type K: 25 to 26 degC 1.000 to 1.041 mV, 1000 to 1001 degC 41.276 to 41.315 mV: 0.041/0.039."""
    assert float(Chain("K").shown_c(1000.0, 1.0)) - 1000.0 == pytest.approx(0.041 / 0.039, abs=0.04)


def test_a_gain_error_is_of_the_emf_at_the_terminals() -> None:
    """Type K at 1000 degC with terminals at 25 degC: 0.1 % of 41.276 - 1.000 mV at 0.039 mV a degree."""
    expected = 0.001 * (41.276 - 1.000) / 0.039
    assert float(Chain("K", gain_percent=0.1).error_c(1000.0)) == pytest.approx(expected, abs=0.02)


def test_true_temperature_and_shown_are_inverse() -> None:
    chain = Chain("K", plus_c=1.0, slope_c=-7.0, hump_c=2.0, gain_percent=0.1, offset_c=2.0)
    np.testing.assert_allclose(chain.true_c(chain.shown_c([430.0, 800.0, 1050.0])), [430.0, 800.0, 1050.0], atol=1e-3)


def test_a_sheath_has_seen_two_thirds_of_a_step_after_its_lag() -> None:
    step = np.concatenate([np.zeros(10), np.full(200, 100.0)])
    assert lagged(step, 30.0)[9 + int(30.0 / STEP_S)] == pytest.approx(100.0 * (1.0 - np.exp(-1.0)), abs=0.1)


def test_a_chamber_swings_as_far_as_it_says() -> None:
    air_c, spans = Chamber((1000.0,), 3600.0, 600.0, 0.0, 0.0, 3.0, 300.0).trace()
    held = air_c[int((spans[0][0] + 600.0) / STEP_S) : int(spans[0][1] / STEP_S)]
    assert (held.max() - held.min()) / 2.0 == pytest.approx(3.0, rel=0.1)
    assert held.mean() == pytest.approx(1000.0, abs=0.3)


def test_right_papers_hold_as_often_as_they_say() -> None:
    """Within U (k = 2 or 3) and what is granted as drift since: in 95 % or somewhat more."""
    inside = whole = deviations = 0
    for seed in range(300):
        case = calibration_case(seed, "right inputs")
        paper = case.calibrations[0].certificate
        sign = 1.0 if paper.states == "deviation" else -1.0
        deviations += paper.states == "deviation"
        for point in paper.points:
            today_c = float(case.truth.reference.wire_error_c(np.array(point.temp_c)))
            inside += abs(sign * point.value_c - today_c) <= point.expanded_c + paper.drift_c * point.temp_c / 1100.0
            whole += 1
    assert inside / whole > 0.94
    assert 0.2 < deviations / 300 < 0.4


def test_a_year_drifts_no_farther_than_is_assumed() -> None:
    for seed in range(60):
        case = calibration_case(seed, "drift over a year")
        assert case.later is not None
        most_c = 2.0 + (6.0 if case.later.thin else 2.0) * case.later.hot_hours / 100.0
        judged_c = case.later.judged_c
        drift_c = case.truth.later.wire_error_c(np.array(judged_c)) - case.truth.chains[0].wire_error_c(
            np.array(judged_c)
        )
        assert abs(float(drift_c)) <= most_c + 1e-9


def test_cases_can_be_entered() -> None:
    tally = tally_of([1], "right inputs") | tally_of([1], "by eye once, 1")
    assert tally["right inputs", "cases"].whole == 1
    assert len(lines_of(tally)) > 2
