"""The past readings of a run that is being recorded, out of its own folder, thinned so that peaks and gaps stay."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_celsius
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.header import read_header
from soakwitness.firmware_bridge.runfolder.listing import good_rows

MOST_POINTS = 2000
GAP_PERIODS = 3.0  # longer without a reading is a gap, as in the verification
_GROUP, _KEPT = 8, 4

Row = list[float | None]  # run seconds, then a temperature for each name


def past_readings(run: Path, names: Sequence[str], unit: Unit) -> list[Row]:
    """Rows of a run so far, the temperatures in the unit asked; empty where the folder cannot be read.

    A slot or two without a reading is no gap; a gap is one row without a temperature.
    """
    try:
        header = read_header(run)
        columns = {column.name: (k, column) for k, column in enumerate(header.columns, start=2)}
        wanted = [columns.get(name) for name in names]
        gap_s = GAP_PERIODS * (header.every_s or 0.0)
        rows: list[Row] = []
        last_s, t_s, empty = 0.0, 0.0, None
        for cells in good_rows(run):
            t_s = float(cells[0])
            row: Row = [t_s, *(_shown(cells, place, unit) for place in wanted)]
            if all(value is None for value in row[1:]):
                empty = empty or row
                continue
            if empty is not None and t_s - last_s > gap_s:
                rows.append(empty)
            last_s, empty = t_s, None
            rows.append(row)
            rows = thinned(rows)
    except (RunFolderError, OSError, ValueError, IndexError):
        return []
    return rows if empty is None or t_s - last_s <= gap_s else [*rows, empty]


def _shown(cells: Sequence[str], place: tuple[int, Column] | None, unit: Unit) -> float | None:
    if place is None or cells[place[0]] == "":
        return None
    value = float(cells[place[0]])
    shown: Unit = "F" if place[1].unit == "F" else "C"
    return round(value if shown == unit else from_celsius(to_celsius(value, shown), unit), 1)


def thinned(rows: list[Row], most: int = MOST_POINTS) -> list[Row]:
    """The same rows while they are few; else of each eight the four that a picture needs most."""
    if len(rows) <= most:
        return rows
    return [row for k in range(0, len(rows), _GROUP) for row in _telling(rows[k : k + _GROUP])]


def _telling(group: list[Row]) -> Iterable[Row]:
    """A gap with what stands beside it, then the highest and the lowest of each sensor while there is room."""
    gap = next((k for k, row in enumerate(group) if all(value is None for value in row[1:])), None)
    kept = set() if gap is None else {max(gap - 1, 0), gap, min(gap + 1, len(group) - 1)}
    for column in range(1, len(group[0])):
        there = [(value, k) for k, row in enumerate(group) if (value := row[column]) is not None]
        if there and len(kept) < _KEPT - 1:
            kept |= {max(there)[1], min(there)[1]}
    return [group[k] for k in sorted(kept)]
