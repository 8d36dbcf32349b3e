"""Copies of the log book's database: one a day, one before all verdicts are made anew, whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.record.moments import Stamp

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook

DATABASE = "logbook.sqlite"
COPIES = "copies"
COPIES_KEPT = 10
SMALL_BOOK_BYTES = 8 << 20  # up to here the day's copy is renewed with every write
_COPY_NAME = re.compile(r"logbook-\d{8}\.sqlite")
_BEFORE_NAME = re.compile(r"before-recompute-\d{8}T\d{6}Z\.sqlite")


def copy_of_the_day(book: LogBook, *, stamp: Stamp) -> None:
    """Keep the day's copy after an entry; where it cannot be made that is told, and the entry stands."""
    day = stamp.at_utc[:10].replace("-", "")
    goal = book.folder / COPIES / f"logbook-{day}.sqlite"
    size = (book.folder / DATABASE).stat().st_size
    if goal.exists() and size > SMALL_BOOK_BYTES:
        return
    try:
        goal.parent.mkdir(exist_ok=True)
        copy_to(book, goal, replace=True)
        _keep_newest(goal.parent, _COPY_NAME)
    except (OSError, sqlite3.Error, LogBookError) as error:
        if book.told is not None:
            book.told(f"The entry stands, but the day's copy {goal} could not be made: {error}.")


def _keep_newest(folder: Path, name: re.Pattern[str]) -> None:
    """Of copies of this kind, whose names sort by time, only the newest ten."""
    for old in sorted(p for p in folder.iterdir() if name.fullmatch(p.name))[:-COPIES_KEPT]:
        old.unlink()


def copy_before_recompute(book: LogBook, *, stamp: Stamp) -> Path:
    """Copy the database before all verdicts are made anew.

    ``stamp``: when and by whom; the copy is named by it.

    Raises LogBookError if it cannot be written.
    """
    moment = stamp.at_utc.replace("-", "").replace(":", "")
    goal = book.folder / COPIES / f"before-recompute-{moment}.sqlite"
    goal.parent.mkdir(exist_ok=True)
    copy_to(book, goal, replace=True)
    _keep_newest(goal.parent, _BEFORE_NAME)
    return goal


def copy_to(book: LogBook, goal: Path, *, replace: bool = False) -> None:
    """Write a consistent copy of the database while it may be in use.

    ``goal``: file to be made; it appears whole or not at all. ``replace``: whether a file of that name may be replaced.

    Raises LogBookError if the file exists and may not be replaced, or cannot be written.
    """
    if goal.exists() and not replace:
        raise LogBookError(f"{goal} exists. Give another name.")
    part = goal.with_name(f"{goal.name}.{os.getpid()}.part")
    try:
        part.unlink(missing_ok=True)
        only_for_the_owner(part)
        book.connection.execute("VACUUM INTO ?", (str(part),))
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(part, goal)
        _sync_folder(goal.parent)
    except (OSError, sqlite3.Error) as error:
        raise LogBookError(f"{goal}: the copy could not be written ({error}).") from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def only_for_the_owner(path: Path) -> None:
    """Make a file that others cannot read, where there is none yet; SQLite gives its companions the same mode.

    An empty file is a new database to SQLite. What is there keeps the mode that a person gave it.
    """
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # a folder cannot be opened for fsync there
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
