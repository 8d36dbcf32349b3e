"""The log book's database: opened, migrated, written by one at a time, copied once a day."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.copies import COPIES, DATABASE, copy_of_the_day, copy_to, only_for_the_owner
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import Field, NextCommand
from soakwitness.firmware_bridge.common.wording import Says, joined

SCHEMA_VERSION = 13


@dataclass(frozen=True)
class LogBook:
    """An open log book. Use it as a context manager, or ``close`` it."""

    folder: Path
    connection: sqlite3.Connection
    wait_s: float = 10.0
    told: Callable[[str], None] | None = field(default=None)

    def __enter__(self) -> LogBook:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the database."""
        self.connection.close()

    @property
    def runs_folder(self) -> Path:
        """Folder of the run folders."""
        return self.folder / "runs"

    def rows(self, sql: str, *values: object) -> list[sqlite3.Row]:
        """All rows of a query."""
        return self.connection.execute(sql, values).fetchall()

    def row(self, sql: str, *values: object) -> sqlite3.Row | None:
        """First row of a query, or None."""
        found: sqlite3.Row | None = self.connection.execute(sql, values).fetchone()
        return found

    def insert(self, table: str, **values: object) -> int:
        """Insert one row; return its number. Names come from this wing's own code, never from a person."""
        names, marks = ", ".join(values), ", ".join("?" * len(values))
        cursor = self.connection.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(values.values()))
        return int(cursor.lastrowid or 0)

    @contextmanager
    def writing(self, stamp: Stamp) -> Iterator[None]:
        """All or nothing: what is written inside stands together. Inside another such block it is part of that one.

        Raises LogBookError if someone else is writing for longer than ``wait_s``, or the database cannot be written.
        """
        if self.connection.in_transaction:
            yield
            return
        self._begin(stamp)
        try:
            yield
            self._commit()
        except BaseException:
            self.connection.rollback()
            raise
        finally:
            self._note_path.unlink(missing_ok=True)
        copy_of_the_day(self, stamp=stamp)

    @property
    def _note_path(self) -> Path:
        return self.folder / "logbook.writer"

    def _begin(self, stamp: Stamp) -> None:
        for patience_s in (min(0.5, self.wait_s), self.wait_s):
            self.connection.execute(f"PRAGMA busy_timeout = {int(patience_s * 1000)}")
            try:
                self.connection.execute("BEGIN IMMEDIATE")
                break
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) and "busy" not in str(error):
                    raise _cannot_write(self.folder, error) from error
                if self.told is not None and patience_s < self.wait_s:
                    self.told(f"The log book is being written by {self._other()}; waiting.")
        else:
            raise LogBookError(
                f"The log book {self.folder} is being written by {self._other()}. "
                "Nothing of this command was entered. Wait until the other is finished and give it again."
            )
        with contextlib.suppress(OSError):
            self._note_path.write_text(f"{stamp.by}, process {os.getpid()}, since {stamp.at_utc}\n", encoding="utf-8")

    def _other(self) -> str:
        try:
            return self._note_path.read_text(encoding="utf-8").strip() or "someone else"
        except OSError:
            return "someone else"

    def _commit(self) -> None:
        try:
            self.connection.execute("COMMIT")
        except sqlite3.OperationalError as error:
            raise _cannot_write(self.folder, error) from error


def open_logbook(
    folder: str | Path,
    *,
    create: bool = False,
    wait_s: float = 10.0,
    told: Callable[[str], None] | None = None,
) -> LogBook:
    """Open the log book of a folder.

    ``create``: whether to make folder and database where there are none. A folder with ``runs/`` gets its database
    anyway. ``wait_s``: how long a write waits for another writer [s]. ``told``: gets a sentence when a write has to
    wait, or when the day's copy fails. Returns the open log book, at the schema version of this program.

    Raises LogBookError if there is none, it is damaged, or a newer version of the program made it.
    """
    folder = Path(folder)
    path = folder / DATABASE
    if not path.exists() and not create and not (folder / "runs").is_dir():
        says = (
            "{at}: there is no log book here. Name its folder{named}, or make one by entering something: {add}, {rec}."
        )
        named, add, rec = Field("logbook", around=" with {}"), NextCommand.of("piece", "add"), NextCommand.of("record")
        raise LogBookError(Says.of(says, at=str(folder), named=named, add=add, rec=rec))
    try:
        (folder / "runs").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogBookError(f"{folder}: the log book's folder cannot be made ({error.strerror}).") from error
    try:
        with contextlib.ExitStack() as unless_it_opens:
            only_for_the_owner(path)
            connection = sqlite3.connect(path, isolation_level=None, timeout=wait_s)
            unless_it_opens.callback(connection.close)
            book = LogBook(folder, connection, wait_s, told)
            _set_up(book)
            unless_it_opens.pop_all()
    except (sqlite3.Error, OSError) as error:
        says = (
            f"{path}: cannot be opened as a log book ({error}). The day's copies are in {folder / COPIES}; "
            "put one in its place, then run:"
        )
        raise LogBookError(joined([says, NextCommand.of("logbook", "rebuild")])) from error
    return book


def _set_up(book: LogBook) -> None:
    connection = book.connection
    connection.row_factory = sqlite3.Row
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    version = _version(book)
    if version > SCHEMA_VERSION:
        raise LogBookError(
            f"{book.folder}: this log book has schema version {version}, this program knows up to {SCHEMA_VERSION}. "
            "Use the newer program that made it."
        )
    if version < SCHEMA_VERSION:
        _migrate(book, version)


def _version(book: LogBook) -> int:
    return int(book.connection.execute("PRAGMA user_version").fetchone()[0])


def _migrate(book: LogBook, seen: int) -> None:
    """Bring the schema up to date in one transaction; a book that holds something is copied before."""
    if seen > 0:
        goal = book.folder / COPIES / f"before-schema-{SCHEMA_VERSION}.sqlite"
        goal.parent.mkdir(exist_ok=True)
        copy_to(book, goal, replace=True)
    book.connection.execute(f"PRAGMA busy_timeout = {int(book.wait_s * 1000)}")
    book.connection.execute("BEGIN IMMEDIATE")
    try:
        for number in range(_version(book) + 1, SCHEMA_VERSION + 1):
            for statement in statements(Path(__file__).with_name(f"schema_{number:03d}.sql")):
                book.connection.execute(statement)
            book.connection.execute(f"PRAGMA user_version = {number}")
        book.connection.execute("COMMIT")
    except BaseException:
        book.connection.rollback()
        raise


def statements(path: Path) -> Iterator[str]:
    """Single statements of an SQL file (``executescript`` would commit what is open)."""
    text = ""
    for line in path.read_text(encoding="utf-8").splitlines(keepends=True):
        text += line
        if sqlite3.complete_statement(text):
            yield text
            text = ""


def _cannot_write(folder: Path, error: sqlite3.Error) -> LogBookError:
    return LogBookError(
        f"{folder / DATABASE} cannot be written ({error}). Nothing of this command was entered. "
        "Free some room on the disk, or see who may write there."
    )
