"""Photographs kept with a piece: written once, checked, carried by export and backup, struck and never deleted."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook import opening, photos
from soakwitness.analysis.logbook.backing_up import back_up, restore
from soakwitness.analysis.logbook.care import check_book, rebuild
from soakwitness.analysis.logbook.entries import strike, struck_entries
from soakwitness.analysis.logbook.exporting import export_book
from soakwitness.analysis.logbook.hardness import hardness_of
from soakwitness.analysis.logbook.history import piece_history
from soakwitness.analysis.logbook.opening import LogBook, open_logbook, statements
from soakwitness.analysis.logbook.photos import add_photo, all_photos, photo_path, photos_of
from soakwitness.analysis.logbook.piece_notes import notes_of
from tests.log_books import LATER, STAMP, new_book

DATA = b"a picture"


def kept(book: LogBook, piece: str = "B-041", data: bytes = DATA) -> int:
    return add_photo(book, piece, data, width_px=40, height_px=30, taken_utc=STAMP.at_utc, note="edge", stamp=STAMP)


def test_it_is_a_file_of_its_content_s_name_and_an_entry(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-041", "B-042") as book:
        kept(book)
        kept(book, "b-042")
        (one,) = photos_of(book, "B-041")
        (two,) = photos_of(book, "B-042")
        assert (one.digest, one.piece, two.piece, one.entered_by) == (two.digest, "B-041", "B-042", "Ana")
        assert photo_path(book, one).read_bytes() == DATA
        assert [path.name for path in (tmp_path / "photos").iterdir()] == [f"{one.digest}.jpg"]
        assert photo_path(book, one).stat().st_mode & 0o077 == 0
        assert [step.kind for step in piece_history(book, "B-041").steps] == ["photo"]


def test_the_same_one_twice_is_refused_until_it_is_struck(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-041") as book:
        entry = kept(book)
        with pytest.raises(LogBookError, match="has this photograph already, entry 1, by Ana"):
            kept(book)
        strike(book, "photos", [entry], why="another blade", stamp=LATER)
        assert photos_of(book, "B-041") == ()
        assert [(s.kind, s.struck_why) for s in struck_entries(book, "B-041")] == [("photo", "another blade")]
        assert photo_path(book, all_photos(book, struck=True)[0]).exists()
        assert kept(book) == 2
    with new_book(tmp_path) as book, pytest.raises(LogBookError, match="no such piece"):
        kept(book, "B-9")


def test_what_is_wrong_with_a_file_is_told(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-041") as book:
        kept(book)
        path = photo_path(book, photos_of(book, "B-041")[0])
        assert check_book(book) == ()
        path.write_bytes(b"another")
        (changed,) = check_book(book)
        assert "is not what was kept" in changed.says
        path.unlink()
        (gone,) = check_book(book)
        assert (gone.where, "is missing" in gone.says) == ("photo 1 of B-041", True)


def test_no_entry_stands_without_its_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with new_book(tmp_path, "B-041") as book:
        monkeypatch.setattr(photos.os, "fsync", full)
        with pytest.raises(LogBookError, match=r"could not be written \(No space left.*Nothing was entered"):
            kept(book)
        monkeypatch.undo()
        assert photos_of(book, "B-041") == ()
        assert list((tmp_path / "photos").iterdir()) == []


def test_export_backup_and_rebuild_carry_them(tmp_path: Path) -> None:
    with new_book(tmp_path / "book", "B-041") as book:
        kept(book)
        entry = kept(book, data=b"a wrong one")
        strike(book, "photos", [entry], why="wrong", stamp=LATER)
        rebuild(book, stamp=LATER)
        export_book(book, tmp_path / "out", samples=False)
        back_up(book, tmp_path / "book.zip", stamp=LATER)
    assert sorted(p.read_bytes() for p in (tmp_path / "out" / "photos").iterdir()) == [DATA, b"a wrong one"]
    assert len((tmp_path / "out" / "photos.csv").read_text().splitlines()) == 3
    restore(tmp_path / "book.zip", tmp_path / "again")
    with open_logbook(tmp_path / "again") as book:
        assert check_book(book) == ()
        assert photo_path(book, photos_of(book, "B-041")[0]).read_bytes() == DATA


def test_a_book_of_schema_7_takes_them_and_loses_nothing(tmp_path: Path) -> None:
    """Rows as the release with schema version 7 wrote them."""
    (tmp_path / "runs").mkdir()
    raw = sqlite3.connect(tmp_path / "logbook.sqlite", isolation_level=None)
    for number in range(1, 8):
        for statement in statements(Path(opening.__file__).with_name(f"schema_{number:03d}.sql")):
            raw.execute(statement)
    raw.execute("INSERT INTO pieces VALUES ('B-041')")
    raw.execute(
        "INSERT INTO piece_facts (piece, entered_utc, entered_by) VALUES ('B-041', '2026-11-01T08:00:00Z', 'Ana')"
    )
    raw.execute(
        "INSERT INTO hardness (piece, measured_utc, stage, scale, readings, spot, entered_utc, entered_by) VALUES "
        "('B-041', '2026-11-01T09:00:00Z', 'after temper', 'HRC', '[60.1, 60.3]', 'edge', '2026-11-01T09:00:00Z', 'A')"
    )
    raw.execute("PRAGMA user_version = 7")
    raw.close()
    with open_logbook(tmp_path) as book:
        (test,) = hardness_of(book, "B-041")
        assert (test.test.readings, test.spot, test.along_pct, test.across_pct) == ((60.1, 60.3), "edge", None, None)
        kept(book)
        assert len(photos_of(book, "B-041")) == 1
        assert notes_of(book, "B-041") == ()
        old = {(row["name"], row["sql"]) for row in book.rows("SELECT name, sql FROM sqlite_master")}
    with new_book(tmp_path / "new") as book:
        assert old == {(row["name"], row["sql"]) for row in book.rows("SELECT name, sql FROM sqlite_master")}
