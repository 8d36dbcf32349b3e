"""Where U comes from, and its units."""

from __future__ import annotations

import pytest

from soakwitness.analysis.calibration.correction import Correction
from soakwitness.analysis.verification.sensor_errors import errors_of
from soakwitness.firmware_bridge.runfolder.model import Column
from tests.verification_runs import sensor

DAY = "2026-11-25"
CORRECTION = Correction(
    furnace="test",
    sensor="furnace",
    model="line",
    why="two points",
    points=(),
    table_reading_c=(500.0, 1100.0),
    table_correction_c=(-2.0, -4.0),
    table_expanded_c=(1.0, 3.0),
    done_on="2026-05-01",
    due_on="2027-05-01",
)


def test_nothing_known():
    errors = errors_of(sensor(), {}, DAY)
    assert (errors.source, errors.at(1000.0), errors.known) == ("none", None, False)
    assert errors_of(None, {}, DAY).source == "none"


def test_a_stated_u_wins_and_is_a_difference_in_the_columns_unit():
    errors = errors_of(sensor(expanded_uncertainty=3.0, thermocouple="K", tolerance_class="2"), {}, DAY)
    assert (errors.source, errors.at(1000.0), errors.known) == ("stated", 3.0, True)
    fahrenheit = Column("furnace", "sensor", unit="F", role="control", expanded_uncertainty=5.4)
    # 5.4 degF / 1.8, never - 32.
    assert errors_of(fahrenheit, {}, DAY).at(1000.0) == pytest.approx(3.0)


def test_a_calibration_has_its_correction_and_its_u_at_each_temperature():
    errors = errors_of(sensor(thermocouple="K", tolerance_class="2"), {"furnace": CORRECTION}, DAY)
    assert (errors.source, errors.known) == ("calibration", True)
    assert errors.at(800.0) == pytest.approx(2.0)
    assert errors.at(1200.0) is None  # beyond its range
    assert errors.correction is not None
    assert float(errors.correction(800.0)) == pytest.approx(-3.0)  # type: ignore[arg-type]


def test_an_overdue_calibration_no_longer_decides():
    errors = errors_of(sensor(), {"furnace": CORRECTION}, "2027-06-01")
    assert errors.overdue
    assert not errors.known
    assert errors.at(800.0) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("wire", "word", "temp_c", "tolerance_c"),
    # CHECKS.md section 1 (several public copies of IEC 60584-1 and ASTM E230 agree), at 1050 degC.
    [("K", "2", 1050.0, 7.875), ("K", "special", 1050.0, 4.2), ("S", "1", 1050.0, 1.0), ("R", "2", 1050.0, 2.625)],
)
def test_a_tolerance_class(wire: str, word: str, temp_c: float, tolerance_c: float):
    errors = errors_of(sensor(thermocouple=wire, tolerance_class=word), {}, DAY)
    assert (errors.source, errors.known) == ("tolerance class", False)
    assert errors.at(temp_c) == pytest.approx(tolerance_c)


def test_a_class_beyond_its_range_says_nothing():
    # Class 1 of type K ends at 1000 degC.
    assert errors_of(sensor(thermocouple="K", tolerance_class="1"), {}, DAY).at(1050.0) is None


def test_the_instruments_own_uncertainty_is_added_in_quadrature():
    errors = errors_of(sensor(expanded_uncertainty=3.0, instrument_uncertainty=4.0), {}, DAY)
    assert errors.at(1000.0) == pytest.approx(5.0)
    assert errors.known
