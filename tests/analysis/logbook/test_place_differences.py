"""Place differences in the log book: begun on their day, ended with the sensor life, by hand, or by another place."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.calibration.correcting.place_difference import PlacePoint
from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook import opening
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.opening import LogBook, open_logbook, statements
from soakwitness.analysis.logbook.place_differences import end_place, keep_place, places, places_for
from soakwitness.analysis.logbook.sensors import fit_sensor
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.runfolder.contents import Column
from tests.log_books import LATER, STAMP, new_book

POINT = PlacePoint(1040.0, -12.0, 3.0, "entered", "2026-11-01", "2027-11-01", why="by the element")
CONTROL = Column("control", "sensor", "C", role="control")


def entered(folder: Path, point: PlacePoint = POINT) -> tuple[LogBook, int]:
    book = new_book(folder)
    fit_sensor(book, "shed", "control", fitted_utc="2026-01-01", stamp=STAMP)
    return book, keep_place(book, "shed", "control", point, at_utc="2026-11-01T08:00:00Z", stamp=STAMP)


def on(
    book: LogBook, day: str, *, column: Column = CONTROL, stood: tuple[str, ...] = ()
) -> tuple[float | None, tuple[Says, ...]]:
    found, refused = places_for(book, "shed", [column], started_utc=f"{day}T08:00:00Z", zone="UTC", work_places=stood)
    point = found["control"].at(1040.0) if found else None
    return None if point is None else point.difference_c, refused


def test_it_counts_from_its_day_on_until_the_sensor_is_moved(tmp_path: Path) -> None:
    book, entry = entered(tmp_path)
    assert on(book, "2026-10-31") == (None, ())
    assert on(book, "2026-11-01")[0] == -12.0
    fit_sensor(book, "shed", "control", fitted_utc="2026-11-20T00:00:00Z", stamp=STAMP, position="rear")
    assert on(book, "2026-11-19")[0] == -12.0
    assert on(book, "2026-11-21") == (None, ())
    (kept,) = places(book)
    assert (kept.point.entry, kept.life_ended_utc) == (entry, "2026-11-20T00:00:00Z")


def test_it_ends_by_hand_when_the_work_stands_elsewhere_and_earlier_runs_keep_it(tmp_path: Path) -> None:
    book, entry = entered(tmp_path)
    end_place(book, entry, at_utc="2026-11-20T00:00:00Z", why="shelf raised", stamp=LATER)
    assert on(book, "2026-11-19")[0] == -12.0
    found, (says,) = on(book, "2026-11-21")
    assert found is None
    assert "is not used, it ended on 2026-11-20: shelf raised" in says.text("C")
    with pytest.raises(LogBookError, match="ended at 2026-11-20T00:00:00Z already"):
        end_place(book, entry, at_utc="2026-11-21T00:00:00Z", why="again", stamp=LATER)
    with pytest.raises(LogBookError, match="no place difference 9"):
        end_place(book, 9, at_utc="2026-11-21T00:00:00Z", why="again", stamp=LATER)


def test_a_run_that_says_another_position_has_none(tmp_path: Path) -> None:
    book = new_book(tmp_path)
    fit_sensor(book, "shed", "control", fitted_utc="2026-01-01", stamp=STAMP, position="rear")
    keep_place(book, "shed", "control", POINT, at_utc="2026-11-01T08:00:00Z", stamp=STAMP)
    found, (says,) = on(book, "2026-11-05", column=replace(CONTROL, position="front"))
    assert found is None
    assert "position front, the log book rear" in says.text("C")


def test_a_piece_that_stood_elsewhere_has_none(tmp_path: Path) -> None:
    book, _ = entered(tmp_path, replace(POINT, work_place="middle"))
    assert on(book, "2026-11-05")[0] == -12.0
    assert on(book, "2026-11-05", stood=("Middle",))[0] == -12.0
    found, (says,) = on(book, "2026-11-05", stood=("front",))
    assert found is None
    assert "a piece stood at front" in says.text("C")


def test_one_that_was_wrong_is_struck_and_counts_no_more(tmp_path: Path) -> None:
    book, entry = entered(tmp_path)
    strike(book, "place_differences", [entry], why="slip of the keys", stamp=LATER)
    assert on(book, "2026-11-05") == (None, ())
    assert places(book) == ()
    assert places(book, struck=True)[0].struck_why == "slip of the keys"


def test_a_book_of_the_release_before_keeps_all_it_had_and_can_keep_places(tmp_path: Path) -> None:
    (tmp_path / "runs").mkdir()
    raw = sqlite3.connect(tmp_path / "logbook.sqlite", isolation_level=None)
    for number in (1, 2, 3):
        for statement in statements(Path(opening.__file__).with_name(f"schema_{number:03d}.sql")):
            raw.execute(statement)
    raw.execute(
        "INSERT INTO sensor_lives (entry, furnace, sensor, fitted_utc, entered_utc, entered_by) "
        "VALUES (1, 'shed', 'control', '2026-01-01T00:00:00Z', '2026-01-01T00:00:00Z', 'Ana')"
    )
    raw.execute(
        "INSERT INTO surveys (entry, furnace, done_on, result, entered_utc, entered_by) "
        "VALUES (1, 'shed', '2026-02-01', '{}', '2026-02-01T00:00:00Z', 'Ana')"
    )
    raw.execute("PRAGMA user_version = 3")
    raw.close()
    with open_logbook(tmp_path) as book:
        assert book.row("PRAGMA user_version")[0] == opening.SCHEMA_VERSION
        assert [tuple(r) for r in book.rows("SELECT entry, furnace FROM surveys")] == [(1, "shed")]
        keep_place(book, "shed", "control", POINT, at_utc="2026-11-01T08:00:00Z", stamp=STAMP, survey=1)
        assert book.rows("PRAGMA foreign_key_check") == []
        assert [one.life for one in places(book)] == [1]
