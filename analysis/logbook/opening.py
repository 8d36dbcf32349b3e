"""The log book's database: opened, migrated, written by one at a time, copied once a day."""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.record.moments import Stamp

DATABASE = "logbook.sqlite"
COPIES = "copies"
COPIES_KEPT = 10
SCHEMA_VERSION = 4
SMALL_BOOK_BYTES = 8 << 20  # up to here the day's copy is renewed with every write
_COPY_NAME = re.compile(r"logbook-\d{8}\.sqlite")
_BEFORE_NAME = re.compile(r"before-recompute-\d{8}T\d{6}Z\.sqlite")


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
        self._daily_copy(stamp)

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

    def _daily_copy(self, stamp: Stamp) -> None:
        day = stamp.at_utc[:10].replace("-", "")
        goal = self.folder / COPIES / f"logbook-{day}.sqlite"
        size = (self.folder / DATABASE).stat().st_size
        if goal.exists() and size > SMALL_BOOK_BYTES:
            return
        try:
            goal.parent.mkdir(exist_ok=True)
            copy_to(self, goal, replace=True)
            _keep_newest(goal.parent, _COPY_NAME)
        except (OSError, sqlite3.Error, LogBookError) as error:
            if self.told is not None:
                self.told(f"The entry stands, but the day's copy {goal} could not be made: {error}.")


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
        _only_for_the_owner(part)
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


def _only_for_the_owner(path: Path) -> None:
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
        raise LogBookError(
            f"{folder}: there is no log book here. Name its folder with --logbook, "
            "or make one by entering something: soakwitness piece add, soakwitness record."
        )
    try:
        (folder / "runs").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogBookError(f"{folder}: the log book's folder cannot be made ({error.strerror}).") from error
    try:
        with contextlib.ExitStack() as unless_it_opens:
            _only_for_the_owner(path)
            connection = sqlite3.connect(path, isolation_level=None, timeout=wait_s)
            unless_it_opens.callback(connection.close)
            book = LogBook(folder, connection, wait_s, told)
            _set_up(book)
            unless_it_opens.pop_all()
    except (sqlite3.Error, OSError) as error:
        raise LogBookError(
            f"{path}: cannot be opened as a log book ({error}). The day's copies are in {folder / COPIES}; "
            "put one in its place, then run: soakwitness logbook rebuild"
        ) from error
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
