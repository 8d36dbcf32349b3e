"""Photographs of pieces: files named by what is in them, and entries that say of which piece, when and by whom."""

from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import piece_named
from soakwitness.analysis.record.moments import Stamp, moment_of
from soakwitness.firmware_bridge.runfolder.files import Files

FOLDER = "photos"


@dataclass(frozen=True)
class Photo:
    """One photograph of a piece. ``taken_utc``: when, so one said; ``digest``: SHA-256 of its file."""

    entry: int
    piece: str
    digest: str
    width_px: int
    height_px: int
    taken_utc: str
    note: str
    entered_utc: str
    entered_by: str

    @property
    def file_name(self) -> str:
        """Name of its file in the folder of photographs."""
        return f"{self.digest}.jpg"


def add_photo(
    book: LogBook,
    piece: str,
    data: bytes,
    *,
    width_px: int,
    height_px: int,
    taken_utc: str,
    stamp: Stamp,
    note: str = "",
) -> int:
    """Keep a photograph with a piece.

    ``data``: the JPEG file as it is to be kept, already small and without anything written in it.

    Raises LogBookError if the piece does not exist, has this very photograph already, or the file cannot be written.
    """
    known, digest = piece_named(book, piece), hashlib.sha256(data).hexdigest()
    with book.writing(stamp):
        there = book.row("SELECT * FROM photos WHERE piece = ? AND digest = ? AND struck_utc IS NULL", known.id, digest)
        if there is not None:
            raise LogBookError(
                f"{known.id} has this photograph already, entry {there['entry']}, by {there['entered_by']} at "
                f"{there['entered_utc']}."
            )
        _write(book.folder / FOLDER / f"{digest}.jpg", data)  # before the entry: none stands without its file
        return book.insert(
            "photos",
            piece=known.id,
            digest=digest,
            width_px=width_px,
            height_px=height_px,
            taken_utc=moment_of(taken_utc),
            note=note,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def photos_of(book: LogBook, piece: str) -> tuple[Photo, ...]:
    """Photographs of a piece that stand, in the order they were taken."""
    rows = book.rows("SELECT * FROM photos WHERE piece = ? AND struck_utc IS NULL ORDER BY taken_utc, entry", piece)
    return tuple(_photo(row) for row in rows)


def all_photos(book: LogBook, *, struck: bool = False) -> tuple[Photo, ...]:
    """Photographs of all pieces; those struck through only on request: their files stay."""
    return tuple(
        _photo(r) for r in book.rows("SELECT * FROM photos WHERE ? OR struck_utc IS NULL ORDER BY entry", struck)
    )


def photo_of(book: LogBook, digest: str) -> Photo | None:
    """A photograph that stands with a piece, by its digest."""
    row = book.row("SELECT * FROM photos WHERE digest = ? AND struck_utc IS NULL", digest)
    return None if row is None else _photo(row)


def photo_path(book: LogBook, photo: Photo) -> Path:
    """Where its file lies."""
    return book.folder / FOLDER / photo.file_name


def photo_trouble(path: Path, digest: str) -> str | None:
    """What is wrong with a photograph's file; None where it is what was kept."""
    try:
        with path.open("rb") as file:
            return None if hashlib.file_digest(file, "sha256").hexdigest() == digest else "is not what was kept"
    except FileNotFoundError:
        return "is missing"
    except OSError as error:
        return f"cannot be read: {error.strerror or error}"


def _write(path: Path, data: bytes) -> None:
    """Whole or not at all; one that is there and right stays."""
    if photo_trouble(path, path.stem) is None:
        return
    part = path.with_name(f"{path.stem}.{os.getpid()}.part")
    try:
        path.parent.mkdir(exist_ok=True)
        with open(part, "xb", opener=lambda name, how: os.open(name, how, 0o600)) as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
        Files().sync_folder(path.parent)
    except OSError as error:
        raise LogBookError(
            f"{path}: the photograph could not be written ({error.strerror or error}). Nothing was entered."
        ) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def _photo(row: sqlite3.Row) -> Photo:
    return Photo(**{name: row[name] for name in Photo.__dataclass_fields__})
