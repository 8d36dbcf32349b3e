"""Reading a run folder: its header, events and marks, and which of its rows can be trusted."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from soakwitness.firmware_bridge.common.wording import counted
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.check import SegmentCheck, check_segment
from soakwitness.firmware_bridge.runfolder.contents import BadRow, ByteRange, Event, Mark, RecordCheck, RunHeader
from soakwitness.firmware_bridge.runfolder.files import open_regular
from soakwitness.firmware_bridge.runfolder.header import read_header
from soakwitness.firmware_bridge.runfolder.line_format import event_cells, events_header, header_line
from soakwitness.firmware_bridge.runfolder.marks import marks_of
from soakwitness.firmware_bridge.runfolder.mending import RECORD_CHANGED
from soakwitness.firmware_bridge.runfolder.merging import merge
from soakwitness.firmware_bridge.runfolder.seal import Seal, differences, read_seal, segments

__all__ = ["as_sealed", "check_record", "check_rows", "last_row", "read_events", "read_header", "read_marks"]


def read_events(path: Path) -> tuple[Event, ...]:
    """Events of a run whose checksums hold, in the order in which they were entered.

    Raises RunFolderError if ``events.csv`` cannot be read; a missing one is a run without events.
    """
    file = path / "events.csv"
    if not file.exists():
        return ()
    found = check_segment(file, events_header())
    rows = (_event(line) for line in _good_lines(found))
    return tuple(event for event in rows if event is not None)


def _good_lines(found: SegmentCheck) -> Iterator[str]:
    if not found.good:
        return
    with open_regular(found.path) as file:
        data = file.read()
    for start, stop, _ in found.good:
        yield from data[start:stop].decode("utf-8", "replace").split("\n")


def _event(row: str) -> Event | None:
    """The event of one row; None where its checksum holds and nobody of ours wrote it."""
    cells = event_cells(row)
    try:
        t_s = math.nan if cells is None else float(cells[0])
    except ValueError:
        return None
    return None if cells is None or not math.isfinite(t_s) else Event(t_s, *cells[1:4])


def read_marks(path: Path) -> tuple[Mark, ...]:
    """Marks of a run as they stand now, in the order of the moments they speak of; struck ones are among them."""
    return marks_of(read_events(path))


def check_record(path: Path) -> RecordCheck:
    """Say how far the record of a run can be trusted, and where its good rows stand.

    A sealed run is compared with the digests of its seal; where they agree, nothing is checked row by row. Any other
    run is checked row by row. ``good`` lists the bytes of good rows in the order of their times, a time that stands in
    two segments taken once.

    Raises RunFolderError if there is no run folder, or its format is newer than this program.
    """
    header = read_header(path)
    try:
        seal = read_seal(path)
    except RunFolderError as error:
        return check_rows(path, header, sealed=True, differs=["seal.json"], notes=(str(error),))
    if seal is None:
        return check_rows(path, header, sealed=False, differs=[])
    differs = differences(path, seal)
    if seal.run != header.run:
        differs = differs or ["seal.json"]
    if differs:
        return check_rows(path, header, sealed=True, differs=differs, notes=())
    return as_sealed(path, seal)


def as_sealed(path: Path, seal: Seal) -> RecordCheck:
    """What a seal says of the record, without looking whether it still holds."""
    return RecordCheck(
        rows=seal.rows,
        bad_rows=tuple(BadRow(*bad) for bad in seal.bad_rows),
        torn_tail=seal.torn_tail,
        sealed=True,
        intact=not seal.changed,
        first_difference=_first_changed(seal.changed),
        good=tuple(ByteRange(path / name, start, stop, rows) for name, start, stop, rows in seal.good),
        says=seal.says,
        changed=seal.changed,
    )


def check_rows(
    path: Path, header: RunHeader, *, sealed: bool, differs: list[str], notes: tuple[str, ...] = ()
) -> RecordCheck:
    """Check every row of every segment and of ``events.csv``, whatever a seal says.

    ``differs`` names the files that are not what the seal says, ``notes`` what is to be said first.
    """
    line = header_line(column.name for column in header.columns)
    parts = [check_segment(segment, line) for segment in segments(path)]
    try:
        good, twice = merge(parts)
    except ValueError as error:
        raise RunFolderError(f"{path}: a row whose checksum holds has no time: {error}.") from None
    events_file = path / "events.csv"
    files = [*parts, check_segment(events_file, events_header())] if events_file.exists() else parts
    bad = tuple(row for part in files for row in part.bad)
    changed = tuple(event.detail for event in read_events(path) if event.event == RECORD_CHANGED)
    first = next(iter(differs), None) or (bad[0].segment if bad else None) or _first_changed(changed)
    missing = [name for name in ("samples.csv", "events.csv") if not (path / name).exists()]
    if missing and first is None:
        first = missing[0]
    return RecordCheck(
        rows=sum(part.rows for part in good),
        bad_rows=bad,
        torn_tail=any(part.torn for part in files),
        sealed=sealed,
        intact=first is None,
        first_difference=first,
        good=good,
        says=(*notes, *changed, *_words(path, differs, files, twice, missing)),
        changed=changed,
        differs=tuple(differs),
    )


def _first_changed(changed: tuple[str, ...]) -> str | None:
    """Name of the file that the first of these sentences begins with."""
    return changed[0].split(" ")[0] if changed else None


def _words(path: Path, differs: list[str], files: list[SegmentCheck], twice: int, missing: list[str]) -> list[str]:
    says = [f"{name} is not what the seal says." for name in differs if (path / name).exists()]
    says += [f"{name} is missing." for name in dict.fromkeys([*differs, *missing]) if not (path / name).exists()]
    for part in files:
        says += [f"{part.path.name} line {bad.line}: {bad.says}." for bad in part.bad[:3]]
        if len(part.bad) > 3:
            says.append(f"{part.path.name}: {len(part.bad)} bad rows in all.")
        if part.torn:
            says.append(f"{part.path.name}: torn tail, the last row was cut.")
    if twice:
        says.append(f"In two segments, each taken once: {counted(twice, 'row')}.")
    return says


@dataclass(frozen=True)
class LastRow:
    """The last good row of a record; ``cells`` stand in the order of the columns."""

    t_s: float
    utc: str
    cells: tuple[str, ...]


def last_row(check: RecordCheck) -> LastRow | None:
    """The last good row, None where there is none."""
    if not check.good:
        return None
    last = check.good[-1]
    with open(last.segment, "rb") as file:
        back = min(last.stop - last.start, 1 << 16)
        file.seek(last.stop - back)
        cells = file.read(back).removesuffix(b"\n").rpartition(b"\n")[2].decode().split(",")
    try:
        return LastRow(float(cells[0]), cells[1], tuple(cells[2:-1]))
    except (ValueError, IndexError):
        raise RunFolderError(f"{last.segment}: the last row whose checksum holds has no time: {cells}.") from None
