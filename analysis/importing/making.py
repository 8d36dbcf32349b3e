"""A foreign log becomes a run folder: read and checked as a whole first, then written and sealed."""

from __future__ import annotations

import filecmp
import shutil
import tempfile
from collections.abc import Collection, Iterator
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.incoming import arrive, importing
from soakwitness.analysis.importing.log import Log, LogClock, read_log
from soakwitness.analysis.importing.marks import WrittenMark, read_marks_file
from soakwitness.analysis.importing.rows import READING, ROWS_AT_ONCE, Progress
from soakwitness.analysis.importing.settings import ImportSettings
from soakwitness.analysis.packet.packet_file import named_packet
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.listing import INCOMING, run_id
from soakwitness.firmware_bridge.runfolder.marks import encode_mark, new_mark_id
from soakwitness.firmware_bridge.runfolder.writer import RunFolder


@dataclass(frozen=True)
class Imported:
    """A run made from a foreign log: its folder, how many rows, and what a person should know."""

    path: Path
    rows: int
    notes: tuple[str, ...]


def import_file(
    path: Path,
    settings: ImportSettings,
    *,
    logbook: Path,
    imported_utc: datetime,
    started_utc: datetime | None = None,
    local_zone: str | None = None,
    name: str | None = None,
    recipe: Recipe | None = None,
    marks: Path | None = None,
    progress: Progress | None = None,
) -> Imported:
    """Make a sealed run folder of a foreign log.

    The file is read in pieces of bounded size, and its rows wait in a temporary file until all of them are known to be
    good. Cells keep the figures as they were written; a cell that is no finite number becomes an empty one.

    ``path``: the log; its copy is kept in the run's ``original/``. ``imported_utc``: the present moment, with its zone;
    it stands for the start where nobody says when the run was. ``started_utc``: when the file's time 0 (or its first
    row) was, for a log that only counts seconds. ``local_zone``: time zone of local times where the settings state
    none; without it such a log is refused. ``name``: what to call the run. Where the settings name no furnace it stands
    for the furnace's name, and so in the folder's name; without both the file's name does. ``recipe``: what the run was
    meant to be; kept in ``run.json`` as with a recorded run. ``progress``: told the share of the work that is done, 0
    to 1.

    Raises ImportFileError before anything is made, with file, line or column and what is allowed.
    """
    with tempfile.TemporaryFile() as waiting:
        try:
            log = read_log(path, settings, waiting, imported_utc, started_utc, local_zone, progress)
            written = read_marks_file(marks, log.settings, log.times) if marks is not None else ()
            waiting.seek(0)
            with importing(logbook):
                folder = _create(logbook, log, name, recipe)
                try:
                    _fill(folder, path, _lines(waiting, log, progress), log.clock, written, imported_utc)
                    made = arrive(folder.path)
                except BaseException:
                    folder.close()
                    shutil.rmtree(folder.path, ignore_errors=True)
                    raise
        except OSError as error:
            raise ImportFileError(
                f"{path}: the run cannot be written: {error.strerror or error}. Free the disk."
            ) from None
    return Imported(made, log.rows, log.notes())


@dataclass(frozen=True)
class Preview:
    """How a log would be understood: sentences, the columns' names, the first rows' cells, how many there are."""

    says: tuple[str, ...]
    columns: tuple[str, ...]
    first: tuple[tuple[str, ...], ...]
    rows: int
    notes: tuple[str, ...]


def preview_file(
    path: Path,
    settings: ImportSettings,
    *,
    imported_utc: datetime,
    started_utc: datetime | None = None,
    local_zone: str | None = None,
    rows: int = 8,
) -> Preview:
    """Read a log as ``import_file`` does, whole and with all its refusals, and make nothing.

    ``started_utc``: when the file's time 0 (or its first row) was, for a log that only counts seconds. ``local_zone``:
    time zone of local times where the settings state none. Returns the first rows as they would stand in the run, and
    what was assumed.

    Raises ImportFileError as ``import_file`` would.
    """
    with tempfile.TemporaryFile() as waiting:
        log = read_log(path, settings, waiting, imported_utc, started_utc, local_zone, None)
        waiting.seek(0)
        first = [tuple(line.decode().split(",")) for line in islice(_lines(waiting, log, None), rows)]
    names = ("t_s", "utc", *(choice.name for choice in settings.columns))
    return Preview(log.assumed(), names, tuple(first), log.rows, log.notes())


def imported_before(path: Path, logbook: Path, *, leave_out: Collection[str] = ()) -> tuple[str, ...]:
    """Find runs that were made of the same log before.

    Returns names of the run folders whose original is the same, byte for byte.
    """
    try:
        size = path.stat().st_size
        kept = [file for file in logbook.glob("runs/*/original/*") if file.stat().st_size == size]
        same = (file.parents[1] for file in kept if filecmp.cmp(path, file, shallow=False))
        return tuple(sorted(run.name for run in same if run_id(run) not in leave_out))
    except OSError:
        return ()


def _create(
    logbook: Path,
    log: Log,
    name: str | None,
    recipe: Recipe | None,
) -> RunFolder:
    settings, clock, path = log.settings, log.clock, log.path
    columns = [
        Column(
            choice.name,
            "sensor" if choice.role else "signal",
            (settings.unit or "C")
            if choice.role or choice.name == "setpoint"
            else "%"
            if choice.name == "output"
            else "",
            role=choice.role,
            thermocouple=settings.thermocouple if choice.role else None,
            tolerance_class=settings.tolerance_class if choice.role else None,
            expanded_uncertainty=settings.expanded_uncertainty if choice.role else None,
        )
        for choice in settings.columns
    ]
    about: dict[str, Any] = {
        "file": path.name,
        "name": name,
        "settings": asdict(settings),
        "start_known": clock.known,
        "zero_in_file_s": clock.zero_s,
        "rows_repeated": log.tally.repeated.count,
        "rows_without_time": log.tally.without_time.count,
        "cells_not_a_number": log.tally.not_a_number,
        "cells_of_a_fault": [[f.name, f.value, int(f.rows.sum())] for f in log.faults],
    }
    packet = None if recipe is None else named_packet(recipe)
    return RunFolder.create(
        logbook,
        columns=columns,
        furnace_name=settings.furnace or name or path.stem,
        started_utc=clock.start_utc_s,
        recipe_name=None if recipe is None else recipe.name,
        recipe_file=None if recipe is None else recipe.text,
        packet_name=None if packet is None else packet.name,
        packet_file=None if packet is None else packet.text,
        every_s=clock.every_s,
        zone=settings.zone,
        origin="imported",
        extra={"import": about},
        place=INCOMING,
    )


def _lines(waiting: BinaryIO, log: Log, progress: Progress | None) -> Iterator[bytes]:
    """Rows that wait, without their line feeds, and without the cells that are faults."""
    blanks = log.blanks()
    for count, line in enumerate(islice(waiting, log.rows)):
        body = line[:-1]
        if count in blanks:
            cells = body.split(b",")
            for place in blanks[count]:
                cells[2 + place] = b""
            body = b",".join(cells)
        yield body
        if progress is not None and count % ROWS_AT_ONCE == 0:
            progress(READING + (1.0 - READING) * count / log.rows)
    if progress is not None:
        progress(1.0)


def _fill(
    folder: RunFolder,
    path: Path,
    lines: Iterator[bytes],
    clock: LogClock,
    marks: tuple[WrittenMark, ...],
    imported_utc: datetime,
) -> None:
    def enter(t_s: float, event: str, detail: str) -> None:
        folder.write_event(t_s, utc_text(t_s + clock.start_utc_s), event, detail)

    enter(clock.first_s, "start", f"imported from {path.name}")
    folder.write_bodies(lines)
    for written in marks:
        t_s = written.time_s - clock.zero_s
        mark = Mark(t_s, written.act, written.pieces, written.note, new_mark_id(), t_s)
        enter(t_s, "mark", encode_mark(replace(mark, entered_later=True, origin="typed")))
    enter(clock.last_s, "end", "end of the imported log")
    original = folder.path / "original"
    original.mkdir()
    shutil.copyfile(path, original / path.name)
    folder.seal(sealed_utc=imported_utc)
