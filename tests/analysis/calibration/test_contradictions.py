"""Calibrations that contradict themselves stop; a furnace that swings does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.calibrating import calibrate, calibrate_readings
from soakwitness.analysis.calibration.correcting.reference_differences import Comparing
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading, last_digit, parse_readings
from soakwitness.analysis.calibration.measured_pairs.reference import CertifiedPoint, certified
from soakwitness.analysis.calibration.measured_pairs.right_reference import check_certificate
from soakwitness.analysis.calibration.measured_pairs.steps import find_step
from soakwitness.analysis.errors import ContradictionError, NotEnoughData
from soakwitness.firmware_bridge.runfolder.contents import Column

REFERENCE = certified((CertifiedPoint(500.0, 0.0, 1.0), CertifiedPoint(1100.0, 0.0, 1.0)), "test certificate")
T_S = np.arange(0.0, 12_600.0, 10.0)
TRUE_C = np.interp(T_S, [0, 1800, 4800, 5400, 8400, 9600, 12_600], [20, 780, 780, 1000, 1000, 780, 780])


def noisy(values: np.ndarray, seed: int) -> np.ndarray:
    return values + np.random.default_rng(seed).normal(0.0, 0.05, values.size)


def test_a_closing_level_that_agrees_is_a_row_of_the_budget() -> None:
    found = calibrate(T_S, noisy(TRUE_C, 1), noisy(TRUE_C + 2.0 + 0.4 * (T_S > 9000), 2), REFERENCE, Comparing())
    assert found.repeats.closed
    assert found.repeats.apart_c == pytest.approx(0.4, abs=0.05)
    row = next(row for row in found.points[1].budget.rows if row.source == "levels measured twice")
    assert row.contribution_c == pytest.approx(0.4 / 3**0.5, abs=0.03)  # half-width, rectangular
    assert row.common


@pytest.mark.parametrize("step_c", [3.0, -8.0, 15.0])
def test_a_reference_that_steps_on_a_ramp_is_named_with_moment_and_size(step_c: float) -> None:
    reference = noisy(TRUE_C + step_c * (T_S > 5100), 1)
    with pytest.raises(
        ContradictionError, match=rf"at 1:25:\d\d, near \d+.*, the reference steps by [+-]{abs(step_c):.0f}"
    ):
        calibrate(T_S, reference, noisy(TRUE_C + 2.0, 2), REFERENCE, Comparing())


def test_levels_that_disagree_are_not_averaged() -> None:
    # a slow change of 8 K between the two, with no step in it
    late = np.interp(T_S, [5400, 9600], [0.0, 8.0])
    with pytest.raises(
        ContradictionError, match=r"measured twice at 78\d.* the error is \+2 .* \(at 0:.*\) and -[56]"
    ) as caught:
        calibrate(T_S, noisy(TRUE_C + late, 1), noisy(TRUE_C + 2.0, 2), REFERENCE, Comparing(lag_difference_s=0.0))
    assert "°F" in caught.value.says.text("F")


def test_a_door_or_the_end_of_a_ramp_is_no_step() -> None:
    dip = 60.0 * np.exp(-np.clip(T_S - 3000.0, 0.0, None) / 120.0) * (T_S >= 3000.0)
    assert find_step(T_S, noisy(TRUE_C - dip, 1), noisy(TRUE_C - 0.9 * dip + 2.0, 2)) is None
    behind = np.interp(T_S - 25.0, T_S, TRUE_C)  # lags 25 s behind: at a corner of the ramp it parts within a reading
    assert find_step(T_S, noisy(TRUE_C, 1), noisy(behind, 2)) is None


def test_readings_of_one_level_twice_must_agree() -> None:
    pairs = [PairReading(780.0, 777.0), PairReading(1040.0, 1036.0), PairReading(781.0, 786.0)]
    with pytest.raises(ContradictionError, match=r"-3 .* \(first\) and \+5 .* \(then\)"):
        calibrate_readings(pairs, REFERENCE, Comparing())
    found = calibrate_readings([*pairs[:2], PairReading(781.0, 778.4)], REFERENCE, Comparing())
    assert found.repeats.closed
    assert found.repeats.apart_c == pytest.approx(0.4)


def test_a_swing_is_averaged_over_whole_ones() -> None:
    # +-4 K with a period of 400 s, the sensor 30 s behind the reference: by itself that is up to 1.9 K at any moment
    swing = 4.0 * np.sin(2 * np.pi * T_S / 400.0) * (TRUE_C > 500)
    behind = 4.0 * np.sin(2 * np.pi * (T_S - 30.0) / 400.0) * (TRUE_C > 500)
    found = calibrate(T_S, noisy(TRUE_C + swing, 1), noisy(TRUE_C + behind + 2.0, 2), REFERENCE, Comparing())
    assert [round(p.error_c, 1) for p in found.points] == pytest.approx([2.0, 2.0, 2.0], abs=0.11)
    for point in found.points:
        assert point.stretch is not None
        assert point.stretch.swing_s == pytest.approx(400.0, abs=20.0)


def test_what_was_missed_is_named_with_its_size() -> None:
    drifting = np.interp(T_S, [0, 1800, 12_600], [20, 780, 816])  # 12 K/h where 6 are allowed
    with pytest.raises(NotEnoughData, match=r"drifts 12(\.\d)? °C/h, 6(\.\d)? °C/h too much") as caught:
        calibrate(T_S, drifting, drifting, REFERENCE, Comparing())
    assert "drifts 22 °F/h, 11 °F/h too much" in caught.value.says.text("F")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"thermocouple": "K"}, "is for type N, but ref is type K"),
        ({"serial": "R-8"}, "is for serial R-7, but ref has serial R-8"),
        ({}, None),
    ],
)
def test_a_certificate_is_that_of_the_reference(change: dict[str, str], says: str | None) -> None:
    paper = replace(REFERENCE, thermocouple="N", serial="R-7", day="2026-01-20")
    column = replace(Column("ref", "sensor", "C", thermocouple="N", serial="R-7"), **change)
    if says is None:
        check_certificate(paper, column, "2026-03-01")
        return
    with pytest.raises(ContradictionError, match=says):
        check_certificate(paper, column, "2026-03-01")


def test_a_certificate_of_tomorrow_and_one_too_old_are_refused() -> None:
    paper = replace(REFERENCE, day="2026-01-20")
    with pytest.raises(ContradictionError, match="of a later day than the calibration, 2026-01-19"):
        check_certificate(paper, None, "2026-01-19")
    # 2026-01-20 to 2028-02-01: 742 days, two years have 730 here
    with pytest.raises(ContradictionError, match="is 742 days old, 12 more than the 730"):
        check_certificate(paper, None, "2028-02-01")
    check_certificate(replace(paper, drift_c=1.0), None, "2028-02-01")


def test_readings_are_as_fine_as_their_last_digit() -> None:
    assert [last_digit(text) for text in ("780", "777.0", "1e3", "-0.25")] == [1.0, 0.1, 1.0, 0.01]
    (read,) = parse_readings("time;reference;sensor\n9:05;1436,5;1431\n", "sheet.csv", unit="F")
    assert read.at == "9:05"
    assert read.reference_step_c == pytest.approx(0.1 / 1.8)
    assert read.sensor_step_c == pytest.approx(1.0 / 1.8)


def test_no_reading_is_used_twice() -> None:
    # a bump of 3 K for two minutes parts the steady windows, which reach ten minutes back
    bump = 3.0 * np.exp(-(((T_S - 3000.0) / 60.0) ** 2))
    found = calibrate(T_S, noisy(TRUE_C + bump, 1), noisy(TRUE_C + bump + 2.0, 2), REFERENCE, Comparing())
    spans = [(p.stretch.start_s, p.stretch.end_s) for p in found.points if p.stretch is not None]
    assert all(end < begin for (_, end), (begin, _) in zip(spans, spans[1:], strict=False))


def test_a_step_where_a_ramp_ends_is_found_too() -> None:
    reference = noisy(TRUE_C - 5.0 * (T_S > 5405), 1)
    with pytest.raises(ContradictionError, match="the reference steps by -[56]"):
        calibrate(T_S, reference, noisy(np.interp(T_S - 15.0, T_S, TRUE_C), 2), REFERENCE, Comparing())
