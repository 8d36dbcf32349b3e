"""Looking after the log book: is it whole, do the run folders agree, and how it is built anew from them."""

from __future__ import annotations

import contextlib
import itertools
import sqlite3
from collections.abc import Callable, Container
from dataclasses import dataclass
from pathlib import Path

from soakwitness.analysis.logbook.kept import forget
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.photos import FOLDER, all_photos, photo_path, photo_trouble
from soakwitness.analysis.logbook.runs import Taken, take_in
from soakwitness.analysis.logbook.seals import FOREIGN
from soakwitness.analysis.logbook.striking import struck_runs
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import is_missing
from soakwitness.firmware_bridge.runfolder.listing import INCOMING
from soakwitness.firmware_bridge.runfolder.seal import Seal, differences, read_seal

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Trouble:
    """One thing that is not as it should be: where, what, and what to do about it."""

    where: str
    says: str
    next: str


def check_book(book: LogBook, *, files: bool = True, progress: Progress | None = None) -> tuple[Trouble, ...]:
    """Check the database, every run folder against its seal, and the chain of seals of each recorder.

    Runs that were struck out are not looked at; their seals stay links of the chain.

    ``files``: whether every file of every sealed run is compared with its digest, which reads them all. ``progress``:
    gets how many folders were looked at, of how many.
    """
    return (*_database(book), *_photos(book), *_folders(book, files, progress))


def _database(book: LogBook) -> list[Trouble]:
    found: list[Trouble] = []
    copies = f"Take the newest good copy out of {book.folder / 'copies'}, then run: soakwitness logbook rebuild"
    try:
        for row in book.rows("PRAGMA integrity_check"):
            if row[0] != "ok":
                found.append(Trouble("database", f"integrity check: {row[0]}", copies))
        for row in book.rows("PRAGMA foreign_key_check"):
            found.append(
                Trouble("database", f"row {row[1]} of {row[0]} refers to a {row[2]} that is not there", copies)
            )
    except sqlite3.DatabaseError as error:
        found.append(Trouble("database", f"cannot be read: {error}", copies))
    return found


def _photos(book: LogBook) -> list[Trouble]:
    then = f"Copy it out of a backup to {book.folder / FOLDER}, or strike the entry and enter it again."
    return [
        Trouble(f"photo {photo.entry} of {photo.piece}", f"its file {photo.file_name} {wrong}", then)
        for photo in all_photos(book)
        if (wrong := photo_trouble(photo_path(book, photo), photo.digest)) is not None
    ]


def _folders(book: LogBook, files: bool, progress: Progress | None) -> list[Trouble]:
    found: list[Trouble] = []
    seals: list[_Link] = []
    struck = struck_runs(book)
    rows = book.rows("SELECT run, folder, seal, recorder_id, recorder_counter, previous_seal FROM runs")
    out = {Path(row["folder"]).name for row in rows if row["run"] in struck}
    seals += [_Link.of_row(row) for row in rows if row["run"] in struck and row["recorder_counter"] is not None]
    known = {Path(row["folder"]).name: row for row in rows if row["run"] not in struck}
    here = {path.name: path for path in sorted(book.runs_folder.iterdir()) if path.is_dir() and path.name not in out}
    for name, row in known.items():
        if name not in here:
            found.append(
                Trouble(row["run"], "its run folder is missing", f"Copy it back to {book.runs_folder / name}.")
            )
    for number, (name, path) in enumerate(here.items(), start=1):
        if name not in known:
            found.append(
                Trouble(name, "is a folder that the log book does not list", "Run: soakwitness logbook rebuild")
            )
        try:
            seal = read_seal(path)
            if seal is not None:
                seals.append(_Link.of_seal(seal))
                found += _against_seal(path, seal, known.get(name), files)
            elif name in known and known[name]["seal"] is not None:
                found.append(Trouble(name, "its seal is gone", "Take seal.json from a copy of the folder."))
        except RunFolderError as error:
            found.append(Trouble(name, str(error), "Compare the folder with a copy of it."))
        if progress is not None:
            progress(number, len(here))
    arriving = _not_moved_yet(book)
    says = "it is sealed and not yet among the runs: an import is under way, or was broken off"
    then = "Wait for it; else the next soakwitness import moves it there."
    found += [Trouble(name, says, then) for name in arriving]
    return found + _chains(book, [*seals, *arriving.values()])


def _not_moved_yet(book: LogBook) -> dict[str, _Link]:
    """Runs that an import has sealed and not moved yet, by the name of their folder."""
    found = {}
    folder = book.folder / INCOMING
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        with contextlib.suppress(RunFolderError):
            if (seal := read_seal(path)) is not None:
                found[path.name] = _Link.of_seal(seal)
    return found


def _against_seal(path: Path, seal: Seal, row: sqlite3.Row | None, files: bool) -> list[Trouble]:
    if row is not None and row["seal"] not in (None, *seal.known_as):
        return [
            Trouble(
                path.name,
                FOREIGN,
                f"Compare it with a copy; if the new one is right: soakwitness logbook rebuild --accept {row['run']}",
            )
        ]
    if is_missing(seal.changed):
        then = "Nothing brings it back; copy no files out of open runs and open none in an editor."
        return [Trouble(path.name, f"it is not whole: {seal.changed[0]}", then)]
    changed = differences(path, seal) if files else []
    if changed:
        return [Trouble(path.name, f"{changed[0]} is not what the seal says", "Compare the folder with a copy of it.")]
    return []


@dataclass(frozen=True)
class _Link:
    """A seal in its recorder's chain: read from its folder, or, of a run that was struck out, as it was last seen."""

    run: str
    chain_id: str
    chain_number: int
    previous: str | None
    known_as: tuple[str, ...]

    @classmethod
    def of_seal(cls, seal: Seal) -> _Link:
        return cls(seal.run, seal.chain_id, seal.chain_number, seal.previous, seal.known_as)

    @classmethod
    def of_row(cls, row: sqlite3.Row) -> _Link:
        return cls(row["run"], row["recorder_id"], row["recorder_counter"], row["previous_seal"], (row["seal"],))


def _chains(book: LogBook, seals: list[_Link]) -> list[Trouble]:
    """Seals of one recorder count up without a hole, and each names the one before it."""
    found: list[Trouble] = []
    ordered = sorted(seals, key=lambda s: (s.chain_id, s.chain_number))
    for recorder, group in itertools.groupby(ordered, key=lambda s: s.chain_id):
        chain = list(group)
        for before, after in itertools.pairwise([None, *chain]):
            found += _link(recorder, before, after)
        head = book.row("SELECT * FROM chains WHERE recorder_id = ?", recorder)
        if head is not None and chain and head["counter"] > chain[-1].chain_number:
            found.append(
                Trouble(
                    f"recorder {recorder}",
                    f"the newest run sealed was {head['run']} (number {head['counter']}), which is not here",
                    "Copy its folder back.",
                )
            )
    return found


def _link(recorder: str, before: _Link | None, after: _Link | None) -> list[Trouble]:
    assert after is not None
    expected = 1 if before is None else before.chain_number + 1
    if after.chain_number > expected:
        missing = after.chain_number - expected
        says = f"before {after.run}, {missing} sealed run{'s are' if missing > 1 else ' is'} missing from the chain"
        return [Trouble(f"recorder {recorder}", says, "Copy the missing folders back, if there is a copy.")]
    if after.chain_number < expected:
        return [Trouble(after.run, "two runs carry the same number of one recorder's chain", "Keep the original one.")]
    if before is not None and after.previous not in before.known_as:
        says = f"its seal does not continue that of {before.run}"
        return [Trouble(after.run, says, "Compare both folders with copies of them.")]
    return []


def rebuild(book: LogBook, *, stamp: Stamp, accept: Container[str] = (), progress: Progress | None = None) -> Taken:
    """Build what the log book says about runs anew from the run folders; what people entered stays.

    ``accept``: runs whose seal is accepted although the log book has seen another one; of all others it keeps what it
    saw. ``progress``: gets how many folders were read, of how many. Returns runs that are new (folders copied here are
    adopted), read again, gone, or unreadable.
    """
    with book.writing(stamp):
        forget(book, stamp=stamp)
        return take_in(book, stamp=stamp, again=True, accept=accept, progress=progress)
