"""By how much a pair of sensors usually differs: measured in the furnace's last runs, of the same sensor lives."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.logbook.runs import list_runs
from soakwitness.analysis.logbook.sensors import sensor_life_on
from soakwitness.analysis.runs import open_run
from soakwitness.analysis.verification.model import UsualDifference
from soakwitness.analysis.verification.pairs import pair_differences
from soakwitness.firmware_bridge.errors import RunFolderError
from soakwitness.firmware_bridge.runfolder.reader import read_header

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.firmware_bridge.runfolder.model import Column, RunHeader

MOST_RUNS = 6
LARGEST_BYTES = 20_000_000  # a longer record takes too long to be read for this alone
Life = tuple[int | None, str | None, str | None, str | None, float | None]


def usual_differences(book: LogBook, header: RunHeader) -> tuple[UsualDifference, ...]:
    """Measure by how much the pairs of sensors of a run differed before.

    Parameters
    ----------
    book : LogBook
        The open log book.
    header : RunHeader
        The run; one with a load sensor and another one, else there is no pair.

    Returns
    -------
    tuple of UsualDifference
        From the furnace's last six runs before this one, of pairs whose sensor lives were the same [K].
    """
    roles = {c.role for c in header.columns if c.kind == "sensor"}
    if "load" not in roles or roles == {"load"}:
        return ()
    mine = _lives(book, header)
    found: list[UsualDifference] = []
    earlier = list_runs(book, furnace=header.furnace_name, until_utc=header.started_utc, newest=MOST_RUNS)
    for entry in earlier:
        samples = entry.folder / "samples.csv"
        if entry.missing or entry.run == header.run or not samples.is_file():
            continue
        if samples.stat().st_size > LARGEST_BYTES:
            continue
        try:
            theirs = _lives(book, read_header(entry.folder))
            measured = _measured(entry.folder, samples.stat().st_mtime_ns)
        except (AnalysisError, RunFolderError):
            continue
        found += [d for d in measured if _same(mine, theirs, d.sensor) and _same(mine, theirs, d.other)]
    return tuple(found)


def _same(mine: Mapping[str, Life], theirs: Mapping[str, Life], name: str) -> bool:
    return name in mine and mine[name] == theirs.get(name)


def _lives(book: LogBook, header: RunHeader) -> dict[str, Life]:
    """Entry of the life in force and what the run itself says, by the sensor's name."""

    def life(column: Column) -> Life:
        known = sensor_life_on(book, header.furnace_name, column.name, header.started_utc)
        entry = known.entry if known is not None else None
        return entry, column.serial, column.channel, column.position, column.input_offset

    return {c.name: life(c) for c in header.columns if c.kind == "sensor"}


@lru_cache(maxsize=256)
def _measured(folder: Path, changed_ns: int) -> tuple[UsualDifference, ...]:  # noqa: ARG001 (part of the key)
    return pair_differences(open_run(folder))
