"""A log book of the release with schema version 3, opened by this one: nothing is lost, work can be entered."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from soakwitness.analysis.logbook import opening
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.exporting import export_book
from soakwitness.analysis.logbook.furnace_work import add_upkeep, upkeep_of
from soakwitness.analysis.logbook.opening import open_logbook, statements
from soakwitness.analysis.record.moments import Stamp

STAMP = Stamp("2026-11-26T12:00:00Z", "Ana")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """Folder of such a book with one recipe in it."""
    (tmp_path / "runs").mkdir()
    raw = sqlite3.connect(tmp_path / "logbook.sqlite", isolation_level=None)
    for version in (1, 2, 3):
        for statement in statements(Path(opening.__file__).with_name(f"schema_{version:03d}.sql")):
            raw.execute(statement)
    raw.execute("INSERT INTO recipes VALUES ('d', 'harden', 'name = 1')")
    raw.execute("PRAGMA user_version = 3")
    raw.close()
    return tmp_path


def test_nothing_is_lost_and_work_can_be_entered(old: Path, tmp_path: Path) -> None:
    with open_logbook(old) as book:
        assert book.row("PRAGMA user_version")[0] == opening.SCHEMA_VERSION
        assert [row["name"] for row in book.rows("SELECT name FROM recipes")] == ["harden"]
        first = add_upkeep(book, "shed", "elements", done_utc="2026-11-03T08:00:00Z", stamp=STAMP, note="both")
        add_upkeep(book, "shed", "relay", done_utc="2026-10-03T08:00:00Z", stamp=STAMP)
        assert [u.part for u in upkeep_of(book, "shed")] == ["relay", "elements"]
        assert upkeep_of(book, "other") == ()
        strike(book, "upkeep", [first], why="wrong furnace", stamp=STAMP)
        assert [u.part for u in upkeep_of(book, "shed")] == ["relay"]
        export_book(book, tmp_path / "tables", samples=False)
    rows = (tmp_path / "tables" / "upkeep.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == 3  # head, the one that stands, the struck one
    assert "wrong furnace" in rows[2]


def test_a_book_that_was_migrated_is_the_same_as_a_new_one(old: Path, tmp_path: Path) -> None:
    def schema(folder: Path) -> set[tuple[str, str]]:
        with open_logbook(folder, create=True) as book:
            return {tuple(row) for row in book.rows("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")}

    assert schema(old) == schema(tmp_path / "new")
