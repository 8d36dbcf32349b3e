"""What the work's place has more or less than a sensor: measured, entered, and its U beside a calibration's."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.place_difference import (
    DRIFT_C,
    PlaceError,
    PlacePoint,
    SensorAt,
    entered_place,
    measure_place,
    standing,
)

DAYS = {"done_on": "2026-05-01", "due_on": "2027-05-01"}
POINT = PlacePoint(1040.0, -12.0, 3.0, "survey", "2026-05-01", correction_c=-4.0, correction_expanded_c=2.0)


def level(at_c: float, seed: int) -> np.ndarray:
    return at_c + np.random.default_rng(seed).normal(0, 0.1, 200)


def test_the_difference_is_what_the_work_has_more_than_the_corrected_sensor() -> None:
    control = SensorAt("control", level(1052.0, 1), 2.0, correction_c=-4.0)
    found = measure_place(control, [SensorAt("load", level(1040.0, 2), 3.0)], source="run", **DAYS)
    assert found.point.at_c == pytest.approx(1040.0, abs=0.05)
    assert found.point.difference_c == pytest.approx(-12.0, abs=0.05)
    # The work sensor's U of 3.0 alone: scatter of 0.1 over 200 readings adds nothing to be seen.
    assert found.point.expanded_c == pytest.approx(3.0, abs=0.05)
    assert not found.point.holds_error


def test_without_a_calibration_the_sensors_own_error_is_in_it_and_its_drift_in_u() -> None:
    found = measure_place(
        SensorAt("control", level(1052.0, 1), None), [SensorAt("load", level(1040.0, 2), 3.0)], source="run", **DAYS
    )
    assert found.point.holds_error
    # u = hypot(3/2, 4/sqrt 3) = 2.754; k = 2 (GUM G.6.6)
    assert found.point.expanded_c == pytest.approx(2.0 * math.hypot(1.5, DRIFT_C / math.sqrt(3.0)), abs=0.02)


def test_of_several_sensors_the_middle_counts_and_half_their_distance_is_a_row() -> None:
    work = [SensorAt(f"s{i}", level(at, i), 2.0) for i, at in enumerate((1036.0, 1044.0, 1037.0))]
    found = measure_place(SensorAt("control", level(1052.0, 9), 2.0, correction_c=0.0), work, source="survey", **DAYS)
    assert found.point.difference_c == pytest.approx(-12.0, abs=0.05)
    rows = {row.source: row.value for row in found.budget.rows}
    assert rows["between the sensors at the work"] == pytest.approx(4.0, abs=0.05)


def test_a_work_sensor_of_which_nothing_is_known_tells_nothing() -> None:
    with pytest.raises(PlaceError, match="nothing is known of how far load may be off"):
        measure_place(
            SensorAt("control", level(1052.0, 1), 2.0), [SensorAt("load", level(1040.0, 2), None)], source="run", **DAYS
        )


def test_a_difference_no_place_can_make_is_a_fault() -> None:
    with pytest.raises(PlaceError, match="no difference of place"):
        measure_place(
            SensorAt("control", level(1052.0, 1), 2.0), [SensorAt("load", level(740.0, 2), 3.0)], source="run", **DAYS
        )
    with pytest.raises(PlaceError, match="temperature in place of a difference"):
        entered_place(1040.0, 1040.0, 3.0, holds_error=False, work_place="", why="seen", **DAYS)


def test_by_the_same_calibration_its_error_goes_out_by_another_both_count() -> None:
    # reading + c + (work - reading0 - c): the same c, so only what its U grew by since is left.
    assert POINT.with_calibration(-4.0, 2.0) == pytest.approx(3.0)
    assert POINT.with_calibration(-4.0, 2.9) == pytest.approx(math.sqrt(9.0 + 2.9**2 - 4.0))
    assert POINT.with_calibration(-6.0, 2.0) == pytest.approx(math.sqrt(9.0 + 4.0 + 4.0))


def test_the_newest_within_reach_counts_and_others_stay() -> None:
    found = standing(
        [
            replace(POINT, difference_c=-9.0),
            replace(POINT, at_c=780.0, difference_c=-5.0),
            replace(POINT, at_c=1050.0, difference_c=-14.0),
        ]
    )
    assert [(p.at_c, p.difference_c) for p in found.points] == [(780.0, -5.0), (1050.0, -14.0)]
    assert found.at(900.0) is None


def test_it_is_added_to_the_corrected_reading_where_it_reaches() -> None:
    shown = np.array([600.0, 1056.0, 1090.0])
    # 1056 - 4 - 12 = 1040: there; 600 and 1090 are more than 25 K from 1040 after both.
    added = standing([POINT]).added_to(shown, np.full(3, -4.0), "2026-06-01")
    assert added.tolist() == [-4.0, -16.0, -4.0]
    total = standing([replace(POINT, holds_error=True, correction_c=None)])
    # one that holds the sensor's error takes the correction's place: 1056 - 12 = 1044
    assert total.added_to(shown, np.full(3, -4.0), "2026-06-01").tolist() == [-4.0, -12.0, -4.0]
