"""One file that holds a whole log book, and the log book made from it again.

The file is a zip with everything that lies in the log book's folder: a consistent copy of the database, the run
folders, log layouts, the shop's own steels. What is made anew by itself (locks, the daily copies) is left out.
``backup.json`` in it names each file with its SHA-256; nothing is restored that is not what it says.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import json
import os
import re
import shutil
import sqlite3
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, BinaryIO

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.copies import COPIES, DATABASE, copy_to
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.runfolder.files import Files, open_regular

CONTENTS = "backup.json"
FORMAT = "1.0"
_MADE_ANEW = re.compile(rf"(?:{COPIES}|locks)/.*|{DATABASE}.*|logbook\.writer|.*\.(?:lock|part)|{CONTENTS}")
_NOTED = "INSERT INTO backups (entry, file, made_utc, made_by) VALUES (?, ?, ?, ?)"
_PLAIN = re.compile(r"[^\\:\x00]+")
_AT_ONCE = 1 << 20
NOTE_S = 0.5

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Backup:
    """What a backup holds. ``left_out`` names pipes, links and what could not be read."""

    made_utc: str
    files: int
    runs: int
    left_out: tuple[str, ...] = ()


def back_up(
    book: LogBook, file: Path, *, stamp: Stamp, replace: bool = False, progress: Progress | None = None
) -> Backup:
    """Write everything that lies in a log book's folder into one file, also while it is in use.

    ``file``: the zip file to be made, outside the log book; it appears whole or not at all. ``replace``: whether a file
    of that name may be replaced. ``progress``: gets how many files were written, of how many.

    Raises LogBookError if the file exists and may not be replaced, lies in the log book itself, or cannot be written.
    """
    if file.exists() and not replace:
        raise LogBookError(f"{file} exists. Give another name.")
    if file.resolve().is_relative_to(book.folder.resolve()):
        raise LogBookError(f"{file} is inside the log book, and would be lost with it. Give a place elsewhere.")
    part, copy = (file.with_name(f"{file.name}.{os.getpid()}{ending}") for ending in (".part", ".sqlite.part"))
    last = book.row("SELECT coalesce(max(entry), 0) AS entry FROM backups")
    noted = (1 + (last["entry"] if last else 0), str(file.resolve()), stamp.at_utc, stamp.by)
    try:
        copy_to(book, copy, replace=True)
        _note_in_copy(copy, noted)
        made = _write(book.folder, part, copy, stamp, progress)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        os.replace(part, file)
        Files().sync_folder(file.absolute().parent)
    except (OSError, sqlite3.Error) as error:
        reason = getattr(error, "strerror", None) or error
        raise LogBookError(f"{file}: the backup could not be written ({reason}).") from error
    finally:
        for path in (part, copy):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
    _note(book, noted, stamp)
    return made


def _note(book: LogBook, noted: tuple[object, ...], stamp: Stamp) -> None:
    """Enter when the backup was made, and where; one who is writing meanwhile is not waited for, the backup stands."""
    try:
        with dataclasses.replace(book, wait_s=NOTE_S).writing(stamp):
            book.connection.execute(_NOTED, noted)
    except (LogBookError, sqlite3.Error) as error:
        if book.told is not None:
            book.told(f"The backup stands; that it was made could not be entered: {error}")


def _note_in_copy(copy: Path, noted: tuple[object, ...]) -> None:
    """Have the copy of the database know of its own backup, which is made of it; the book itself learns it after."""
    with contextlib.closing(sqlite3.connect(copy, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute(_NOTED, noted)


def last_backup_utc(book: LogBook) -> str | None:
    """When the whole log book was written into one file last; None where that is not on record."""
    row = book.row("SELECT max(made_utc) AS made_utc FROM backups")
    return None if row is None else row["made_utc"]


def _write(folder: Path, part: Path, copy: Path, stamp: Stamp, progress: Progress | None) -> Backup:
    files: dict[str, dict[str, object]] = {}
    left_out = []
    here = sorted(_here(folder))
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, strict_timestamps=False) as archive:
        for number, name in enumerate([DATABASE, *here], start=1):
            try:
                source = open_regular(copy if name == DATABASE else folder / name)
            except OSError:
                left_out.append(name)
                continue
            with source:
                files[name] = _add(archive, name, source)
            if progress is not None:
                progress(number, len(here) + 1)
        said = {"format": FORMAT, "made_utc": stamp.at_utc, "made_by": stamp.by, "files": files}
        archive.writestr(CONTENTS, json.dumps(said, indent=1, ensure_ascii=False))
    return Backup(stamp.at_utc, len(files), _runs(files), tuple(left_out))


def _here(folder: Path) -> Iterator[str]:
    """Names of everything in the log book that is to be kept; links are not followed."""
    for where, folders, names in os.walk(folder):
        links = [name for name in folders if os.path.islink(os.path.join(where, name))]
        for name in [*names, *links]:
            relative = Path(where, name).relative_to(folder).as_posix()
            if not _MADE_ANEW.fullmatch(relative):
                yield relative


def _add(archive: zipfile.ZipFile, name: str, source: BinaryIO) -> dict[str, object]:
    """Write one file as long as it is now; one that is being recorded grows meanwhile."""
    state = os.fstat(source.fileno())
    left, digest = state.st_size, hashlib.sha256()
    info = zipfile.ZipInfo(name)
    info.compress_type = zipfile.ZIP_DEFLATED
    with archive.open(info, "w", force_zip64=True) as out:
        while left > 0 and (data := source.read(min(left, _AT_ONCE))):
            out.write(data)
            digest.update(data)
            left -= len(data)
    return {"sha256": digest.hexdigest(), "mtime_ns": state.st_mtime_ns}


def _runs(files: Any) -> int:
    return len({name.split("/")[1] for name in files if name.startswith("runs/") and name.count("/") > 1})


def restore(file: Path, folder: Path, *, progress: Progress | None = None) -> Backup:
    """Make a log book anew from a backup, in a folder that is not there yet or is empty.

    ``folder``: folder of the log book to be made; it appears whole or not at all. ``progress``: gets how many files
    were written, of how many.

    Raises LogBookError if the file is no backup or is damaged, the folder is not empty, or it cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        says = "{folder} is not empty: nothing is restored over it. Give a new folder with {logbook}."
        raise LogBookError(Says.of(says, folder=str(folder), logbook=Field("logbook")))
    part = folder.absolute().with_name(f"{folder.absolute().name}.{os.getpid()}.part")
    try:
        with zipfile.ZipFile(file) as archive:
            said = _contents(archive, file)
            part.mkdir(parents=True)
            _extract(archive, said["files"], part, file, progress)
        if folder.exists():
            folder.rmdir()
        os.rename(part, folder)
        Files().sync_folder(folder.absolute().parent)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise LogBookError(f"{file} is damaged ({error}). Nothing was restored; take another backup.") from error
    except OSError as error:
        raise LogBookError(f"{file} could not be restored into {folder}: {error.strerror or error}.") from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return Backup(str(said["made_utc"]), len(said["files"]), _runs(said["files"]))


def _contents(archive: zipfile.ZipFile, file: Path) -> dict[str, Any]:
    try:
        said = json.loads(archive.read(CONTENTS))
        major = int(str(said["format"]).partition(".")[0]) if "format" in said else 1
        files = said["files"]
        sound = isinstance(files, dict) and all(
            isinstance(one["sha256"], str) and isinstance(one["mtime_ns"], int) for one in files.values()
        )
    except (KeyError, ValueError, TypeError, RecursionError):
        raise LogBookError(f"{file} is no backup of a log book.") from None
    if major > int(FORMAT.partition(".")[0]):
        raise LogBookError(f"{file} was made by a newer soakwitness. Install that one.")
    if not sound or "made_utc" not in said:
        raise LogBookError(f"{file} is no backup of a log book.")
    found: dict[str, Any] = said
    return found


def _extract(
    archive: zipfile.ZipFile, files: dict[str, Any], part: Path, file: Path, progress: Progress | None
) -> None:
    for name in files:
        path = PurePosixPath(name)
        if not _PLAIN.fullmatch(name) or not path.parts or path.is_absolute() or ".." in path.parts:
            raise LogBookError(f"{file}: {name!r} has no place in a log book. Nothing was restored.")
    for number, (name, one) in enumerate(files.items(), start=1):
        try:
            source = archive.open(name)
        except KeyError:
            raise LogBookError(f"{file} is damaged: {name} is not in it. Nothing was restored.") from None
        with source:
            _put(source, part / name, one, f"{file} is damaged: {name}")
        if progress is not None:
            progress(number, len(files))


def _put(source: Any, goal: Path, one: dict[str, Any], says: str) -> None:
    """Write one file, with the time it had, so that nothing counts as changed."""
    digest = hashlib.sha256()
    goal.parent.mkdir(parents=True, exist_ok=True)
    with open(goal, "xb") as out:
        while data := source.read(_AT_ONCE):
            digest.update(data)
            out.write(data)
        out.flush()
        os.fsync(out.fileno())
    if digest.hexdigest() != one["sha256"]:
        raise LogBookError(f"{says} is not what was backed up. Nothing was restored.")
    with contextlib.suppress(OSError, OverflowError, ValueError):
        os.utime(goal, ns=(one["mtime_ns"], one["mtime_ns"]))
