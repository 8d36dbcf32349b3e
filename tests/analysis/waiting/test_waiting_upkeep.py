"""What furnaces and the log book wait for, and when not. The first morning is 2026-03-02."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from soakwitness.analysis.logbook.backing_up import back_up
from soakwitness.analysis.logbook.cutouts import add_cutout_test
from soakwitness.analysis.logbook.run_loads import enter_load
from soakwitness.analysis.logbook.sensors import add_accuracy, add_calibration, add_survey, fit_sensor
from soakwitness.firmware_bridge.common.wording import temperature
from tests.waiting_days import PLAIN, Workshop, stamp

DAY = 24.0


def calibrated(shop: Workshop, life: int, due_on: str | None) -> int:
    more = {"done_on": "2026-03-02", "due_on": due_on, "done_by": "Ana", "correction": {}}
    return add_calibration(shop.book, life=life, stamp=stamp(1), **more)  # type: ignore[arg-type]


def fitted(shop: Workshop, hour: float = 0, **more: object) -> int:
    at_utc = stamp(hour).at_utc
    return fit_sensor(shop.book, "shed", "control", fitted_utc=at_utc, stamp=stamp(hour), **more)  # type: ignore[arg-type]


def test_a_calibration_is_told_two_weeks_before_it_is_due_and_after(shop: Workshop) -> None:
    shop.run(0, PLAIN)
    calibrated(shop, fitted(shop), "2026-04-01")  # 30 days after the first morning
    assert shop.acts(15 * DAY, "calibration") == []
    assert shop.says(16 * DAY, "calibration") == ["control of shed: the calibration is due on 2026-04-01, in 14 days."]
    assert shop.says(30 * DAY, "calibration") == ["control of shed: the calibration is due on 2026-04-01, today."]
    (act,) = shop.acts(33 * DAY, "calibration")
    assert str(act.says) == "control of shed: the calibration was due on 2026-04-01, 3 days ago."
    assert (act.urgency, act.due_on, act.page) == ("soon", "2026-04-01", ("furnace", "shed"))
    calibrated(shop, 1, "2027-04-01")
    assert shop.acts(33 * DAY, "calibration") == []


def test_a_thermocouple_that_was_renewed_is_to_be_calibrated_as_its_predecessor_was(shop: Workshop) -> None:
    shop.run(0, PLAIN)
    calibrated(shop, fitted(shop), None)
    assert shop.acts(DAY, "calibration") == []
    fitted(shop, 2 * DAY)
    assert shop.says(3 * DAY, "calibration") == [
        "control of shed: fitted on 2026-03-04, no calibration of it on record yet."
    ]
    shop.furnace = "kiln"
    shop.run(1, PLAIN)  # never calibrated: nobody asks
    assert len(shop.acts(3 * DAY, "calibration")) == 1


def test_surveys_and_accuracy_tests_fall_due_by_the_newest(shop: Workshop) -> None:
    shop.run(0, PLAIN)
    for done_on, due_on in (("2026-01-02", "2026-02-02"), ("2026-03-02", "2026-03-20")):
        add_survey(shop.book, "shed", done_on=done_on, due_on=due_on, result={}, stamp=stamp(1))
        add_accuracy(shop.book, "shed", "control", done_on=done_on, due_on=due_on, result={}, stamp=stamp(1))
    assert shop.acts(2 * DAY, "survey", "accuracy test") == []
    assert shop.says(20 * DAY, "survey", "accuracy test") == [
        "control of shed: the accuracy test was due on 2026-03-20, 2 days ago.",
        "shed: the survey was due on 2026-03-20, 2 days ago.",
    ]


def test_the_cut_out_is_asked_for_until_it_was_tested_and_after_half_a_year(shop: Workshop) -> None:
    shop.run(0, PLAIN)
    assert shop.says(DAY, "cut-out test") == ["shed: no test of its over-temperature cut-out is on record."]
    add_cutout_test(shop.book, "shed", done_on="2026-03-03", set_c=900, tripped_c=908, stamp=stamp(DAY))
    assert shop.acts(2 * DAY, "cut-out test") == []
    shop.run(183 * DAY, PLAIN)
    assert shop.acts(184 * DAY, "cut-out test") == []
    assert shop.says(185 * DAY, "cut-out test") == [
        "shed: the last test of its over-temperature cut-out on record was 184 days ago."
    ]


def test_a_cut_out_that_did_not_cut_comes_before_any_blade(shop: Workshop) -> None:
    shop.run(0, PLAIN, pull=[(1.5, ["B-1"])])
    add_cutout_test(shop.book, "shed", done_on="2026-03-03", set_c=900, reached_c=940, stamp=stamp(DAY))
    first, second = shop.waits(DAY).acts[:2]
    assert (first.kind, first.urgency, second.kind) == ("cut-out fault", "at once", "temper")
    assert first.says.text("F") == (
        f"shed: its cut-out, set to {temperature(900, 'F')}, did NOT cut up to 1724 °F on 2026-03-03."
    )  # 940 x 1.8 + 32
    add_cutout_test(shop.book, "shed", done_on="2026-03-03", set_c=900, reached_c=905, stamp=stamp(DAY))
    assert shop.acts(DAY, "cut-out fault") == []  # not hot enough to tell


@pytest.mark.parametrize(("hours", "diameter_mm", "kind", "told"), [
    (79.0, None, "K", None), (81.0, None, "K", "when it suits"), (101.0, None, "K", "soon"),
    (41.0, 1.5, "K", "when it suits"), (300.0, None, "S", None),
])  # fmt: skip
def test_wire_is_told_when_it_nears_its_hours(
    shop: Workshop, hours: float, diameter_mm: float | None, kind: str, told: str | None
) -> None:
    """100 h above 950 for base metal, 50 for wire under 3 mm, none for platinum; told from four fifths on."""
    fitted(shop, thermocouple=kind, diameter_mm=diameter_mm)
    run = shop.run(1, PLAIN)
    with shop.book.writing(stamp(1)):
        shop.book.connection.execute("UPDATE run_heat SET hours_950 = ? WHERE run = ?", (hours, run))
    found = shop.acts(DAY, "thermocouple")
    assert [act.urgency for act in found] == ([] if told is None else [told])
    if found and diameter_mm is None and hours < 100:
        assert str(found[0].says) == "control of shed: 1 heat and 81 h above 950 °C; such wire is renewed at 100 h."


def test_a_new_furnace_is_led_through_its_first_runs(shop: Workshop) -> None:
    run = shop.run(0, PLAIN)
    assert "no run without a charge" in shop.says(5, "first runs")[0]
    enter_load(shop.book, run=run, empty=True, stamp=stamp(5))
    assert "no run with a second sensor" in shop.says(5, "first runs")[0]
    for number in range(12):
        shop.run(10 + 3 * number, PLAIN)
    assert shop.acts(60, "first runs") == []


def test_a_furnace_that_is_only_simulated_has_no_cut_out(shop: Workshop) -> None:
    shop.run(0, PLAIN, origin="simulated")
    assert shop.acts(5, "cut-out test", "first runs", "thermocouple") == []


def test_a_furnace_that_stood_for_a_quarter_is_asked_for_nothing(shop: Workshop) -> None:
    shop.run(0, PLAIN)
    calibrated(shop, fitted(shop), "2026-03-05")
    assert {act.kind for act in shop.waits(89 * DAY).acts} == {"cut-out test", "calibration", "first runs", "backup"}
    assert {act.kind for act in shop.waits(91 * DAY).acts} == {"backup"}


def test_little_room_is_told_and_much_is_not(shop: Workshop) -> None:
    shop.run(0, PLAIN)
    assert shop.acts(5, "disk", free_bytes=2_000_000_000) == []
    (act,) = shop.acts(5, "disk", free_bytes=150_000_000)
    assert (act.urgency, str(act.says)) == ("today", "Only 150 MB are free on the log book's disk.")
    assert shop.acts(5, "disk") == []


def test_a_backup_is_asked_for_after_a_week_and_then_every_month(shop: Workshop, tmp_path: Path) -> None:
    assert shop.acts(100 * DAY, "backup") == []  # nothing to be lost
    shop.run(0, PLAIN)
    assert shop.acts(6 * DAY, "backup") == []
    assert shop.says(8 * DAY, "backup") == [
        "No backup of the log book is on record; its daily copies lie on the same disk."
    ]
    back_up(shop.book, tmp_path / "shop.zip", stamp=stamp(9 * DAY))
    assert shop.acts(38 * DAY, "backup") == []
    assert shop.says(40 * DAY, "backup") == ["The last backup of the log book on record was made 31 days ago."]


def test_an_odd_result_of_a_survey_does_not_matter(shop: Workshop) -> None:
    shop.run(0, PLAIN)
    add_survey(shop.book, "shed", done_on="2026-03-02", due_on=None, result=json.loads("[]"), stamp=stamp(1))
    assert shop.acts(5, "survey") == []
