"""Calibrations from runs and from typed readings, and whether U covers the truth."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.accuracy import AccuracyLimit, accuracy_test
from soakwitness.analysis.calibration.correcting.calibrating import calibrate, calibrate_readings, correction_of
from soakwitness.analysis.calibration.correcting.reference_differences import Comparing
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.calibration.measured_pairs.reference import CertifiedPoint, Reference, certified, stated
from soakwitness.analysis.errors import NotEnoughData
from tests.campaigns.calibrations import campaign

REFERENCE = certified((CertifiedPoint(500.0, -1.0, 1.0), CertifiedPoint(1100.0, -1.0, 1.0)), "test certificate")


def test_u_covers_the_truth_and_no_stretch_is_false() -> None:
    # 80 simulated calibrations; the whole thousand: tests/campaigns/calibrations.py. For a true share of 95.45 % of
    # some 150 points with half of their error in common, less than 85 % or a false stretch is a defect.
    result = campaign(80)
    assert result.points > 100
    assert result.covered / result.points > 0.85
    assert result.between_covered / result.between > 0.85
    assert result.false_stretches == 0


def test_one_hold_by_hand() -> None:
    t_s = np.arange(0.0, 5400.0, 5.0)
    true = np.interp(t_s, [0, 1800, 5400], [20, 1000, 1000])
    comparing = Comparing(0.1, 0.1, "K", "K", distance_mm=10.0, gradient_c_per_mm=0.1, cold_junction_c=0.5)
    found = calibrate(t_s, true + 1.0, true + 4.0, REFERENCE, comparing)
    (point,) = found.points
    # the reference reads 1 K high and its certificate takes 1 K off; the sensor is 4 K high
    assert point.error_c == pytest.approx(4.0, abs=1e-6)
    # by hand: 0.5 certificate; 0.0289 twice; 0.5/sqrt3 x S(25)/S(1001) twice; 1/sqrt3 gradient; no scatter, no drift
    # S(25) 40.50, S(1001) 38.98 uV/degC (NIST SRD 60: 1.000 to 1.041 mV at 25, 41.276 to 41.315 mV at 1000 degC)
    cold = 0.5 / 3**0.5 * 40.5 / 38.98
    by_hand = np.sqrt(0.5**2 + 2 * (0.05 / 3**0.5) ** 2 + 2 * cold**2 + (1 / 3**0.5) ** 2)
    assert point.budget.combined_c == pytest.approx(by_hand, rel=2e-3)
    correction = correction_of(found, furnace="shed", sensor="control", done_on="2026-03-02")
    assert float(correction.correct(1004.0)) == pytest.approx(1000.0, abs=1e-6)
    assert float(correction.expanded_c(1004.0)) == pytest.approx(2.0 * by_hand, rel=5e-3)
    assert np.isnan(correction.expanded_c(900.0))


def test_what_drifted_is_in_the_budget() -> None:
    # Both drift by 3 K/h over the hold. Where the two may lag by 120 s otherwise than each other that is up to 0.1 K,
    # and the reference itself may have moved by 0.4 K since its certificate: half-widths, divided by sqrt 3.
    t_s = np.arange(0.0, 5400.0, 5.0)
    true = np.interp(t_s, [0, 1800, 5400], [20, 1000, 1003])
    drifted = certified(REFERENCE.points, "test certificate", drift_c=0.4)

    def rows(lag_difference_s: float, reference: Reference) -> dict[str, float]:
        (point,) = calibrate(t_s, true, true, reference, Comparing(lag_difference_s=lag_difference_s)).points
        return {row.source: row.contribution_c for row in point.budget.rows}

    stability, since = "stability: drift x different lag", "drift of the reference since then"
    assert rows(120.0, drifted)[stability] == pytest.approx(3.0 * 120.0 / 3600.0 / 3**0.5, rel=1e-6)
    assert rows(120.0, drifted)[since] == pytest.approx(0.4 / 3**0.5)
    assert rows(0.0, REFERENCE)[stability] == 0.0
    assert since not in rows(0.0, REFERENCE)


def test_a_stretch_outside_the_certificate_is_left_out() -> None:
    t_s = np.arange(0.0, 9000.0, 5.0)
    true = np.interp(t_s, [0, 900, 4000, 6000, 9000], [20, 300, 300, 1000, 1000])
    found = calibrate(t_s, true, true, REFERENCE, Comparing())
    assert [round(p.reference_reading_c) for p in found.points] == [1000]
    (words,) = found.left_out
    known = "is left out: of the reference (test certificate) something is known only from"
    assert words.text("C") == f"300 °C {known} 490 °C to 1110 °C."
    assert words.text("F") == f"572 °F {known} 914 °F to 2030 °F."  # x 1.8 + 32
    with pytest.raises(NotEnoughData, match=r"300 °C is left out") as caught:
        calibrate(t_s[:800], true[:800], true[:800], REFERENCE, Comparing())
    assert caught.value.says.text("F").startswith("572 °F is left out")


def test_without_a_stable_stretch_the_limits_are_said() -> None:
    t_s = np.arange(0.0, 3600.0, 5.0)
    with pytest.raises(NotEnoughData, match="no stable stretch: none of 10 min"):
        calibrate(t_s, 500 + t_s / 10.0, 500 + t_s / 10.0, REFERENCE, Comparing())


def test_typed_readings_by_hand() -> None:
    pairs = [
        PairReading(1000.0, 1003.0),
        PairReading(1001.0, 1005.0),
        PairReading(999.0, 1001.0),
        PairReading(600, 600),
    ]
    found = calibrate_readings(pairs, REFERENCE, Comparing())
    low, high = found.points
    # by hand: differences 3, 4, 2: mean 3, s 1, s/sqrt(3) 0.577; certificate takes 1 K off the reference
    assert high.error_c == pytest.approx(4.0)
    repeat = next(row for row in high.budget.rows if row.source == "repeatability")
    assert repeat.contribution_c == pytest.approx(1 / 3**0.5)
    assert repeat.dof == 2
    assert low.error_c == pytest.approx(1.0)
    assert "one reading only" in next(row for row in low.budget.rows if row.source == "repeatability").origin


@pytest.mark.parametrize(
    ("error", "limit", "verdict"),
    [(0.2, 5.0, "pass"), (4.0, 5.0, "not proven"), (9.0, 5.0, "fail"), (-9.0, 5.0, "fail")],
)
def test_accuracy(error: float, limit: float, verdict: str) -> None:
    # U is about 1.9 K here: pass within 5 - U, fail beyond 5 + U
    t_s = np.arange(0.0, 5400.0, 5.0)
    true = np.interp(t_s, [0, 1800, 5400], [20, 1000, 1000])
    found = calibrate(t_s, true + 1.0, true + error, REFERENCE, Comparing())
    result = accuracy_test(found, AccuracyLimit(limit))
    assert result.difference_c == pytest.approx(error, abs=1e-6)
    assert result.decision.verdict == verdict
    assert 1.5 < result.point.budget.expanded_c < 2.5


def test_accuracy_is_not_tested_far_from_where_it_was_asked_for() -> None:
    t_s = np.arange(0.0, 5400.0, 5.0)
    true = np.interp(t_s, [0, 1800, 5400], [20, 1000, 1000])
    found = calibrate(t_s, true, true, REFERENCE, Comparing())
    with pytest.raises(NotEnoughData, match=r"within 25 °C of 900 °C: the nearest is at \d+"):
        accuracy_test(found, AccuracyLimit(), at_c=900.0)


def test_a_cold_junction_is_counted_once() -> None:
    # JCGM 100:2008, 4.3.10: a U that holds for the reference's readings has its cold junction in it; a certificate
    # of the thermocouple alone has not
    t_s = np.arange(0.0, 5400.0, 5.0)
    true = np.interp(t_s, [0, 1800, 5400], [20, 1000, 1000])

    def sources(reference: Reference, comparing: Comparing) -> list[str]:
        rows = calibrate(t_s, true, true, reference, comparing).points[0].budget.rows
        return [row.source for row in rows if "cold junction" in row.source or "readout" in row.source]

    both = ["cold junction of the reference", "cold junction of the sensor"]
    assert sources(REFERENCE, Comparing()) == both
    assert sources(stated(1.0, "by hand"), Comparing()) == both[1:]
    assert sources(REFERENCE, Comparing(readout_expanded_c=0.5)) == ["reference readout", both[1]]


def test_accuracy_after_correction() -> None:
    t_s = np.arange(0.0, 5400.0, 5.0)
    true = np.interp(t_s, [0, 1800, 5400], [20, 1000, 1000])
    found = calibrate(t_s, true + 1.0, true + 9.0, REFERENCE, Comparing())
    correction = correction_of(found, furnace="shed", sensor="control", done_on="2026-03-02")
    result = accuracy_test(found, AccuracyLimit(3.0, percent=0.5), at_c=1000.0, correction=correction)
    assert result.limit_c == pytest.approx(5.0)
    assert result.corrected_c == pytest.approx(0.0, abs=1e-6)
    assert result.decision.verdict == "fail"  # the controller does not know the correction: it stands 9 off
    assert result.as_dict()["difference_c"] == pytest.approx(9.0, abs=1e-6)
