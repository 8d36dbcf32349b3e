"""Making and filling a run folder: created exclusively, appended to, sealed.

What is promised: a row handed to ``write_row`` is safe from a crash of the program when the call returns, and from a
power cut when the next ``sync`` returns. What is not: that a failed ``sync`` can be repeated. After any ``OSError``
from ``write_row`` or ``sync`` call ``new_segment`` and write again what was written since the last good ``sync``; a
repeated ``t_s`` is dropped by the reader.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.chained import ChainedFile, OwnFile, TextFile
from soakwitness.firmware_bridge.runfolder.check import check_segment
from soakwitness.firmware_bridge.runfolder.contents import NOTHING_MISSING, Column, RunHeader
from soakwitness.firmware_bridge.runfolder.creating import new_folder, next_run, reduced_name, take_back
from soakwitness.firmware_bridge.runfolder.events import whole_events
from soakwitness.firmware_bridge.runfolder.files import Files, open_regular, read_small, set_aside, write_whole
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
from soakwitness.firmware_bridge.runfolder.mending import Harm, row_time, salvage, watched
from soakwitness.firmware_bridge.runfolder.seal import segments
from soakwitness.firmware_bridge.version import VERSION

__all__ = ["RunFolder", "reduced_name", "software_words"]


def software_words() -> str:
    """Name and version of this program, as ``run.json`` keeps it."""
    return f"soakwitness {VERSION}"


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
        self._event_rows: bytearray | None = None  # all of events.csv, header included
        self._event_crc = header_crc(events_header())
        self._closed: list[ChainedFile] = []  # earlier segments
        self._run_json: TextFile | None = None

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
            path = new_folder(logbook / place, furnace_name, started_utc, files)
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
                raw={**(extra or {}), "recorder": next_run(logbook, files, path.name)},
            )
            return cls._begin(path, header, files)
        except OSError as error:
            take_back(path, files)
            raise RunFolderError(
                f"{logbook}: no run folder can be made there: {error.strerror or error}. Free the disk or give another "
                "--logbook."
            ) from None

    @classmethod
    def _begin(cls, path: Path, header: RunHeader, files: Files) -> RunFolder:
        write_whole(files, path / "run.json", header_text(header).encode())
        run = cls(path, read_header(path), files)
        try:
            run._keep_run_json()
            run._samples = ChainedFile.new(files, path / "samples.csv", run._line)
            run._events = ChainedFile.new(files, path / "events.csv", events_header())
            run._event_rows = bytearray(events_header())
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
        run = cls(path, read_header(path), files or Files())
        with contextlib.suppress(OSError):
            run._keep_run_json()
        run._closed = [old for segment in segments(path) for old in watched(segment, run._files, run._line)]
        return run

    def _keep_run_json(self) -> None:
        data = read_small(self.path / "run.json")
        self._run_json = TextFile(self.path / "run.json", open_regular(self.path / "run.json"), data)

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
        self._samples.write(body, row_time(body))

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
        assert self._event_rows is not None
        self._event_rows += self._events.write(body)
        self._event_crc = self._events.crc

    def sync(self) -> None:
        """Bring all rows and events to the disk itself. Raises ``OSError``; see the promises above."""
        for file in (self._samples, self._events):
            if file is not None:
                file.sync()

    def new_segment(self) -> None:
        """Give the sample segment up and open the next one. Raises ``OSError``."""
        if self._samples is not None:
            self._closed.append(self._samples)
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
        if self._event_rows is None:
            kept, crc = whole_events(path)
        else:
            kept, crc = bytes(self._event_rows), self._event_crc
        there = {line.rpartition(b",")[0] for line in kept.split(b"\n")}
        rows = [kept]
        for body in bodies:
            if body not in there:
                row, crc = row_bytes(body, crc)
                rows.append(row)
        whole = b"".join(rows)
        write_whole(self._files, path, whole)
        self._event_rows, self._event_crc = bytearray(whole), crc
        bad = len(check_segment(path, events_header()).bad)
        self._events = ChainedFile(self._files, path, self._files.open_end(path), crc, header=events_header(), bad=bad)

    def harmed(self) -> list[Harm]:
        """Files of this run that another program changed, replaced or removed since this one left them.

        Raises ``OSError`` where that cannot be told.
        """
        own: tuple[OwnFile | None, ...] = (self._run_json, self._events, *self._closed, self._samples)
        found = ((file, file.how()) for file in own if file is not None)
        return [Harm(file, how) for file, how in found if how is not None]

    def mend(self, harms: Sequence[Harm], remembered: Iterable[bytes]) -> list[str]:
        """Write again what can be had of harmed files, beside what others left there; say what was done.

        ``remembered`` are the bodies of the newest rows. Rows are brought to the disk by the next ``sync``. Raises
        ``OSError``; what was not mended is harmed yet.
        """
        if not self.path.is_dir():
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._files.make_folder(self.path)
        says = []
        for harm in harms:
            if isinstance(harm.file, TextFile):
                self._take_away(harm)
                write_whole(self._files, harm.file.path, harm.file.data)
                self._keep_run_json()
                says.append(f"{harm.says}; written again as it was; {NOTHING_MISSING}")
            elif harm.file is self._events:
                self._take_away(harm)
                self.renew_events()
                says.append(f"{harm.says}; written again as it was; {NOTHING_MISSING}")
        return says + self._mend_segments(
            [harm for harm in harms if harm.file in (*self._closed, self._samples)], remembered
        )

    def _take_away(self, harm: Harm) -> None:
        harm.file.close()
        if os.path.lexists(harm.file.path):
            set_aside(harm.file.path, "changed")

    def _mend_segments(self, harms: Sequence[Harm], remembered: Iterable[bytes]) -> list[str]:
        if not harms:
            return []
        rows = {row_time(body): body for body in remembered}
        found = [salvage(harm, self._line, rows) for harm in harms]
        again = {t_s: body for one in found for t_s, body in one.again.items()}
        for harm in harms:
            if os.path.lexists(harm.file.path) and not harm.file.path.is_file():
                set_aside(harm.file.path, "changed")  # a folder or a pipe: nobody could read the record
        self.new_segment()
        assert self._samples is not None
        for t_s in sorted(again):
            self._samples.write(again[t_s], t_s)
        self._samples.sync()
        harmed = [harm.file for harm in harms]
        for file in harmed:
            file.close()
        self._closed = [file for file in self._closed if file not in harmed]
        left = [file.path for file in harmed if file.path != self._samples.path]
        self._closed += [old for path in left for old in watched(path, self._files, self._line)]
        return [one.says(self._samples.path) for one in found]

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
        for file in (self._samples, self._events, self._run_json, *self._closed):
            if file is not None:
                file.close()
        self._samples = self._events = self._run_json = None
        self._closed = []
