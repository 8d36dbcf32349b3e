"""A run that was struck out is kept, and counted nowhere."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.care import check_book, rebuild
from soakwitness.analysis.logbook.charges import charge_pieces, runs_of_piece
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.history import piece_history
from soakwitness.analysis.logbook.kept import stale_runs
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import furnaces, list_runs, run_named, runs_listed, take_in
from soakwitness.analysis.logbook.striking import restore_run, strike_run, struck_runs
from tests.log_books import LATER, STAMP, new_book
from tests.run_folders import sealed_run


def three_runs(folder: Path) -> tuple[LogBook, list[str]]:
    names = [sealed_run(folder, 60).name for _ in range(3)]
    book = new_book(folder, "B-001")
    take_in(book, stamp=STAMP)
    return book, names


def test_a_struck_run_is_out_of_lists_and_trends_and_is_kept(tmp_path: Path) -> None:
    book, (first, second, third) = three_runs(tmp_path)
    charge_pieces(book, ["B-001"], run=second, stamp=STAMP)
    strike_run(book, second, why="a trial", stamp=LATER)
    assert {entry.run for entry in list_runs(book)} == {first, third}
    assert set(stale_runs(book)) == {first, third}
    assert runs_of_piece(book, "B-001") == ()
    assert piece_history(book, "B-001").steps == ()
    assert run_named(book, second).run == second
    assert [entry.run for entry in runs_listed(book, [second])] == [second]
    assert (tmp_path / "runs" / second / "samples.csv").exists()
    (struck,) = struck_runs(book).values()
    assert (struck.run, struck.why, struck.struck_by, struck.struck_utc) == (second, "a trial", "Ben", LATER.at_utc)


def test_a_struck_run_is_out_of_the_check_even_where_it_is_gone(tmp_path: Path) -> None:
    book, (_, second, third) = three_runs(tmp_path)
    (tmp_path / "runs" / second / "samples.csv").write_text("spoilt")
    assert [trouble.where for trouble in check_book(book)] == [second]
    strike_run(book, second, why="spoilt", stamp=LATER)
    assert check_book(book) == ()
    shutil.rmtree(tmp_path / "runs" / second)
    assert check_book(book) == ()
    strike_run(book, third, why="a trial", stamp=LATER)
    shutil.rmtree(tmp_path / "runs" / third)  # the newest of the chain
    assert check_book(book) == ()


def test_striking_outlives_a_rebuild_and_can_be_taken_back(tmp_path: Path) -> None:
    book, (_, _, third) = three_runs(tmp_path)
    strike_run(book, third, why="a trial", stamp=STAMP)
    rebuild(book, stamp=LATER)
    assert set(struck_runs(book)) == {third}
    restore_run(book, third, why="no trial", stamp=LATER)
    assert struck_runs(book) == {}
    assert third in {entry.run for entry in list_runs(book)}
    row = book.row("SELECT why, struck_why, struck_by FROM run_strikes")
    assert row is not None
    assert tuple(row) == ("a trial", "no trial", "Ben")
    entry = strike_run(book, third, why="after all", stamp=LATER)
    strike(book, "run_strikes", [entry], why="again not", stamp=LATER)
    assert struck_runs(book) == {}


def test_last_is_not_a_run_that_was_struck(tmp_path: Path) -> None:
    book, (first, second, third) = three_runs(tmp_path)
    assert run_named(book, "last").run == third  # all began at one moment: the one made last
    strike_run(book, third, why="a trial", stamp=STAMP)
    assert run_named(book, "last").run == second
    for run in (first, second):
        strike_run(book, run, why="a trial", stamp=STAMP)
    assert furnaces(book) == ()
    with pytest.raises(LogBookError, match="no such run"):
        run_named(book, "last")


def test_what_cannot_be_struck_is_refused(tmp_path: Path) -> None:
    book, (first, _, _) = three_runs(tmp_path)
    with pytest.raises(LogBookError, match="Say why"):
        strike_run(book, first, why=" ", stamp=STAMP)
    with pytest.raises(LogBookError, match="no such run"):
        strike_run(book, "20200101T000000Z_x_0000", why="a trial", stamp=STAMP)
    with pytest.raises(LogBookError, match="is not struck out"):
        restore_run(book, first, why="x", stamp=STAMP)
    strike_run(book, first, why="a trial", stamp=STAMP)
    with pytest.raises(LogBookError, match="by Ana at .* already: a trial"):
        strike_run(book, first, why="twice", stamp=LATER)
