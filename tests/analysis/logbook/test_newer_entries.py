"""Two hands at one piece: the second is told what the first entered, and nothing of either is lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.dispositions import add_disposition
from soakwitness.analysis.logbook.entries import ABOUT_PIECE, KINDS, strike
from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.newer_entries import ABOUT_RUN, check_seen, told_about
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.photos import add_photo
from soakwitness.analysis.logbook.piece_notes import add_note, notes_of
from soakwitness.analysis.logbook.pieces import change_piece
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from tests.log_books import LATER, STAMP, book_with_run, new_book


def test_every_table_about_a_piece_or_a_run_is_counted(tmp_path: Path) -> None:
    """Whoever adds a table with a column for either has it counted, or says here why not."""
    not_entered = {
        "run_marks",
        "pieces",
        "runs",
        "run_sensors",
        "verdicts",
        "earlier_verdicts",
        "figures",
        "run_heat",
        "chains",
    }
    of_the_furnace = {"place_differences", "cutout_tests", "calibrations"}  # they name the run they came out of
    with new_book(tmp_path) as book:
        tables = [row["name"] for row in book.rows("SELECT name FROM sqlite_master WHERE type = 'table'")]
        about = {
            t for t in tables if {"piece", "run"} & {column["name"] for column in book.rows(f"PRAGMA table_info({t})")}
        }
    counted = {KINDS[kind] for kind in (*ABOUT_PIECE, *ABOUT_RUN)} | {"charges"}
    assert about - not_entered - of_the_furnace - {"surveys", "accuracy_tests"} <= counted


def test_what_comes_between_is_told_and_nothing_is_entered(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-041") as book:
        seen = len(told_about(book, "b-041"))
        assert seen == 1
        check_seen(book, {"B-041": seen})
        add_note(book, ["B-041"], "first hand", at_utc=LATER.at_utc, stamp=LATER)
        with pytest.raises(LogBookError, match="since then Ben entered note 1 at 2026-11-26T09:00:00Z.*Nothing was"):
            check_seen(book, {"B-041": seen})
        assert [note.words for note in notes_of(book, "B-041")] == ["first hand"]
        check_seen(book, {"B-041": seen + 1})


def _changes(book: LogBook, run: str) -> dict[str, object]:
    """Each act, and what it is done by."""
    reading = HardnessReading((60.0, 60.1, 60.2))
    now = LATER.at_utc
    size = {"width_px": 1, "height_px": 1}
    return {
        "charge": lambda: charge_pieces(book, ["B-041"], run=run, stamp=LATER),
        "hardness": lambda: add_hardness(
            book, "B-041", reading, measured_utc=now, side="after", step="temper", stamp=LATER
        ),
        "treatment": lambda: add_treatment(book, ["B-041"], "temper", start_utc=now, stamp=LATER),
        "change": lambda: change_piece(book, "B-041", why="measured", steel="X", stamp=LATER),
        "photo": lambda: add_photo(book, "B-041", b"picture", taken_utc=now, stamp=LATER, **size),
        "note": lambda: add_note(book, ["B-041"], "said", at_utc=now, stamp=LATER),
        "striking": lambda: strike(book, "hardness", [1], why="block", stamp=LATER),
    }


def test_every_kind_of_entry_counts_and_so_does_striking_it(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "B-041")
    with book:
        for name, act in _changes(book, run).items():
            seen = len(told_about(book, "B-041"))
            act()  # type: ignore[operator]
            with pytest.raises(LogBookError, match="not as it was shown"):
                check_seen(book, {"B-041": seen})
            assert len(told_about(book, "B-041")) == seen + (2 if name == "change" else 1), name


def test_a_run_is_counted_too(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path, "B-041")
    with book:
        seen = len(told_about(book, run))
        entry = add_disposition(book, run, "scrap", stamp=STAMP)
        strike(book, "dispositions", [entry], why="the wrong one", stamp=LATER)
        with pytest.raises(LogBookError, match="Ana entered disposition 1 .*; Ben struck disposition 1"):
            check_seen(book, {run: seen})


def test_an_older_copy_that_was_put_back_is_told(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-041") as book, pytest.raises(LogBookError, match="of 9 entries that were shown there"):
        check_seen(book, {"B-041": 9})
