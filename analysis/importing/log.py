"""A foreign log read and checked as a whole: its rows wait in a file, its clock, faults and notes are known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

import numpy as np

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.assumed import assumed, with_units
from soakwitness.analysis.importing.fault_values import STEP_K, FaultValue, ReadCells, find_faults
from soakwitness.analysis.importing.layout import find_layout
from soakwitness.analysis.importing.rows import LogReader, Progress, RowBlock
from soakwitness.analysis.importing.settings import ImportSettings, checked_settings
from soakwitness.analysis.importing.tally import Tally
from soakwitness.analysis.importing.times import TimeReader
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.wording import counted, duration

LEAST_EVERY_S, MOST_EVERY_S = 0.009, 3600.0  # beyond, a time that is a number is in another unit than seconds


@dataclass
class LogClock:
    """Where the file's times stand on the run's clock: ``t_s`` = time - ``zero_s``, UTC = ``t_s`` + ``start_utc_s``."""

    zero_s: float
    start_utc_s: float
    known: bool  # the file or the person says when it was
    every_s: float = 1.0
    first_s: float = 0.0  # of the run's clock, as the next two
    last_s: float = 0.0


@dataclass(frozen=True)
class Log:
    """What is known of a log that was read; ``faults`` are those of each column by its place."""

    path: Path
    settings: ImportSettings
    reader: LogReader
    clock: LogClock
    faults: tuple[FaultValue, ...]
    torn: str
    unit_notes: tuple[str, ...]

    @property
    def tally(self) -> Tally:
        """What was left out."""
        return self.reader.tally

    @property
    def times(self) -> TimeReader:
        """How its times are written."""
        assert self.reader.times is not None
        return self.reader.times

    @property
    def rows(self) -> int:
        """Rows that the run will have."""
        return self.tally.rows - bool(self.torn)

    def blanks(self) -> dict[int, list[int]]:
        """Rows with the places of the columns that held a fault there."""
        found: dict[int, list[int]] = {}
        names = [choice.name for choice in self.settings.columns]
        for fault in self.faults:
            for row in np.flatnonzero(fault.rows).tolist():
                found.setdefault(row, []).append(names.index(fault.name))
        return found

    def assumed(self) -> tuple[str, ...]:
        """How the file was understood."""
        return assumed(self.reader)

    def notes(self) -> tuple[str, ...]:
        """Say what a person should know about this file."""
        tally, says = self.tally, list(self.unit_notes)
        for choice in self.settings.columns:
            count, short = tally.not_a_number[choice.name], tally.short[choice.name]
            if count:
                line, cell = tally.first_odd[choice.name]
                says.append(
                    f"{choice.column}: {counted(count, 'cell')} without a number, taken as missing readings "
                    f"(the first, {cell!r}, in line {line})."
                )
            if short.count:
                says.append(f"{choice.column}: {counted(short.count, 'row')} end before it ({short.where()}).")
        says += [fault.says() for fault in self.faults]
        if tally.repeated.count:
            says.append(f"{counted(tally.repeated.count, 'row')} with the time of the row above, left out.")
        if tally.without_time.count:
            says.append(
                f"{counted(tally.without_time.count, 'line')} with neither a time nor a reading, left out "
                f"({tally.without_time.where()})."
            )
        if self.torn:
            says.append(self.torn)
        if self.times.took_local_zone:
            says.append(
                f"Local times were taken in {self.settings.zone}, the computer's zone. Of another clock: --zone."
            )
        if not self.clock.known:
            says.append(
                "The log does not say when it was; the moment of the import stands for its start. Say it with --start."
            )
        return tuple(says)


def read_log(
    path: Path,
    settings: ImportSettings,
    waiting: BinaryIO,
    imported_utc: datetime,
    started_utc: datetime | None,
    local_zone: str | None,
    progress: Progress | None,
) -> Log:
    """Read a log whole; its rows are written to ``waiting`` as they will stand in the run, without checksums.

    Raises ImportFileError with file, line or column and what is allowed.
    """
    checked_settings(settings)
    when = [settings.time] if settings.date is None else [settings.time, settings.date]
    wanted = [*when, *(choice.column for choice in settings.columns)]
    layout = find_layout(path, wanted, separator=settings.separator, times=len(when))
    stated = settings.time_unit is not None
    settings, unit_notes = with_units(settings, layout)
    reader = LogReader(layout, settings, progress, local_zone=local_zone)
    clock, blocks, last = _spool(reader, waiting, imported_utc, started_utc)
    assert reader.times is not None
    t_s = np.concatenate([block.time_s for block in blocks])
    if reader.times.keeps_figures and not stated:
        _check_seconds(path, t_s)
    faults = _faults(path, settings, blocks)
    torn = _torn(reader, last, faults)
    end = t_s.size - bool(torn)
    clock.last_s = float(t_s[end - 1] - clock.zero_s)
    if reader.times.took_local_zone:
        settings = replace(settings, zone=local_zone)
    return Log(path, settings, reader, clock, tuple(fault.until(end) for fault in faults), torn, unit_notes)


def _spool(
    reader: LogReader, waiting: BinaryIO, imported_utc: datetime, started_utc: datetime | None
) -> tuple[LogClock, list[RowBlock], RowBlock]:
    """Write the rows as they will stand in the run; return the clock, the blocks without cells, and the last whole."""
    clock: LogClock | None = None
    kept: list[RowBlock] = []
    for block in reader.blocks():
        if clock is None:
            clock = _clock(reader, float(block.time_s[0]), imported_utc, started_utc)
            clock.first_s = float(block.time_s[0]) - clock.zero_s
            if block.time_s.size > 1:
                clock.every_s = round(float(np.median(np.diff(block.time_s))), 3)
        waiting.write(_rows(block.time_s - clock.zero_s, clock, block))
        kept.append(replace(block, cells=()))
        last = block
    assert clock is not None  # blocks() refuses a file without rows
    return clock, kept, last


def _clock(reader: LogReader, first_s: float, imported_utc: datetime, started_utc: datetime | None) -> LogClock:
    assert reader.times is not None
    offset_s = reader.settings.clock_offset_s
    if reader.times.absolute:
        return LogClock(first_s, first_s + offset_s, True)
    zero_s = 0.0 - offset_s if reader.times.keeps_figures else first_s
    start = (started_utc or imported_utc).timestamp()
    return LogClock(zero_s, start, started_utc is not None)


def _rows(t_s: FloatArray, clock: LogClock, block: RowBlock) -> bytes:
    moments = np.round((t_s + clock.start_utc_s) * 1000.0).astype("datetime64[ms]")
    utc = np.char.add(np.datetime_as_string(moments, unit="ms"), "Z")
    times = [f"{t:.3f}" for t in t_s.tolist()]
    lines = map(",".join, zip(times, utc.tolist(), *(column.tolist() for column in block.cells), strict=True))
    return ("\n".join(lines) + "\n").encode()


def _check_seconds(path: Path, t_s: FloatArray) -> None:
    """Times that are numbers, of which nobody says the unit, must be possible as seconds."""
    every_s = float(np.median(np.diff(t_s))) if t_s.size > 2 else 1.0
    if LEAST_EVERY_S <= every_s <= MOST_EVERY_S:
        return
    hint = "Are they ms, or day numbers of a spreadsheet? Give dates and times there as text, or say --time-unit."
    raise ImportFileError(f"{path}: taken as seconds, the times are {duration(every_s)} apart from row to row. {hint}")


def _torn(reader: LogReader, last: RowBlock, faults: Sequence[FaultValue]) -> str:
    """Say that the last row is left out where its end is missing: no line end, and fewer figures than all above."""
    layout = reader.layout
    if not layout.source.unfinished or last.time_s.size < 2 or layout.places[-1] != len(layout.names) - 1:
        return ""
    name = reader.settings.columns[-1].name
    above, cell = str(last.cells[-1][-2]), str(last.cells[-1][-1])
    places = reader.written.places.get(name, 0)
    fault_above = any(fault.name == name and fault.rows[-2] for fault in faults)
    jump = 0.0 if fault_above else abs(float(last.values[-1][-1] - last.values[-1][-2]))
    fewer = len(cell.partition(".")[2]) < places or (len(cell) < len(above) and jump > STEP_K)
    if not fewer or not cell:
        return ""
    return f"Line {int(last.lines[-1])} is cut off ({cell!r}, and no line end): left out."


def _faults(path: Path, settings: ImportSettings, blocks: Sequence[RowBlock]) -> tuple[FaultValue, ...]:
    t_s, lines = (np.concatenate([getattr(block, key) for block in blocks]) for key in ("time_s", "lines"))
    found: list[FaultValue] = []
    for k, choice in enumerate(settings.columns):
        if choice.role:
            values = np.concatenate([block.values[k] for block in blocks])
            unit = settings.unit or "C"
            readings = ReadCells(path, choice.name, choice.column, unit, settings.thermocouple, t_s, values, lines)
            found += find_faults(readings, settings.fault_values, notice=settings.notice_faults)
    return tuple(found)
