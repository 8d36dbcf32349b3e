"""A doubtful run is kept apart from lists and trends until a person confirms it; its hours count all the same."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.backing_up import back_up, restore
from soakwitness.analysis.logbook.calibration_records import heats_of, keep_hours_hot
from soakwitness.analysis.logbook.care import check_book, rebuild
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.doubting import confirm_run, doubtful_runs, sealed_and_sure
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.exporting import export_book
from soakwitness.analysis.logbook.kept import stale_runs
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.runs import list_runs, run_named, take_in
from soakwitness.analysis.logbook.striking import strike_run
from soakwitness.analysis.record.hours_hot import HoursHot
from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.late import enter_late
from tests.log_books import LATER, STAMP, new_book
from tests.run_folders import STARTED_UTC, doubtful_run, sealed_run

WHY = "level above 70 °C, by the heater or by hot bricks"


def two_runs(folder: Path) -> tuple[LogBook, str, str]:
    sure, doubtful = sealed_run(folder, 60).name, doubtful_run(folder, 60).name
    book = new_book(folder, "B-001")
    take_in(book, stamp=STAMP)
    return book, sure, doubtful


def test_a_doubtful_run_is_kept_apart_until_it_is_confirmed(tmp_path: Path) -> None:
    book, sure, doubtful = two_runs(tmp_path)
    assert doubtful_runs(book) == {doubtful: WHY}
    assert [entry.run for entry in list_runs(book)] == [sure]
    assert stale_runs(book) == [sure]
    assert run_named(book, "last").run == sure
    assert run_named(book, doubtful).run == doubtful
    assert sealed_and_sure(book) == {sure}
    assert check_book(book) == ()
    entry = confirm_run(book, doubtful, why="I tempered", stamp=LATER)
    assert doubtful_runs(book) == {}
    assert {run.run for run in list_runs(book)} == {sure, doubtful}
    assert run_named(book, "last").run == doubtful
    with pytest.raises(LogBookError, match="is not doubtful"):
        confirm_run(book, doubtful, stamp=LATER)
    strike(book, "run_confirmations", [entry], why="no, I did not", stamp=LATER)
    assert doubtful_runs(book) == {doubtful: WHY}


def test_a_doubtful_run_that_is_struck_out_is_doubtful_no_more(tmp_path: Path) -> None:
    book, _, doubtful = two_runs(tmp_path)
    strike_run(book, doubtful, why="bricks", stamp=LATER)
    assert doubtful_runs(book) == {}
    assert doubtful not in {entry.run for entry in list_runs(book)}


def test_a_mark_that_is_entered_later_takes_the_doubt_away(tmp_path: Path) -> None:
    book, _, doubtful = two_runs(tmp_path)
    mark = Mark(10.0, "load", pieces=("B-001",), mark_id="abc123", entered_t_s=60.0, entered_later=True)
    enter_late(tmp_path / "runs" / doubtful, mark, now_utc=STARTED_UTC + 90)
    take_in(book, stamp=LATER)
    assert doubtful_runs(book) == {}
    assert doubtful in {entry.run for entry in list_runs(book)}


def test_pieces_that_were_entered_for_it_take_the_doubt_away_until_they_are_struck(tmp_path: Path) -> None:
    """Pieces prove that somebody fired; and what is known of the furnace in a later run changes with it."""
    book, sure, doubtful = two_runs(tmp_path)
    with book.writing(LATER):
        book.connection.execute("UPDATE runs SET started_utc = '2026-12-01T07:00:00.000Z' WHERE run = ?", (sure,))

    def figures_kept_after(act: Callable[[], object]) -> bool:
        with book.writing(LATER):
            book.connection.execute("INSERT OR REPLACE INTO figures VALUES (?, NULL, '1', '', '', '')", (sure,))
        act()
        return book.row("SELECT 1 FROM figures WHERE run = ?", sure) is not None

    assert not figures_kept_after(lambda: charge_pieces(book, ["B-001"], run=doubtful, stamp=LATER))
    assert doubtful_runs(book) == {}
    assert {entry.run for entry in list_runs(book)} == {sure, doubtful}
    (row,) = book.rows("SELECT entry FROM charge_pieces")
    assert not figures_kept_after(lambda: strike(book, "charge_pieces", [row["entry"]], why="no", stamp=LATER))
    assert doubtful_runs(book) == {doubtful: WHY}


def test_its_hours_count_and_no_heat(tmp_path: Path) -> None:
    book, sure, doubtful = two_runs(tmp_path)
    for run in (sure, doubtful):
        with book.writing(STAMP):
            keep_hours_hot(book, run, [HoursHot("control", hours_800=0.5, hours_950=0.0, hottest_c=820.0)], files="x")
    found = heats_of(book, "small furnace", "control", after_utc="2000")
    assert (found.heats, found.hours_800) == (1, 1.0)
    strike_run(book, doubtful, why="wrong sensor", stamp=LATER)
    assert heats_of(book, "small furnace", "control", after_utc="2000").hours_800 == 0.5


def test_rebuild_export_and_a_backup_keep_doubt_and_confirmation(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    book, sure, doubtful = two_runs(folder)
    other = doubtful_run(folder, 30).name
    take_in(book, stamp=STAMP)
    confirm_run(book, other, why="a temper", stamp=LATER)
    rebuild(book, stamp=LATER)
    assert doubtful_runs(book) == {doubtful: WHY}
    assert {entry.run for entry in list_runs(book)} == {sure, other}
    back_up(book, tmp_path / "b.zip", stamp=LATER)
    restore(tmp_path / "b.zip", tmp_path / "back")
    with open_logbook(tmp_path / "back") as back:
        assert doubtful_runs(back) == {doubtful: WHY}
    export_book(book, tmp_path / "out")
    lines = (tmp_path / "out" / "runs.csv").read_text(encoding="utf-8").splitlines()
    assert [WHY in line for line in lines if doubtful in line] == [True]
    assert other in (tmp_path / "out" / "run_confirmations.csv").read_text(encoding="utf-8")
