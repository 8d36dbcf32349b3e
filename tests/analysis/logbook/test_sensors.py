from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook import sensors
from soakwitness.analysis.logbook.opening import LogBook
from tests.log_books import LATER, STAMP, new_book


@pytest.fixture
def book(tmp_path: Path) -> LogBook:
    return new_book(tmp_path)


def fit(book: LogBook, moment: str, serial: str) -> int:
    return sensors.fit_sensor(book, "small furnace", "control", fitted_utc=moment, serial=serial, stamp=STAMP)


def test_a_new_life_ends_the_one_before(book: LogBook) -> None:
    first = fit(book, "2026-01-10T08:00:00Z", "K-1")
    second = fit(book, "2026-06-10T08:00:00Z", "K-2")
    lives = sensors.sensor_lives(book, "small furnace")
    assert [(x.entry, x.ended_utc) for x in lives] == [(first, "2026-06-10T08:00:00Z"), (second, None)]

    def serial_on(day: str) -> str | None:
        life = sensors.sensor_life_on(book, "small furnace", "control", day)
        return life and life.serial

    assert serial_on("2026-01-09") is None
    assert serial_on("2026-01-10") == "K-1"
    assert serial_on("2026-06-10T07:59:59Z") == "K-1"
    assert serial_on("2026-06-10T08:00:00.250Z") == "K-2"
    assert serial_on("2026-06-10") == "K-2"  # a day alone: what was in force at its end
    assert sensors.sensor_life_on(book, "other", "control", "2026-06-10") is None
    with pytest.raises(LogBookError, match="already"):
        fit(book, "2026-06-10T08:00:00Z", "K-3")


def test_a_life_entered_late_takes_its_place(book: LogBook) -> None:
    fit(book, "2026-06-10T08:00:00Z", "K-2")
    fit(book, "2026-01-10T08:00:00Z", "K-1")
    assert [x.serial for x in sensors.sensor_lives(book, "small furnace", "control")] == ["K-1", "K-2"]


def test_the_calibration_is_the_newest_of_the_life_on_that_day(book: LogBook) -> None:
    life = fit(book, "2026-01-10T08:00:00Z", "K-1")
    for day, due, shift in (("2026-02-01", "2026-08-01", 1.0), ("2026-05-01", "2026-11-01", 2.0)):
        sensors.add_calibration(
            book, life=life, done_on=day, due_on=due, done_by="Ana", correction={"add": shift}, stamp=STAMP
        )

    def shift_on(day: str) -> object:
        found = sensors.calibration_valid_on(book, "small furnace", "control", day)
        return found and found.correction["add"]

    assert [shift_on(d) for d in ("2026-01-31", "2026-02-01", "2026-04-30", "2026-05-01", "2027-03-01")] == [
        None, 1.0, 1.0, 2.0, 2.0,
    ]  # fmt: skip
    newest = sensors.calibration_valid_on(book, "small furnace", "control", "2027-03-01")
    assert newest is not None
    assert newest.overdue_on("2026-11-02")
    assert not newest.overdue_on("2026-11-01")
    fit(book, "2026-06-10T08:00:00Z", "K-2")
    assert shift_on("2026-06-11") is None  # a new thermocouple has no calibration yet
    assert shift_on("2026-06-01") == 2.0


def test_a_withdrawn_calibration_is_kept_and_named_but_not_used(book: LogBook) -> None:
    life = fit(book, "2026-01-10T08:00:00Z", "K-1")
    entry = sensors.add_calibration(
        book, life=life, done_on="2026-02-01", due_on=None, done_by="Ana", correction={"add": 1.0}, stamp=STAMP
    )
    sensors.withdraw_calibration(book, entry, why="reference was broken", stamp=LATER)
    assert sensors.calibration_valid_on(book, "small furnace", "control", "2026-03-01") is None
    assert sensors.calibrations(book, life) == ()
    (kept,) = sensors.calibrations(book, life, withdrawn=True)
    assert (kept.struck_by, kept.struck_why, kept.due_on) == ("Ben", "reference was broken", None)
    assert not kept.overdue_on("2099-01-01")


def test_a_calibration_needs_a_life(book: LogBook) -> None:
    with pytest.raises(LogBookError, match="sensor fitted"):
        sensors.add_calibration(
            book, life=7, done_on="2026-02-01", due_on=None, done_by="Ana", correction={}, stamp=STAMP
        )


def test_surveys_and_accuracy_tests_are_kept_in_order(book: LogBook) -> None:
    life = fit(book, "2026-01-10T08:00:00Z", "K-1")
    for day in ("2026-05-01", "2026-03-01"):
        sensors.add_survey(
            book, "small furnace", done_on=day, due_on=None, result={"spread_c": [1.0, 2.0]}, stamp=STAMP
        )
        sensors.add_accuracy(
            book, "small furnace", "control", done_on=day, due_on=None, result={"difference_c": 1.5}, stamp=STAMP
        )
    assert [s.done_on for s in sensors.surveys(book, "small furnace")] == ["2026-03-01", "2026-05-01"]
    tests = sensors.accuracy_tests(book, "small furnace", "control")
    assert [(t.done_on, t.life, t.result["difference_c"]) for t in tests] == [
        ("2026-03-01", life, 1.5),
        ("2026-05-01", life, 1.5),
    ]
    assert sensors.accuracy_tests(book, "small furnace", "load") == ()
