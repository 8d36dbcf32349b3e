"""Runs without a seal: what was written last, without reading the whole record. Nothing is checked here."""

from __future__ import annotations

import math
import os
from collections.abc import Collection, Iterator
from pathlib import Path

from soakwitness.firmware_bridge.runfolder.files import open_regular
from soakwitness.firmware_bridge.runfolder.line_format import read_utc
from soakwitness.firmware_bridge.runfolder.reader import LastRow
from soakwitness.firmware_bridge.runfolder.seal import segments

_TAIL = 1 << 14
MOST_ROWS = 4000


def unsealed(logbook: Path, *, sealed: Collection[str] = ()) -> tuple[Path, ...]:
    """Run folders without a seal, in the order of their names; ``sealed``: names of folders known to have one."""
    try:
        names = sorted(entry.name for entry in os.scandir(logbook / "runs") if entry.is_dir())
    except OSError:
        return ()
    paths = (logbook / "runs" / name for name in names if name not in sealed)
    return tuple(path for path in paths if (path / "run.json").exists() and not (path / "seal.json").exists())


def last_written(path: Path) -> LastRow | None:
    """The last whole row of a run that is still open; None where there is none yet."""
    for segment in reversed(segments(path)):
        with open_regular(segment) as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(size - _TAIL, 0))
            lines = file.read().rpartition(b"\n")[0].split(b"\n")
        rows = [row for line in lines if (row := _row(line)) is not None]
        if rows:
            return rows[-1]
    return None


def thinned_rows(path: Path) -> Iterator[LastRow]:
    """Rows of a run that is still open, every so many of a long one, in the order of their times."""
    for segment in segments(path):
        with open_regular(segment) as file:
            lines = file.read().rpartition(b"\n")[0].split(b"\n")
        for line in [*lines[:: max(1, len(lines) // MOST_ROWS)], lines[-1]]:
            row = _row(line)
            if row is not None:
                yield row


def _row(line: bytes) -> LastRow | None:
    cells = line.decode("utf-8", "replace").split(",")
    try:
        row = LastRow(float(cells[0]), cells[1], tuple(cells[2:-1]))
    except (ValueError, IndexError):
        return None
    return row if math.isfinite(row.t_s) and math.isfinite(read_utc(row.utc)) else None
