"""Making and filling a run folder: created exclusively, appended to, sealed.

What is promised: a row handed to ``write_row`` is safe from a crash of the program when the call returns, and from a
power cut when the next ``sync`` returns. What is not: that a failed ``sync`` can be repeated. After any ``OSError``
from ``write_row`` or ``sync`` call ``new_segment`` and write again what was written since the last good ``sync``; a
repeated ``t_s`` is dropped by the reader.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.chain import open_chain
from soakwitness.firmware_bridge.runfolder.contents import Column, RunHeader
from soakwitness.firmware_bridge.runfolder.events import whole_events
from soakwitness.firmware_bridge.runfolder.files import Files, write_whole
from soakwitness.firmware_bridge.runfolder.header import header_text, read_header
from soakwitness.firmware_bridge.runfolder.line_format import (
    Value,
    event_body,
    events_header,
    header_crc,
    header_line,
    row_bytes,
    sample_body,
    utc_text,
)
from soakwitness.firmware_bridge.runfolder.seal import segments
from soakwitness.firmware_bridge.version import VERSION

_AT_ONCE = 1 << 20


def reduced_name(name: str) -> str:
    """A furnace's name as it stands in a run id: ``[a-z0-9-]`` only.

    >>> reduced_name("Big Furnace (left)")
    'big-furnace-left'
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "furnace"


def software_words() -> str:
    """Name and version of this program, as ``run.json`` keeps it."""
    return f"soakwitness {VERSION}"


class ChainedFile:
    """A file of rows whose checksums continue each other. Methods raise ``OSError``; then the file is given up."""

    def __init__(self, files: Files, path: Path, file: BinaryIO, crc: int) -> None:
        self.path = path
        self._files = files
        self._file = file
        self._crc = crc
        self._unsynced = True

    @classmethod
    def new(cls, files: Files, path: Path, header: bytes) -> ChainedFile:
        """Make a new file with its header; it must not exist."""
        file = files.open_new(path)
        try:
            files.write(file, header)
            files.sync_folder(path.parent)
        except BaseException:
            file.close()
            with contextlib.suppress(OSError):
                files.remove(path)
            raise
        return cls(files, path, file, header_crc(header))

    def write(self, body: bytes) -> None:
        """Append one row."""
        row, crc = row_bytes(body, self._crc)
        self._unsynced = True
        self._files.write(self._file, row)
        self._crc = crc

    def write_many(self, bodies: Iterable[bytes]) -> int:
        """Append many rows; return how many."""
        self._unsynced = True
        crc = self._crc
        count = size = 0
        waiting: list[bytes] = []
        for body in bodies:
            row, crc = row_bytes(body, crc)
            waiting.append(row)
            count += 1
            size += len(row)
            if size > _AT_ONCE:
                self._files.write(self._file, b"".join(waiting))
                waiting.clear()
                size = 0
        self._files.write(self._file, b"".join(waiting))
        self._crc = crc
        return count

    def sync(self) -> None:
        """Bring all rows to the disk itself, where there are new ones."""
        if self._unsynced:
            self._files.sync(self._file)
            self._unsynced = False

    def close(self) -> None:
        """Close the file; not a promise that its rows are on the disk."""
        with contextlib.suppress(OSError):
            self._file.close()


class RunFolder:
    """A run folder open for writing. Make one with ``create`` or ``resume``.

    ``path`` is the folder, ``header`` its ``run.json``, ``last_t_s`` the time of the last row written (None: none).
    """

    def __init__(self, path: Path, header: RunHeader, files: Files) -> None:
        self.path = path
        self.header = header
        self.last_t_s: float | None = None
        self._files = files
        self._names = tuple(column.name for column in header.columns)
        self._line = header_line(self._names)
        self._samples: ChainedFile | None = None
        self._events: ChainedFile | None = None

    @classmethod
    def create(
        cls,
        logbook: Path,
        *,
        columns: Sequence[Column],
        furnace_name: str,
        started_utc: datetime | float,
        furnace_file: str | None = None,
        recipe_name: str | None = None,
        recipe_file: str | None = None,
        packet_name: str | None = None,
        packet_file: str | None = None,
        every_s: float | None = None,
        zone: str | None = None,
        operator: str | None = None,
        origin: str = "recorded",
        software: str | None = None,
        extra: Mapping[str, Any] | None = None,
        files: Files | None = None,
        place: str = "runs",
    ) -> RunFolder:
        """Make ``runs/<UTC>_<furnace>_<4 hex>/`` in a log book with its first files, or raise ``RunFolderError``.

        ``logbook``: folder of the log book; it and its ``runs/`` are made where they are missing. ``columns``: columns
        between ``utc`` and ``crc``; ``header.columns_of`` makes them from a furnace. ``started_utc``: start of the run:
        a datetime with a zone, or seconds since 1970. ``place``: folder in the log book where it is made: another one
        for a run that does not count until it is moved.
        """
        files = files or Files()
        header_line(column.name for column in columns)
        path: Path | None = None
        try:
            (logbook / place).mkdir(parents=True, exist_ok=True)
            path = _new_folder(logbook / place, furnace_name, started_utc, files)
            header = RunHeader(
                run=path.name,
                started_utc=utc_text(started_utc),
                columns=tuple(columns),
                furnace_name=furnace_name,
                furnace_file=furnace_file,
                recipe_name=recipe_name,
                recipe_file=recipe_file,
                packet_name=packet_name,
                packet_file=packet_file,
                every_s=every_s,
                zone=zone,
                operator=operator,
                software=software_words() if software is None else software,
                origin=origin,
                raw={**(extra or {}), "recorder": _next_run(logbook, files, path.name)},
            )
            return cls._begin(path, header, files)
        except OSError as error:
            _take_back(path, files)
            raise RunFolderError(
                f"{logbook}: no run folder can be made there: {error.strerror or error}. Free the disk or give another "
                "--logbook."
            ) from None

    @classmethod
    def _begin(cls, path: Path, header: RunHeader, files: Files) -> RunFolder:
        write_whole(files, path / "run.json", header_text(header).encode())
        run = cls(path, read_header(path), files)
        try:
            run._samples = ChainedFile.new(files, path / "samples.csv", run._line)
            run._events = ChainedFile.new(files, path / "events.csv", events_header())
        except BaseException:
            run.close()
            raise
        return run

    @classmethod
    def resume(cls, path: Path, *, files: Files | None = None) -> RunFolder:
        """Open an unsealed run folder to go on with it: rows go to a new segment, events are carried over.

        Raises RunFolderError if it cannot be read, or is sealed.
        """
        if (path / "seal.json").exists():
            raise RunFolderError(f"{path} is sealed: nothing more is recorded into it.")
        return cls(path, read_header(path), files or Files())

    def write_row(self, t_s: float, utc: str | datetime | float, values: Mapping[str, Value]) -> None:
        """Append one sample row; a column without a value is left empty.

        ``t_s``: time since the start of the run [s], later than the row before. ``values``: raw readings by column: a
        number, a cell formatted already, or None.

        Raises OSError if it could not be written: the segment is given up.
        """
        t_s = self._later(t_s)
        text = utc if isinstance(utc, str) else utc_text(utc)
        self.write_body(sample_body(t_s, text, self._names, values))
        self.last_t_s = t_s

    def write_body(self, body: bytes) -> None:
        """Append one row of which the bytes before the checksum's comma are given; its time is not looked at."""
        if self._samples is None:
            self.new_segment()
        assert self._samples is not None
        self._samples.write(body)

    def write_bodies(self, bodies: Iterable[bytes]) -> int:
        r"""Append many rows, fast: for each the bytes before the checksum's comma, ``t_s,utc,value,...``.

        Times must rise from row to row. Returns the number of rows.

        Raises
        ------
        RunFolderError
            If a time does not rise, or a row does not have the header's number of cells.
        """
        if self._samples is None:
            self.new_segment()
        assert self._samples is not None
        return self._samples.write_many(self._checked(bodies))

    def write_rows(self, rows: Iterable[Sequence[str]]) -> int:
        """Append many rows, each given as its formatted cells: ``t_s``, ``utc``, then one per column."""
        return self.write_bodies(",".join(row).encode() for row in rows)

    def _checked(self, bodies: Iterable[bytes]) -> Iterable[bytes]:
        commas = len(self._names) + 1
        last = -float("inf") if self.last_t_s is None else self.last_t_s
        for body in bodies:
            t_s = float(body[: body.find(b",")])
            if not t_s > last or body.count(b",") != commas or b"\n" in body:
                raise RunFolderError(f"row {body[:80]!r}: its time must rise and it must have {commas + 1} cells.")
            last = self.last_t_s = t_s
            yield body

    def _later(self, t_s: float) -> float:
        t_s = round(t_s, 3)
        if self.last_t_s is not None and not t_s > self.last_t_s:
            raise RunFolderError(f"t_s {t_s}: the row before stands at {self.last_t_s}. Times must rise.")
        return t_s

    def write_event(self, t_s: float, utc: str | datetime | float, event: str, detail: str = "") -> None:
        """Append one event. Raises ``OSError`` if it could not be written."""
        text = utc if isinstance(utc, str) else utc_text(utc)
        self.write_event_body(event_body(t_s, text, event, detail))

    def write_event_body(self, body: bytes) -> None:
        """Append an event of which the bytes before the checksum's comma are given."""
        if self._events is None:
            self.renew_events()
        assert self._events is not None
        self._events.write(body)

    def sync(self) -> None:
        """Bring all rows and events to the disk itself. Raises ``OSError``; see the promises above."""
        for file in (self._samples, self._events):
            if file is not None:
                file.sync()

    def new_segment(self) -> None:
        """Give the sample segment up and open the next one. Raises ``OSError``."""
        if self._samples is not None:
            self._samples.close()
            self._samples = None
        taken = [file.name for file in segments(self.path)]
        number = len(taken) + 1
        while (name := "samples.csv" if number == 1 else f"samples-{number}.csv") in taken:
            number += 1
        self._samples = ChainedFile.new(self._files, self.path / name, self._line)

    def drop_segment(self) -> None:
        """Remove the sample segment that is open: all its rows will be written again elsewhere."""
        if self._samples is not None:
            self._samples.close()
            with contextlib.suppress(OSError):
                self._files.remove(self._samples.path)
            self._samples = None

    def renew_events(self, bodies: Sequence[bytes] = ()) -> None:
        """Write ``events.csv`` anew with all whole lines it has, so that it can be trusted and appended to.

        ``bodies`` are events that may or may not stand in it; those that do not are added. A cut last line is left
        out unless its checksum holds. Raises ``OSError``.
        """
        if self._events is not None:
            self._events.close()
            self._events = None
        path = self.path / "events.csv"
        kept, crc = whole_events(path)
        there = {line.rpartition(b",")[0] for line in kept.split(b"\n")}
        rows = [kept]
        for body in bodies:
            if body not in there:
                row, crc = row_bytes(body, crc)
                rows.append(row)
        write_whole(self._files, path, b"".join(rows))
        self._events = ChainedFile(self._files, path, self._files.open_end(path), crc)

    def seal(self, *, sealed_utc: datetime | float | None = None) -> str:
        """Sync, close and seal; return the digest of the seal.

        Raises RunFolderError if the folder cannot be sealed; ``sealing.seal_run`` can be tried again later.
        """
        from soakwitness.firmware_bridge.runfolder.sealing import seal_run

        try:
            self.sync()
        except OSError as error:
            raise RunFolderError(f"{self.path} cannot be brought to the disk: {error.strerror or error}.") from None
        self.close()
        return seal_run(self.path, sealed_utc=sealed_utc or datetime.now(UTC), files=self._files).digest

    def close(self) -> None:
        """Close the files without a seal; the folder can be resumed."""
        for file in (self._samples, self._events):
            if file is not None:
                file.close()
        self._samples = self._events = None


def _new_folder(runs: Path, furnace_name: str, started_utc: datetime | float, files: Files) -> Path:
    stamp = re.sub(r"[-:]|\.\d+", "", utc_text(started_utc))
    while True:
        path = runs / f"{stamp}_{reduced_name(furnace_name)}_{os.urandom(2).hex()}"
        with contextlib.suppress(FileExistsError):
            files.make_folder(path)
            files.sync_folder(runs)
            return path


def _next_run(logbook: Path, files: Files, run: str) -> dict[str, Any]:
    with open_chain(logbook, files) as book:
        book.save(replace(book.chain, runs=book.chain.runs + 1, last_run=run))
        return {"id": book.chain.id, "counter": book.chain.runs, "previous_seal": book.chain.head}


def _take_back(path: Path | None, files: Files) -> None:
    """Remove a run folder that could not be made whole, as far as that goes."""
    if path is None:
        return
    with contextlib.suppress(OSError):
        for file in path.iterdir():
            files.remove(file)
        path.rmdir()
