"""Marks that a person wrote down during a run whose log comes from elsewhere."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from soakwitness.analysis.errors import ImportFileError
from soakwitness.analysis.importing.settings import ImportSettings
from soakwitness.analysis.importing.times import TimeReader
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import ACTS, Act
from soakwitness.firmware_bridge.runfolder.names import spelled_out


@dataclass(frozen=True)
class WrittenMark:
    """One line of a mark file; ``time_s`` is on the log's own scale [s]."""

    time_s: float
    act: Act
    pieces: tuple[str, ...] = ()
    note: str = ""


def read_marks_file(path: Path, settings: ImportSettings, times: TimeReader) -> tuple[WrittenMark, ...]:
    """Read a table of marks: columns ``time``, ``act``, and where wanted ``pieces`` and ``note``.

    ``path``: CSV text, comma or semicolon; pieces are parted by blanks. ``settings``: those of the log; times are
    written as in the log, or as seconds.

    Raises ImportFileError with file, line, value and what is allowed.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise ImportFileError(f"{path}: cannot be read ({error.strerror}).") from None
    except UnicodeDecodeError:
        raise ImportFileError(f"{path} is no UTF-8 text.") from None
    lines = text.splitlines()
    separator = ";" if lines and ";" in lines[0] else ","
    reader = csv.DictReader(lines, delimiter=separator, skipinitialspace=True)
    if not {"time", "act"} <= set(reader.fieldnames or ()):
        raise ImportFileError(f"{path}, line 1: the columns must be time, act, and where wanted pieces, note.")
    try:
        marks = [_mark(row, path, reader.line_num, settings, times) for row in reader]
    except csv.Error as error:
        raise ImportFileError(f"{path}, line {reader.line_num}: cannot be read ({error}).") from None
    return tuple(sorted(marks, key=lambda mark: mark.time_s))


def _mark(
    row: dict[str, str | None], path: Path, line: int, settings: ImportSettings, times: TimeReader
) -> WrittenMark:
    place = f"{path}, line {line}"
    act = (row.get("act") or "").strip()
    if act not in ACTS:
        raise ImportFileError(f"{place}: act {act!r}; write one of {', '.join(ACTS)}.")
    cell = (row.get("time") or "").strip()
    time_s = _time(cell, path, line, settings, times)
    try:
        pieces = spelled_out([part for part in re.split(r"[\s,]+", row.get("pieces") or "") if part])
    except RunFolderError as error:
        raise ImportFileError(f"{place}: {error}") from None
    return WrittenMark(time_s, act, pieces, (row.get("note") or "").strip())


def _time(cell: str, path: Path, line: int, settings: ImportSettings, times: TimeReader) -> float:
    place = f"{path}, line {line}"
    if times.numeric:
        try:
            time_s = float(cell) * settings.seconds_per
        except ValueError:
            time_s = math.nan
    else:
        reader = TimeReader(settings, cell, place)
        time_s = float(reader.read(np.array([cell], dtype=object), np.array([line]), str(path))[0])
        reader.finish(str(path))
    if not math.isfinite(time_s):
        raise ImportFileError(f"{place}: {cell!r} is no time as the log writes it.")
    return time_s
