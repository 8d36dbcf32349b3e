from __future__ import annotations

import os
import sqlite3
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook import opening
from soakwitness.analysis.logbook.copies import COPIES_KEPT, copy_to
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces, find_piece
from soakwitness.analysis.record.moments import Stamp
from tests.log_books import STAMP, new_book


def test_the_database_is_set_as_designed(tmp_path: Path) -> None:
    with new_book(tmp_path / "book") as book:
        assert book.row("PRAGMA journal_mode")[0] == "wal"
        assert book.row("PRAGMA synchronous")[0] == 2  # FULL, from SQLite's documentation of the pragma
        assert book.row("PRAGMA foreign_keys")[0] == 1
        assert book.row("PRAGMA user_version")[0] == opening.SCHEMA_VERSION
        assert (tmp_path / "book" / "runs").is_dir()


def test_a_folder_without_a_log_book_is_not_made_into_one(tmp_path: Path) -> None:
    with pytest.raises(LogBookError, match="there is no log book here"):
        open_logbook(tmp_path / "nothing")
    assert not (tmp_path / "nothing").exists()


@pytest.mark.skipif(os.name == "nt", reason="files have no mode there")
def test_a_log_book_and_its_copies_are_read_by_their_owner_alone(tmp_path: Path) -> None:
    mask = os.umask(0o002)
    try:
        with new_book(tmp_path / "book", "B-001") as book:
            copy_to(book, tmp_path / "copy.sqlite")
            files = [*(tmp_path / "book").glob("logbook.sqlite*"), *(tmp_path / "book" / "copies").iterdir()]
            modes = {file.name: file.stat().st_mode & 0o777 for file in (*files, tmp_path / "copy.sqlite")}
    finally:
        os.umask(mask)
    assert len(modes) >= 4  # the database, its two companions, the day's copy
    assert set(modes.values()) == {0o600}, modes


def test_all_of_a_write_stands_or_nothing(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001") as book:
        with pytest.raises(LogBookError, match="B-001"):
            add_pieces(book, [Piece("B-002"), Piece("b-001")], stamp=STAMP)
        assert find_piece(book, "B-002") is None
        with pytest.raises(RuntimeError, match="in the middle"):
            _write_and_fail(book)
        assert find_piece(book, "B-003") is None


def _write_and_fail(book: LogBook) -> None:
    with book.writing(STAMP):
        add_pieces(book, [Piece("B-003")], stamp=STAMP)
        raise RuntimeError("in the middle")


def test_a_row_that_refers_to_nothing_is_refused(tmp_path: Path) -> None:
    with new_book(tmp_path) as book, pytest.raises(sqlite3.IntegrityError), book.writing(STAMP):
        book.insert("batch_pieces", batch="none", piece="none", entered_utc=STAMP.at_utc, entered_by="Ana")


def test_a_second_writer_is_told_who_has_it(tmp_path: Path) -> None:
    told: list[str] = []
    with new_book(tmp_path) as first, open_logbook(tmp_path, wait_s=0.05, told=told.append) as second:
        with first.writing(STAMP):
            add_pieces(first, [Piece("B-001")], stamp=STAMP)
            with pytest.raises(LogBookError, match=r"Ana, process \d+.*Nothing of this command was entered"):
                add_pieces(second, [Piece("B-002")], stamp=Stamp("2026-11-25T09:00:05Z", "Ben"))
        add_pieces(second, [Piece("B-002")], stamp=Stamp("2026-11-25T09:00:09Z", "Ben"))
        assert find_piece(first, "B-001") is not None
        assert find_piece(first, "B-002") is not None
    assert not (tmp_path / "logbook.writer").exists()


def test_a_waiting_writer_hears_of_the_other_and_goes_on(tmp_path: Path) -> None:
    told: list[str] = []
    with new_book(tmp_path) as first, open_logbook(tmp_path, wait_s=2.0, told=told.append) as second:
        first.connection.execute("BEGIN IMMEDIATE")

        def hear(says: str) -> None:
            told.append(says)
            first.connection.execute("COMMIT")

        patient = opening.LogBook(second.folder, second.connection, second.wait_s, hear)
        add_pieces(patient, [Piece("B-001")], stamp=STAMP)
        assert told == ["The log book is being written by someone else; waiting."]
        assert find_piece(first, "B-001") is not None


def test_each_day_with_a_write_leaves_a_copy_and_ten_are_kept(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        for day in range(1, 15):
            add_pieces(book, [Piece(f"B-{day:03d}")], stamp=Stamp(f"2026-11-{day:02d}T09:00:00Z", "Ana"))
    copies = sorted(p.name for p in (tmp_path / "copies").iterdir())
    assert copies == [f"logbook-202611{day:02d}.sqlite" for day in range(14 - COPIES_KEPT + 1, 15)]
    last = sqlite3.connect(tmp_path / "copies" / copies[-1])
    assert last.execute("SELECT count(*) FROM pieces").fetchone()[0] == 14
    last.close()


def test_a_copy_never_replaces_a_file_unasked(tmp_path: Path) -> None:
    goal = tmp_path / "mine.sqlite"
    goal.write_text("mine")
    with new_book(tmp_path / "book", "B-001") as book:
        with pytest.raises(LogBookError, match="exists"):
            copy_to(book, goal)
        assert goal.read_text() == "mine"
        copy_to(book, goal, replace=True)
    assert goal.read_bytes().startswith(b"SQLite format 3")
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".part")] == []


def test_a_newer_schema_is_refused(tmp_path: Path) -> None:
    new_book(tmp_path).close()
    raw = sqlite3.connect(tmp_path / "logbook.sqlite")
    raw.execute("PRAGMA user_version = 99")
    raw.close()
    with pytest.raises(LogBookError, match="schema version 99"):
        open_logbook(tmp_path)


def test_a_log_book_that_is_refused_is_closed_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "logbook.sqlite").write_bytes(b"this is no database, whatever its name says" * 40)
    opened: list[sqlite3.Connection] = []

    class Kept(sqlite3.Connection):
        def __init__(self, *args: Any, **options: Any) -> None:
            super().__init__(*args, **options)
            opened.append(self)

    monkeypatch.setattr(opening.sqlite3, "connect", partial(sqlite3.connect, factory=Kept))
    with pytest.raises(LogBookError, match="cannot be opened"):
        open_logbook(tmp_path)
    with pytest.raises(sqlite3.ProgrammingError, match="closed"):
        opened[0].execute("SELECT 1")


def test_a_migration_is_whole_or_not_at_all_and_leaves_a_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    new_book(tmp_path / "book", "B-001").close()
    steps = tmp_path / "steps"
    steps.mkdir()
    now, next_one = opening.SCHEMA_VERSION, opening.SCHEMA_VERSION + 1
    step = steps / f"schema_{next_one:03d}.sql"
    step.write_text("CREATE TABLE extra (x TEXT) STRICT;\nSELECT nonsense FROM nowhere;\n")
    monkeypatch.setattr(opening, "__file__", str(steps / "opening.py"))
    monkeypatch.setattr(opening, "SCHEMA_VERSION", next_one)
    with pytest.raises(LogBookError, match="nowhere"):
        open_logbook(tmp_path / "book")
    raw = sqlite3.connect(tmp_path / "book" / "logbook.sqlite")
    assert raw.execute("PRAGMA user_version").fetchone()[0] == now
    assert raw.execute("SELECT count(*) FROM sqlite_master WHERE name = 'extra'").fetchone()[0] == 0
    raw.close()
    step.write_text("CREATE TABLE extra (x TEXT) STRICT;\n")
    with open_logbook(tmp_path / "book") as book:
        assert book.row("PRAGMA user_version")[0] == next_one
        assert find_piece(book, "B-001") is not None
    assert (tmp_path / "book" / "copies" / f"before-schema-{next_one}.sqlite").exists()


def test_a_damaged_database_is_named_with_the_way_out(tmp_path: Path) -> None:
    new_book(tmp_path, "B-001").close()
    (tmp_path / "logbook.sqlite").write_bytes(b"this is no database, whatever its name says" * 40)
    with pytest.raises(LogBookError, match="copies"):
        open_logbook(tmp_path)
