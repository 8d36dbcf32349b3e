"""Batches: pieces that belong together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import pieces_named
from soakwitness.analysis.record.moments import Stamp


@dataclass(frozen=True)
class Batch:
    """A batch with the names of its pieces."""

    name: str
    note: str
    pieces: tuple[str, ...]
    entered_utc: str
    entered_by: str


def add_to_batch(book: LogBook, batch: str, names: Sequence[str], *, stamp: Stamp, note: str = "") -> Batch:
    """Put pieces into a batch, which is made where there is none; those that are in it already stay."""
    if not batch.strip():
        raise LogBookError("A batch needs a name.")
    with book.writing(stamp):
        pieces = pieces_named(book, names)
        if book.row("SELECT 1 FROM batches WHERE batch = ?", batch) is None:
            book.insert("batches", batch=batch, note=note, entered_utc=stamp.at_utc, entered_by=stamp.by)
        made = batch_named(book, batch)
        inside = {name.casefold() for name in made.pieces}
        for piece in pieces:
            if piece.id.casefold() not in inside:
                book.insert(
                    "batch_pieces", batch=made.name, piece=piece.id, entered_utc=stamp.at_utc, entered_by=stamp.by
                )
    return batch_named(book, batch)


def take_from_batch(book: LogBook, batch: str, names: Sequence[str], *, why: str, stamp: Stamp) -> Batch:
    """Strike pieces out of a batch."""
    with book.writing(stamp):
        for piece in pieces_named(book, names):
            row = book.row(
                "SELECT entry FROM batch_pieces WHERE batch = ? AND piece = ? AND struck_utc IS NULL", batch, piece.id
            )
            if row is None:
                raise LogBookError(f"{piece.id} is not in the batch {batch}.")
            strike(book, "batch_pieces", [row["entry"]], why=why, stamp=stamp)
    return batch_named(book, batch)


def find_batch(book: LogBook, name: str) -> Batch | None:
    """Batch of that name, or None."""
    row = book.row("SELECT * FROM batches WHERE batch = ?", name)
    if row is None:
        return None
    pieces = book.rows(
        "SELECT piece FROM batch_pieces WHERE batch = ? AND struck_utc IS NULL ORDER BY entry", row["batch"]
    )
    return Batch(row["batch"], row["note"], tuple(p["piece"] for p in pieces), row["entered_utc"], row["entered_by"])


def batch_named(book: LogBook, name: str) -> Batch:
    """Batch of that name.

    Raises LogBookError if there is none; names the newest ones.
    """
    batch = find_batch(book, name)
    if batch is None:
        known = book.rows("SELECT batch FROM batches ORDER BY entered_utc DESC LIMIT 6")
        hint = f" The newest are {', '.join(row['batch'] for row in known)}." if known else ""
        raise LogBookError(f"{name}: no such batch.{hint}")
    return batch


def all_batches(book: LogBook) -> tuple[Batch, ...]:
    """All batches, newest first."""
    return tuple(
        batch_named(book, row["batch"]) for row in book.rows("SELECT batch FROM batches ORDER BY entered_utc DESC")
    )


def batches_of(book: LogBook, piece: str) -> tuple[str, ...]:
    """Names of the batches a piece is in."""
    rows = book.rows("SELECT batch FROM batch_pieces WHERE piece = ? AND struck_utc IS NULL ORDER BY entry", piece)
    return tuple(row["batch"] for row in rows)
