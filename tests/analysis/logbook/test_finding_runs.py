"""Runs found again by what is known of them, page by page and counted."""

from __future__ import annotations

import random
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.finding_runs import RunsAsked, find_runs, months_of_runs, steels_known
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces, count_pieces, search
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.logbook.striking import strike_run
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.log_books import STAMP, new_book
from tests.run_folders import COLUMNS

RECIPE = 'name = "Chef\'s blades, harden"\nunit = "C"\nsteel = "1.4116"\n'


def a_run(logbook: Path, start: str, furnace: str = "Shed furnace", mark: str = "", **more: Any) -> str:
    began = datetime.fromisoformat(start).timestamp()
    run = RunFolder.create(logbook, columns=COLUMNS, furnace_name=furnace, started_utc=began, **more)
    run.write_row(0, began, {"control": 20.0, "load": 20.0, "setpoint": 20.0})
    if mark:
        run.write_event(0, began, "mark", f"{mark}; id a1b2c3")
    run.close()
    return run.path.name


@pytest.fixture
def book(tmp_path: Path) -> LogBook:
    made = new_book(tmp_path)
    add_pieces(made, [Piece("C-03", steel="S44004", customer="Huber"), Piece("C-04", steel="1.2519")], stamp=STAMP)
    return made


def found(book: LogBook, **asked: Any) -> list[str]:
    return [entry.run for entry in find_runs(book, RunsAsked(**asked)).entries]


def test_each_filter_by_itself_and_all_together(book: LogBook) -> None:
    one = a_run(book.folder, "2026-03-03T07:00:00Z", mark="load; pieces c-03")
    two = a_run(
        book.folder, "2026-03-09T07:00:00Z", recipe_name="Chef's blades, harden", recipe_file=RECIPE, operator="Ana"
    )
    three = a_run(book.folder, "2026-04-01T07:00:00Z", furnace="Kiln", mark="note; note the door stuck")
    take_in(book, stamp=STAMP)
    charge_pieces(book, ["C-04"], run=three, stamp=STAMP)
    assert found(book) == [three, two, one]
    assert found(book, furnace="kiln") == [three]
    assert found(book, month="2026-03") == [two, one]
    assert found(book, piece="C-03") == [one]
    assert found(book, piece="c-04") == [three]
    assert found(book, steel="s44004") == [one]
    assert found(book, steel="1.4116") == [two]  # named by its recipe alone
    assert found(book, verdict="not judged") == [three, two, one]
    assert found(book, verdict="pass") == []
    assert found(book, text="huber") == [one]
    assert found(book, text="ana chef's") == [two]
    assert found(book, text="door stuck") == [three]
    assert found(book, text="C-03") == [one]
    assert found(book, furnace="Kiln", month="2026-04", piece="C-04", steel="1.2519", text="stuck kiln") == [three]
    assert found(book, furnace="Kiln", month="2026-03") == []


def test_a_verdict_is_found_while_it_is_up_to_date(book: LogBook) -> None:
    run = a_run(book.folder, "2026-03-09T07:00:00Z", recipe_name="Harden", recipe_file=RECIPE)
    take_in(book, stamp=STAMP)
    digest = book.rows("SELECT digest FROM recipes")[0]["digest"]
    with book.writing(STAMP):
        book.insert(
            "verdicts", run=run, recipe_digest=digest, analysis_version="1", made_utc="x", verdict="fail", answer="{}"
        )
        book.insert("figures", run=run, analysis_version="1", made_utc="x", audit="{}", condition="{}")
    assert (found(book, verdict="fail"), found(book, verdict="not judged")) == ([run], [])
    with book.writing(STAMP):
        book.connection.execute("DELETE FROM figures")
    assert (found(book, verdict="fail"), found(book, verdict="not judged")) == ([], [run])


def test_a_month_is_that_of_the_runs_own_zone(book: LogBook) -> None:
    """23:30 UTC on 31 March is 1:30 on 1 April in Vienna (UTC+2) and 31 March in New York."""
    vienna = a_run(book.folder, "2026-03-31T23:30:00Z", zone="Europe/Vienna")
    york = a_run(book.folder, "2026-03-31T23:30:00Z", zone="America/New_York")
    take_in(book, stamp=STAMP)
    assert found(book, month="2026-04") == [vienna]
    assert found(book, month="2026-03") == [york]
    assert months_of_runs(book) == {"2026-04": 1, "2026-03": 1}
    assert found(book, month="2026-12") == []  # its end is in another year


@pytest.mark.parametrize("asked", [{"month": "2026-13"}, {"month": "March"}, {"verdict": "passed"}])
def test_what_is_no_month_and_no_verdict_is_named(book: LogBook, asked: dict[str, str]) -> None:
    with pytest.raises(LogBookError, match=next(iter(asked.values()))):
        find_runs(book, RunsAsked(**asked))


def test_struck_out_runs_are_apart(book: LogBook) -> None:
    one, two = (a_run(book.folder, f"2026-03-0{day}T07:00:00Z") for day in (1, 2))
    take_in(book, stamp=STAMP)
    strike_run(book, one, why="a trial", stamp=STAMP)
    assert (found(book), found(book, only="struck")) == ([two], [one])


def test_pages_are_parts_of_the_whole_list_and_counted(book: LogBook) -> None:
    names = [a_run(book.folder, f"2026-03-{day:02d}T07:00:00Z") for day in range(1, 12)]
    take_in(book, stamp=STAMP)
    pages = [find_runs(book, RunsAsked(), most=4, skip=skip) for skip in (0, 4, 8, 12)]
    assert [entry.run for page in pages for entry in page.entries] == names[::-1]
    assert {page.count for page in pages} == {11}


def test_signs_of_sql_are_words_like_any_others(book: LogBook) -> None:
    run = a_run(book.folder, "2026-03-03T07:00:00Z", mark="note; note 100 % 'done'")
    take_in(book, stamp=STAMP)
    assert found(book, text="' OR 1=1 --") == []
    assert found(book, text="% 'done'") == [run]
    assert found(book, text="_") == [run]  # it stands in the run's name, and is no wildcard
    assert found(book, piece="x' OR '1'='1") == []


def test_pieces_come_in_pages_too_and_by_their_batch(book: LogBook) -> None:
    names = [f"P-{number:02d}" for number in range(20)]
    random.Random(1).shuffle(names)
    add_pieces(book, [Piece(name, steel="S44004") for name in names], stamp=STAMP)
    assert count_pieces(book, exact={"steel": "s44004"}) == 21
    pages = [search(book, "P-", limit=8, skip=skip) for skip in (0, 8, 16)]
    assert [piece.id for page in pages for piece in page] == sorted(names)
    assert count_pieces(book, exact={"batch": "none"}) == 0
    assert steels_known(book) == ("1.2519", "S44004")
