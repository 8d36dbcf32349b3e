"""A control sensor that reads hot by its place: judged where the work is, with what is known and what is not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.calibration.correcting.place_difference import PlaceDifference, PlacePoint
from soakwitness.analysis.recipes.recipe import Hold, Program
from soakwitness.analysis.verification.inputs.sensor_errors import SensorErrors, errors_of, reads_words
from soakwitness.analysis.verification.results.report import as_json
from soakwitness.analysis.verification.results.verification import Verification
from soakwitness.analysis.verification.verifying import verify
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

HOT_BY_PLACE = PlacePoint(1040.0, -12.0, 3.0, "entered", "2026-01-01", "2027-01-01", why="by the element")
CORRECTION = Correction(
    "test", "furnace", "constant", "", (), (700.0, 1100.0), (-2.0, -2.0), (2.0, 2.0), "2026-01-01", "2027-01-01"
)
# Up in 40 min, 35 min at a level, down.
STOOD_AT = 1052.0
RUN_S = ((0, 20), (2400, STOOD_AT), (4500, STOOD_AT), (6000, 300))


def judged(
    point: PlacePoint | None, *, stood_at_c: float = STOOD_AT, band_c: float = 6.0, **facts: object
) -> Verification:
    corners = [(t, stood_at_c if at == STOOD_AT else at) for t, at in RUN_S]
    t_s, temp_c = drawn(corners, every_s=5.0, noise_c=0.1)
    recipe = replace(simple_recipe((1040.0, 25.0, band_c)), load="cold")
    decide_on = facts.pop("decide_on", None)
    places = {} if point is None else {"furnace": PlaceDifference((point,))}
    corrections = facts.pop("corrections", {})
    run = make_run(t_s, {"furnace": temp_c}, columns=[sensor(**facts)])
    return verify(run, replace(recipe, decide_on=decide_on), corrections=corrections, places=places)  # type: ignore[arg-type]


def test_set_to_1052_on_purpose_the_work_is_at_1040() -> None:
    assert judged(None).verdict == "fail"
    found = judged(HOT_BY_PLACE)
    (hold,) = found.holds
    assert (found.verdict, hold.as_read) == ("pass", "fail")
    assert hold.level_c == pytest.approx(1040.0, abs=0.2)
    assert hold.shown_c == pytest.approx(1052.0, abs=0.2)
    words = reads_words(hold.shown_by, 1052.0)
    assert words is not None
    assert words.text("C").startswith("reads 1052 °C, the work's place is at 1040 °C ± 3 °C (place difference")
    assert hold.shown_by.set_to_c == pytest.approx(1052.0)
    assert as_json(found)["steps"][1]["sensor_error"]["place"]["difference_c"] == -12.0


def test_set_to_1040_where_the_sensor_is_hot_the_work_is_cold() -> None:
    assert judged(None, stood_at_c=1040.0).verdict == "pass"
    found = judged(HOT_BY_PLACE, stood_at_c=1040.0)
    assert (found.verdict, found.holds[0].as_read) == ("fail", "pass")


def test_an_uncertainty_as_wide_as_the_band_proves_nothing() -> None:
    assert judged(replace(HOT_BY_PLACE, expanded_c=8.0)).verdict == "not proven"


def test_with_a_calibration_both_are_applied_and_named_apart() -> None:
    found = judged(HOT_BY_PLACE, stood_at_c=1054.0, corrections={"furnace": CORRECTION})
    known = found.holds[0].known
    assert (found.verdict, found.decided_on) == ("pass", "true temperature")
    assert (known.correction_c, known.sensor_c, known.place_c) == (-14.0, -2.0, -12.0)
    assert known.expanded_c == pytest.approx(13**0.5)  # of calibration 2 and place 3, apart from each other
    assert "calibration of 2026-01-01; place difference" in known.says.text("C")


def test_one_that_holds_the_sensors_error_takes_no_correction_besides() -> None:
    total = replace(HOT_BY_PLACE, holds_error=True)
    known = judged(total, corrections={"furnace": CORRECTION}).holds[0].known
    assert (known.source, known.correction_c, known.expanded_c) == ("place difference", -12.0, 3.0)
    assert judged(total).verdict == "pass"


def test_an_overdue_one_earns_no_pass_and_excuses_no_failure() -> None:
    late = replace(HOT_BY_PLACE, due_on="2026-10-01")
    # As read it fails, by the old difference it passes: not proven. At 1040 the other way round.
    found = judged(late)
    assert found.verdict == "not proven"
    told = next(f for f in found.findings if f.code == "calibration overdue")
    assert "overdue since 2026-10-01" in told.says.text("C")
    assert "place measure" in told.next.text("C")
    assert judged(late, stood_at_c=1040.0).verdict == "not proven"
    assert judged(late, stood_at_c=1046.0, band_c=14.0).verdict == "pass"


def test_a_recipe_that_goes_by_the_display_is_left_to_it() -> None:
    assert judged(HOT_BY_PLACE, decide_on="reading").verdict == "fail"


def test_far_from_its_temperature_it_says_that_it_is_not_known() -> None:
    errors = SensorErrors(place=PlaceDifference((HOT_BY_PLACE,)), day="2026-06-01")
    known = errors.known_at(Hold(2, 780.0, 6.0, 6.0, 600.0))
    assert known.place is None
    assert known.says.text("C").endswith("its place difference is not known at 780 °C")


def test_it_is_of_the_sensor_that_it_was_found_for() -> None:
    assert errors_of(sensor("other"), {}, "2026-06-01", {"furnace": PlaceDifference((HOT_BY_PLACE,))}).place is None


def test_who_typed_an_offset_on_purpose_is_told_how_to_say_why() -> None:
    corners = [(0, 20), (2400, STOOD_AT), (4500, STOOD_AT), (6000, 300)]
    t_s, temp_c = drawn(corners, every_s=5.0, noise_c=0.1)
    recipe = replace(simple_recipe((1040.0, 25.0, 6.0)), load="cold", program=Program(offset_c=12.0))
    run = make_run(t_s, {"furnace": temp_c})
    found = verify(run, recipe)
    told = [f.next.text("F") for f in found.findings if f.code == "out of band" and "stood at" in f.says.text("C")]
    assert found.verdict == "fail"
    assert told == [
        "It stands as the program's offset of +21.6 °F puts it. If the work's place differs from the sensor's, say so "
        "with a figure: soakwitness place. An offset alone excuses nothing."
    ]
