"""A foreign log becomes a run folder: read and checked as a whole first, then written and sealed."""

from __future__ import annotations

import filecmp
import re
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.layout import find_layout
from soakwitness.analysis.importing.marks import WrittenMark, read_marks_file
from soakwitness.analysis.importing.rows import READING, ROWS_AT_ONCE, LogReader, Progress, RowBlock, Tally
from soakwitness.analysis.importing.settings import ImportSettings, checked_settings
from soakwitness.analysis.packet.packet_file import named_packet
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.wording import counted
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from soakwitness.firmware_bridge.runfolder.line_format import utc_text
from soakwitness.firmware_bridge.runfolder.marks import encode_mark, new_mark_id
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

_FAHRENHEIT = re.compile(r"°\s*F\b|[\[(_ ](?:deg)?F[\])]?$|fahrenheit", re.IGNORECASE)
_CELSIUS = re.compile(r"°\s*C\b|[\[(_ ](?:deg)?C[\])]?$|celsius", re.IGNORECASE)


@dataclass(frozen=True)
class Imported:
    """A run made from a foreign log: its folder, how many rows, and what a person should know."""

    path: Path
    rows: int
    notes: tuple[str, ...]


@dataclass
class _Clock:
    """Where the file's times stand on the run's clock: ``t_s`` = time - ``zero_s``, UTC = ``t_s`` + ``start_utc_s``."""

    zero_s: float
    start_utc_s: float
    known: bool  # the file or the person says when it was
    every_s: float = 1.0
    first_s: float = 0.0  # of the run's clock, as the next two
    last_s: float = 0.0


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
    checked_settings(settings)
    when = [settings.time] if settings.date is None else [settings.time, settings.date]
    wanted = [*when, *(choice.column for choice in settings.columns)]
    layout = find_layout(path, wanted, separator=settings.separator, decimal=settings.decimal, times=len(when))
    reader = LogReader(layout, settings, progress, local_zone=local_zone)
    try:
        with tempfile.TemporaryFile() as waiting:
            clock = _spool(reader, waiting, imported_utc, started_utc)
            assert reader.times is not None
            if reader.times.took_local_zone:
                settings = replace(settings, zone=local_zone)
            written = read_marks_file(marks, settings, reader.times) if marks is not None else ()
            waiting.seek(0)
            folder = _create(logbook, path, settings, reader.tally, clock, name, recipe)
            try:
                _fill(folder, path, _lines(waiting, reader.tally.rows, progress), clock, written, imported_utc)
            except BaseException:
                folder.close()
                shutil.rmtree(folder.path, ignore_errors=True)
                raise
    except OSError as error:
        raise ImportFileError(f"{path}: the run cannot be written: {error.strerror or error}. Free the disk.") from None
    return Imported(folder.path, reader.tally.rows, _notes(reader, clock, settings.zone))


def imported_before(path: Path, logbook: Path) -> tuple[str, ...]:
    """Find runs that were made of the same log before.

    Returns names of the run folders whose original is the same, byte for byte.
    """
    try:
        size = path.stat().st_size
        kept = [file for file in logbook.glob("runs/*/original/*") if file.stat().st_size == size]
        return tuple(sorted(file.parents[1].name for file in kept if filecmp.cmp(path, file, shallow=False)))
    except OSError:
        return ()


def _spool(reader: LogReader, waiting: BinaryIO, imported_utc: datetime, started_utc: datetime | None) -> _Clock:
    """Write the rows as they will stand in the run, without checksums."""
    clock: _Clock | None = None
    for block in reader.blocks():
        if clock is None:
            clock = _clock(reader, float(block.time_s[0]), imported_utc, started_utc)
            clock.first_s = float(block.time_s[0]) - clock.zero_s
            if block.time_s.size > 1:
                clock.every_s = round(float(np.median(np.diff(block.time_s))), 3)
        t_s = block.time_s - clock.zero_s
        clock.last_s = float(t_s[-1])
        waiting.write(_rows(t_s, clock, block))
    assert clock is not None  # blocks() refuses a file without rows
    return clock


def _clock(reader: LogReader, first_s: float, imported_utc: datetime, started_utc: datetime | None) -> _Clock:
    assert reader.times is not None
    offset_s = reader.settings.clock_offset_s
    if reader.times.absolute:
        return _Clock(first_s, first_s + offset_s, True)
    zero_s = 0.0 - offset_s if reader.times.keeps_figures else first_s
    start = (started_utc or imported_utc).timestamp()
    return _Clock(zero_s, start, started_utc is not None)


def _rows(t_s: FloatArray, clock: _Clock, block: RowBlock) -> bytes:
    moments = np.round((t_s + clock.start_utc_s) * 1000.0).astype("datetime64[ms]")
    utc = np.char.add(np.datetime_as_string(moments, unit="ms"), "Z")
    times = [f"{t:.3f}" for t in t_s.tolist()]
    lines = map(",".join, zip(times, utc.tolist(), *(column.tolist() for column in block.cells), strict=True))
    return ("\n".join(lines) + "\n").encode()


def _create(
    logbook: Path,
    path: Path,
    settings: ImportSettings,
    tally: Tally,
    clock: _Clock,
    name: str | None,
    recipe: Recipe | None,
) -> RunFolder:
    columns = [
        Column(
            choice.name,
            "sensor" if choice.role else "signal",
            settings.unit if choice.role or choice.name == "setpoint" else "%" if choice.name == "output" else "",
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
        "rows_repeated": tally.repeated,
        "rows_without_time": tally.without_time,
        "cells_not_a_number": tally.not_a_number,
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
    )


def _lines(waiting: BinaryIO, rows: int, progress: Progress | None) -> Iterator[bytes]:
    """Rows that wait, without their line feeds."""
    for count, line in enumerate(waiting):
        yield line[:-1]
        if progress is not None and count % ROWS_AT_ONCE == 0:
            progress(READING + (1.0 - READING) * count / rows)
    if progress is not None:
        progress(1.0)


def _fill(
    folder: RunFolder,
    path: Path,
    lines: Iterator[bytes],
    clock: _Clock,
    marks: tuple[WrittenMark, ...],
    imported_utc: datetime,
) -> None:
    def enter(t_s: float, event: str, detail: str) -> None:
        folder.write_event(t_s, utc_text(t_s + clock.start_utc_s), event, detail)

    enter(clock.first_s, "start", f"imported from {path.name}")
    folder.write_bodies(lines)
    for written in marks:
        t_s = written.time_s - clock.zero_s
        mark = Mark(t_s, written.act, written.pieces, written.note, new_mark_id(), t_s, entered_later=True)
        enter(t_s, "mark", encode_mark(mark))
    enter(clock.last_s, "end", "end of the imported log")
    original = folder.path / "original"
    original.mkdir()
    shutil.copyfile(path, original / path.name)
    folder.seal(sealed_utc=imported_utc)


def _notes(reader: LogReader, clock: _Clock, zone: str | None) -> tuple[str, ...]:
    """Say what a person should know about this file."""
    tally, settings = reader.tally, reader.settings
    says = []
    for choice in settings.columns:
        count = tally.not_a_number[choice.name]
        if count:
            line, cell = tally.first_odd[choice.name]
            says.append(
                f"{choice.column}: {counted(count, 'cell')} without a number, taken as missing readings "
                f"(the first, {cell!r}, in line {line})."
            )
        if choice.role and settings.unit == "C" and _FAHRENHEIT.search(choice.column):
            says.append(f"{choice.column}: the name speaks of Fahrenheit, but the unit is C. If it is F, add --unit F.")
        if choice.role and settings.unit == "F" and _CELSIUS.search(choice.column):
            says.append(f"{choice.column}: the name speaks of Celsius, but the unit is F.")
    if tally.repeated:
        says.append(f"{counted(tally.repeated, 'row')} with the time of the row above, left out.")
    if tally.without_time:
        says.append(f"{counted(tally.without_time, 'line')} with neither a time nor a reading, left out.")
    if reader.times is not None and reader.times.took_local_zone:
        says.append(f"Local times were taken in {zone}, the computer's zone. Of another clock: --zone.")
    if not clock.known:
        says.append(
            "The log does not say when it was; the moment of the import stands for its start. Say it with --start."
        )
    return tuple(says)
