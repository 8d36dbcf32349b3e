"""Small log books for tests."""

from __future__ import annotations

from pathlib import Path

from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces, spelled_out
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.record.moments import Stamp
from tests.run_folders import sealed_run

STAMP = Stamp("2026-11-25T09:00:00Z", "Ana")
LATER = Stamp("2026-11-26T09:00:00Z", "Ben")
OPENED: list[LogBook] = []  # closed after each test (tests/conftest.py): an open database left behind is a warning


def new_book(folder: Path, *pieces: str, **facts: object) -> LogBook:
    """A log book with these pieces."""
    book = open_logbook(folder, create=True)
    OPENED.append(book)
    if pieces:
        add_pieces(book, [Piece(name, **facts) for name in spelled_out(pieces)], stamp=STAMP)  # type: ignore[arg-type]
    return book


def book_with_run(folder: Path, *pieces: str, seconds: int = 60, **facts: object) -> tuple[LogBook, str]:
    """A log book with these pieces and one sealed run, and the run's id."""
    run = sealed_run(folder, seconds).name
    book = new_book(folder, *pieces, **facts)
    take_in(book, stamp=STAMP)
    return book, run
