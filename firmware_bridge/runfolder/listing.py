"""The runs of a log book as their folders tell them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from soakwitness.firmware_bridge.common.jsontext import from_json
from soakwitness.firmware_bridge.common.spreadsheets import defused
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import RecordCheck, RunHeader
from soakwitness.firmware_bridge.runfolder.files import read_json
from soakwitness.firmware_bridge.runfolder.header import read_header
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, is_held
from soakwitness.firmware_bridge.runfolder.reader import as_sealed, check_record, last_row
from soakwitness.firmware_bridge.runfolder.seal import read_seal

_RUN_ID = re.compile(r"\d{8}T\d{6}Z_")
INCOMING = "incoming"  # beside ``runs``: where a run is made of a foreign log before it counts
State = Literal["sealed", "being recorded", "cut off", "unreadable"]


@dataclass(frozen=True)
class Listed:
    """One run. ``intact`` is None where its digests were not compared; ``says`` is what is wrong, if anything is."""

    path: Path
    state: State
    header: RunHeader | None = None
    length_s: float | None = None
    rows: int | None = None
    intact: bool | None = None
    says: str = ""


def run_folders(logbook: Path) -> list[Path]:
    """All folders in ``runs/`` in the order of their start, also where a person gave one another name."""
    runs = logbook / "runs"
    found = [path for path in runs.iterdir() if path.is_dir()] if runs.is_dir() else []
    return sorted(found, key=lambda path: (run_id(path), path))


def last_made(logbook: Path, *, leave_out: Collection[str] = ()) -> Path | None:
    """The run last recorded or imported here; of runs that were all copied here, the one that began last.

    ``leave_out`` are runs that do not count.
    """
    known = [(run, path) for path in run_folders(logbook) if (run := run_id(path)) not in leave_out]
    if not known:
        return None
    try:
        chain = from_json((logbook / "recorder.json").read_bytes())
        own, newest = chain["id"], chain.get("last_run")
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        return known[-1][1]
    for run, path in known:
        if run == newest:
            return path
    made = [(number, path) for _, path in known if (number := _number_in(path, own)) is not None]
    return max(made)[1] if made else known[-1][1]


def _number_in(path: Path, recorder: str) -> int | None:
    """Which of a recorder's runs this one is; None where it is none of them."""
    try:
        header = read_header(path)
    except RunFolderError:
        return None
    number = header.recorder_counter
    return number if header.recorder_id == recorder and isinstance(number, int) else None


def run_id(folder: Path) -> str:
    """Run id, which begins with the time the run began: the folder's name, unless a person gave it another one.

    Empty where neither tells it.
    """
    if _RUN_ID.match(folder.name):
        return folder.name
    try:
        return str(read_json(folder / "run.json")["run"])
    except (OSError, ValueError, LookupError, TypeError):
        return ""


def look_at(path: Path, *, compare: bool) -> Listed:
    """Look at one run; a sealed one's digests are compared only where that is asked for, or its seal cannot be true."""
    try:
        header = read_header(path)
        if not compare and (listed := _as_sealed(path, header)) is not None:
            return listed
        check = check_record(path)
        last = last_row(check)
    except (RunFolderError, OSError) as error:
        return Listed(path, "unreadable", says=str(error))
    state: State = "sealed" if check.sealed else "being recorded" if is_held(path / RUN_LOCK) else "cut off"
    length_s = None if last is None else last.t_s
    return Listed(path, state, header, length_s=length_s, rows=check.rows, intact=check.intact, says=_says(check))


def _as_sealed(path: Path, header: RunHeader) -> Listed | None:
    """What a run's seal says, which is not compared; None where there is no seal, or not what it speaks of."""
    try:
        seal = read_seal(path)
        if seal is None:
            return None
        check = as_sealed(path, seal)
        last = last_row(check)
    except (RunFolderError, OSError, ValueError, IndexError):
        return None
    return Listed(path, "sealed", header, None if last is None else last.t_s, check.rows, says=_says(check))


def _says(check: RecordCheck) -> str:
    if check.changed:
        return f"changed: {check.changed[0]}"
    return "" if check.intact else f"changed: {check.first_difference}"


def good_rows(path: Path) -> Iterator[list[str]]:
    """Cells of all good rows in the order of their times: ``t_s``, ``utc``, one per column; no checksums."""
    for part in check_record(path).good:
        with open(part.segment, "rb") as file:
            file.seek(part.start)
            for _ in range(part.rows):
                yield file.readline().decode().rstrip("\n").split(",")[:-1]


def readings(path: Path, *, decimal: str, separator: str) -> Iterator[str]:
    """Lines of a table of all good rows for a spreadsheet: header first, no checksums."""
    header = read_header(path)
    yield separator.join(["t_s", "utc", *(defused(column.name) for column in header.columns)])
    for t_s, utc, *cells in good_rows(path):
        yield separator.join([t_s.replace(".", decimal), utc, *(cell.replace(".", decimal) for cell in cells)])
