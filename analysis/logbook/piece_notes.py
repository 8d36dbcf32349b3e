"""Notes about pieces: words that a person said at a moment, beside the facts."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import pieces_named
from soakwitness.analysis.record.moments import Stamp, moment_of
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field
from soakwitness.firmware_bridge.common.wording import Says


@dataclass(frozen=True)
class PieceNote:
    """One note about a piece; ``at_utc`` is the moment it is about."""

    entry: int
    piece: str
    at_utc: str
    words: str
    entered_by: str


def add_note(book: LogBook, names: Sequence[str], words: str, *, at_utc: str, stamp: Stamp) -> tuple[int, ...]:
    """Enter a note about one or several pieces.

    Raises LogBookError if a piece does not exist, or the note is empty.
    """
    if not words.strip():
        raise LogBookError(Says.of("The note is empty: say something{words}.", words=Field("words", around=ASIDE)))
    with book.writing(stamp):
        return tuple(
            book.insert(
                "piece_notes",
                piece=piece.id,
                at_utc=moment_of(at_utc),
                words=words.strip(),
                entered_utc=stamp.at_utc,
                entered_by=stamp.by,
            )
            for piece in pieces_named(book, names)
        )


def notes_of(book: LogBook, piece: str) -> tuple[PieceNote, ...]:
    """Notes about a piece that stand, in order."""
    rows = book.rows("SELECT * FROM piece_notes WHERE piece = ? AND struck_utc IS NULL ORDER BY at_utc, entry", piece)
    return tuple(_note(row) for row in rows)


def _note(row: sqlite3.Row) -> PieceNote:
    return PieceNote(**{name: row[name] for name in PieceNote.__dataclass_fields__})
