"""What is known of a sensor at a hold: from where U comes, its units, and when a calibration speaks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.sensor_errors import SensorErrors, errors_of, reads_words
from soakwitness.analysis.verification.results.known_error import KnownError
from soakwitness.firmware_bridge.runfolder.contents import Column
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
CALIBRATED = {"furnace": CORRECTION}


def at(errors: SensorErrors, temp_c: float) -> KnownError:
    return errors.known_at(Hold(2, temp_c, 5.0, 5.0, 600.0))


def test_nothing_known():
    known = at(errors_of(sensor(), {}, DAY), 1000.0)
    assert (known.source, known.expanded_c, known.basis) == ("none", None, "reading")
    assert at(errors_of(None, {}, DAY), 1000.0).source == "none"


def test_a_stated_u_wins_over_a_class_and_is_a_difference_in_the_columns_unit():
    known = at(errors_of(sensor(expanded_uncertainty=3.0, thermocouple="K", tolerance_class="2"), {}, DAY), 1000.0)
    assert (known.source, known.expanded_c, known.basis) == ("stated", 3.0, "true temperature")
    fahrenheit = Column("furnace", "sensor", unit="F", role="control", expanded_uncertainty=5.4)
    # 5.4 degF / 1.8, never - 32.
    assert at(errors_of(fahrenheit, {}, DAY), 1000.0).expanded_c == pytest.approx(3.0)


def test_a_calibration_has_its_correction_and_its_u_at_each_temperature():
    errors = errors_of(sensor(thermocouple="K", tolerance_class="2"), CALIBRATED, DAY)
    # On the straight line from (500, -2, 1) to (1100, -4, 3), half way.
    known = at(errors, 800.0)
    assert (known.source, known.basis) == ("calibration", "true temperature")
    assert (known.correction_c, known.expanded_c) == (pytest.approx(-3.0), pytest.approx(2.0))


def test_beyond_its_range_a_calibration_corrects_nothing_and_the_wire_speaks():
    errors = errors_of(sensor(thermocouple="K", tolerance_class="2"), CALIBRATED, DAY)
    known = at(errors, 200.0)
    # IEC 60584-1, class 2 of type K: 2.5 K up to 333 degC.
    assert (known.source, known.correction_c, known.expanded_c) == ("tolerance class", 0.0, 2.5)
    assert known.basis == "reading"
    bare = at(errors_of(sensor(), CALIBRATED, DAY), 200.0)
    assert (bare.source, bare.correction_c, bare.expanded_c) == ("none", 0.0, None)
    assert "goes from 500 °C to 1100 °C" in str(bare.says)


def test_within_25_degrees_of_its_range_the_ends_of_a_calibration_still_speak():
    # 1120 with both edges up to 1125, the range's end and 25: the end's figures.
    known = at(errors_of(sensor(), CALIBRATED, DAY), 1120.0)
    assert (known.correction_c, known.expanded_c) == (pytest.approx(-4.0), pytest.approx(3.0))
    assert at(errors_of(sensor(), CALIBRATED, DAY), 1121.0).source == "none"


def test_an_overdue_calibration_corrects_nothing_and_its_u_grows():
    known = at(errors_of(sensor(), CALIBRATED, "2028-05-01"), 800.0)
    assert (known.basis, known.correction_c, known.expanded_c) == ("reading", 0.0, None)
    assert known.lapsed is not None
    assert known.lapsed.correction_c == pytest.approx(-3.0)
    # It was to last 365 days and is 366 days late: doubled when it is as late again as it was to last (assumption).
    assert known.lapsed.expanded_c == pytest.approx(2.0 * (1 + 366 / 365))
    assert "overdue since 2027-05-01" in str(known.says)


@pytest.mark.parametrize(
    ("stated", "source", "expanded_c"), [(1.5, "calibration", 2.0), (2.5, "stated", 2.5), (2.0, "calibration", 2.0)]
)
def test_of_a_stated_u_and_a_calibrations_the_larger_counts_and_both_are_named(
    stated: float, source: str, expanded_c: float
):
    known = at(errors_of(sensor(expanded_uncertainty=stated), CALIBRATED, DAY), 800.0)
    assert known.expanded_c == pytest.approx(expanded_c)
    assert known.correction_c == pytest.approx(-3.0)
    assert "stated" in str(known.says)
    assert "calibration of 2026-05-01" in str(known.says)
    assert stated == expanded_c or known.source == source


@pytest.mark.parametrize(
    ("wire", "word", "temp_c", "tolerance_c"),
    # CHECKS.md section 1 (several public copies of IEC 60584-1 and ASTM E230 agree), at 1050 degC.
    [("K", "2", 1050.0, 7.875), ("K", "special", 1050.0, 4.2), ("S", "1", 1050.0, 1.0), ("R", "2", 1050.0, 2.625)],
)
def test_a_tolerance_class(wire: str, word: str, temp_c: float, tolerance_c: float):
    known = at(errors_of(sensor(thermocouple=wire, tolerance_class=word), {}, DAY), temp_c)
    assert (known.source, known.basis) == ("tolerance class", "reading")
    assert known.expanded_c == pytest.approx(tolerance_c)


def test_a_class_beyond_its_range_says_nothing():
    # Class 1 of type K ends at 1000 degC.
    assert at(errors_of(sensor(thermocouple="K", tolerance_class="1"), {}, DAY), 1050.0).expanded_c is None


def test_the_instruments_own_uncertainty_belongs_to_a_class_alone():
    # Class 2 of type K at 1000 degC: 7.5; with 4 in quadrature 8.5. A calibration was made through the instrument.
    wire = errors_of(sensor(thermocouple="K", tolerance_class="2", instrument_uncertainty=4.0), {}, DAY)
    assert at(wire, 1000.0).expanded_c == pytest.approx(math.hypot(7.5, 4.0))
    stated = errors_of(sensor(expanded_uncertainty=3.0, instrument_uncertainty=4.0), {}, DAY)
    assert at(stated, 1000.0).expanded_c == 3.0
    calibrated = errors_of(sensor(instrument_uncertainty=4.0), CALIBRATED, DAY)
    assert at(calibrated, 800.0).expanded_c == pytest.approx(2.0)


@pytest.mark.parametrize("basis", ["reading", "true temperature"])
def test_a_recipe_may_say_what_decides(basis: str):
    hold = Hold(2, 800.0, 5.0, 5.0, 600.0)
    assert errors_of(sensor(), CALIBRATED, DAY).known_at(hold, basis).basis == basis  # type: ignore[arg-type]


def test_it_is_said_as_a_person_would():
    known = KnownError("true temperature", -6.3, 2.2, "calibration")
    assert str(reads_words(known, 1060.0)) == "reads 1060 °C, is 1053.7 °C ± 2.2 °C"
    assert reads_words(KnownError(), 1060.0) is None


def test_readings_are_corrected_only_where_the_calibration_reaches_and_while_it_is_in_force():
    # Range 500 to 1100, and 25 beyond: at 200 nothing is added; on the line -2 at 500 to -4 at 1100 it is -3 at 800.
    readings = np.array([200.0, 480.0, 800.0, 1120.0, 1130.0])
    added = errors_of(sensor(), CALIBRATED, DAY).added_c(readings)
    assert added == pytest.approx([0.0, -2.0, -3.0, -4.0, 0.0])
    assert errors_of(sensor(), CALIBRATED, "2028-05-01").added_c(readings) == pytest.approx(np.zeros(5))
