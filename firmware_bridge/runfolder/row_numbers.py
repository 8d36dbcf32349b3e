"""Readings of a run as columns of numbers by the standard library, for whom a numeric library is too heavy."""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from soakwitness.firmware_bridge.runfolder.contents import ByteRange, RunHeader
from soakwitness.firmware_bridge.runfolder.header import read_header
from soakwitness.firmware_bridge.runfolder.reader import check_record

_AT_ONCE = 1 << 19


@dataclass(frozen=True)
class RowNumbers:
    """Good rows of a run whose times rise: ``t_s`` [s] and each column in its own unit, NaN where nothing was read."""

    header: RunHeader
    t_s: array[float]
    columns: dict[str, array[float]]


def read_numbers(path: Path) -> RowNumbers:
    """Read the good rows of a run folder; a row that is no later than one before it is left out.

    Raises RunFolderError if this is no run folder, or one of a newer format.
    """
    header = read_header(path)
    names = [column.name for column in header.columns]
    columns = [array("d") for _ in range(len(names) + 1)]
    for block in _blocks(check_record(path).good):
        cells = _cells(block, len(names) + 3)
        for column, some in zip(columns, (cells[0], *cells[2:-1]), strict=True):
            column.extend(_floats(some))
    _keep_rising(columns)
    return RowNumbers(header, columns[0], dict(zip(names, columns[1:], strict=True)))


def _blocks(ranges: Sequence[ByteRange]) -> Iterator[str]:
    """Text of whole rows, some thousand at a time."""
    for part in ranges:
        with part.segment.open("rb") as file:
            file.seek(part.start)
            left = part.stop - part.start
            while left > 0:
                data = file.read(min(left, _AT_ONCE))
                data += file.readline() if len(data) < left and not data.endswith(b"\n") else b""
                left = left - len(data) if data else 0
                if data:
                    yield data.decode("utf-8", "replace").removesuffix("\n")


def _cells(block: str, count: int) -> list[Sequence[str]]:
    """The columns of some rows; a row of another number of cells is left out."""
    every = block.replace("\n", ",").split(",")
    columns: list[Sequence[str]] = [every[k::count] for k in range(count)]
    if len(every) % count == 0 and all(utc.endswith("Z") for utc in columns[1]):  # so that none is one row too far
        return columns
    rows = [cells for line in block.split("\n") if len(cells := line.split(",")) == count]
    return list(zip(*rows, strict=True)) if rows else [()] * count


def _floats(cells: Sequence[str]) -> list[float]:
    try:
        numbers = list(map(float, cells))
    except ValueError:  # an empty cell, or a text
        numbers = [_number(cell) for cell in cells]
    return numbers if math.isfinite(sum(numbers)) else [n if math.isfinite(n) else math.nan for n in numbers]


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.nan


def _keep_rising(columns: list[array[float]]) -> None:
    """Leave out, in place, rows whose time is not later than that of every row before."""
    t_s = columns[0]
    if all(a < b for a, b in zip(t_s, t_s[1:], strict=False)) and not math.isnan(t_s[0] if t_s else 0.0):
        return
    latest, keep = -math.inf, []
    for i, moment_s in enumerate(t_s):
        if moment_s > latest:
            latest = moment_s
            keep.append(i)
    for number, column in enumerate(columns):
        columns[number] = array("d", (column[i] for i in keep))
