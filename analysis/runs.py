"""A run in memory: its readings in degC, its events and marks, and how far its record can be trusted."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from soakwitness.firmware_bridge.common.units import to_celsius, to_kelvin
from soakwitness.firmware_bridge.runfolder.model import ByteRange, Column, Event, Mark, RecordCheck, RunHeader

if TYPE_CHECKING:
    import pandas as pd

FloatArray = npt.NDArray[np.float64]
_AT_ONCE = 1 << 18


@dataclass(frozen=True)
class Trace:
    """Temperature against time of one sensor, single impossible points dropped.

    ``t_s`` [s] and ``temp_c`` [degC, NaN where nothing was read], shape (n,), ``t_s`` strictly rising.
    ``resolution_c`` is the step of the reading [K], ``period_s`` the nominal sampling period [s].
    """

    name: str
    role: str
    t_s: FloatArray
    temp_c: FloatArray
    resolution_c: float
    period_s: float
    dropped_points: int = 0


@dataclass(frozen=True)
class Run:
    """One run as read from its folder. ``values`` maps a column's name to its numbers, temperatures in degC."""

    path: Path
    header: RunHeader
    t_s: FloatArray
    values: Mapping[str, FloatArray]
    events: tuple[Event, ...]
    marks: tuple[Mark, ...]
    check: RecordCheck
    traces: tuple[Trace, ...] = field(default=())

    @property
    def columns(self) -> tuple[Column, ...]:
        """Columns as ``run.json`` describes them."""
        return self.header.columns

    def trace(self, role_or_name: str) -> Trace | None:
        """First trace of this name, else of this role, else None."""
        for tr in self.traces:
            if tr.name == role_or_name:
                return tr
        return next((tr for tr in self.traces if tr.role == role_or_name), None)

    def signal(self, name: str) -> FloatArray | None:
        """Numbers of a signal, shape (n,), or None; ``setpoint`` in degC, ``output`` in %."""
        return self.values.get(name)

    def frame(self) -> pd.DataFrame:
        """The run as a DataFrame indexed by ``t_s``; ``attrs["units"]`` names each column's unit."""
        import pandas as pd

        table = pd.DataFrame(dict(self.values), index=pd.Index(self.t_s, name="t_s"), copy=True)
        unit = {"C": "degC", "F": "degC"}
        table.attrs["units"] = {"t_s": "s"} | {c.name: unit.get(c.unit, c.unit) for c in self.columns}
        table.attrs["run"] = self.header.run
        return table


def open_run(path: str | Path) -> Run:
    """Read a run folder.

    Parameters
    ----------
    path : str or pathlib.Path
        The run folder.

    Returns
    -------
    Run
        Readings in degC (``values`` as recorded, ``traces`` without impossible single points), events, marks, and what
        the check of the record found. Rows whose checksum does not hold are left out.

    Raises
    ------
    RunFolderError
        If this is no run folder, or one of a newer format.
    """
    from soakwitness.analysis import traces
    from soakwitness.firmware_bridge.runfolder import reader

    folder = Path(path)
    header = reader.read_header(folder)
    check = reader.check_record(folder)
    table = _read_rows(check.good, [column.name for column in header.columns])
    keep = traces.rising(table["t_s"])
    if keep is not None:
        table = {name: numbers[keep] for name, numbers in table.items()}
    t_s = table.pop("t_s")
    period_s = header.every_s or traces.period(t_s)
    steps = {c.name: c.resolution or traces.resolution(table[c.name]) for c in header.columns if c.kind == "sensor"}
    for column in header.columns:
        if column.unit in ("C", "F"):
            table[column.name] = to_celsius(table[column.name], column.unit)
    sensors = tuple(
        traces.trace(
            column.name,
            column.role or "",
            t_s,
            table[column.name],
            resolution_c=to_kelvin(steps[column.name], column.unit),
            period_s=period_s,
        )
        for column in header.columns
        if column.kind == "sensor"
    )
    return Run(
        path=folder,
        header=header,
        t_s=t_s,
        values=table,
        events=reader.read_events(folder),
        marks=reader.read_marks(folder),
        check=check,
        traces=sensors,
    )


class _Rows(io.RawIOBase):
    """The good rows of all segments as one stream of bytes, read as they are asked for.

    A blank line follows each range: the last row of a segment may have lost its line feed.
    """

    def __init__(self, ranges: tuple[ByteRange, ...]) -> None:
        self._chunks = self._read(ranges)
        self._rest = b""

    def readable(self) -> bool:
        """Say that this is a stream for reading."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Fill ``buffer`` with the next bytes; 0 at the end."""
        rest = self._rest or next(self._chunks, b"")
        count = min(len(buffer), len(rest))
        buffer[:count] = rest[:count]
        self._rest = rest[count:]
        return count

    @staticmethod
    def _read(ranges: tuple[ByteRange, ...]) -> Iterator[bytes]:
        for segment, parts in groupby(ranges, key=lambda part: part.segment):
            with segment.open("rb") as file:
                for part in parts:
                    file.seek(part.start)
                    left = part.stop - part.start
                    while left and (chunk := file.read(min(left, _AT_ONCE))):
                        left -= len(chunk)
                        yield chunk
                    yield b"\n"


def _read_rows(ranges: tuple[ByteRange, ...], names: list[str]) -> dict[str, FloatArray]:
    """Parse the good rows; the columns ``utc`` and ``crc`` are skipped, which is most of the time saved."""
    wanted = ["t_s", *names]
    if not sum(part.rows for part in ranges):
        return {name: np.empty(0) for name in wanted}
    try:
        table = _parse(ranges, names, "float64")
    except ValueError:  # a cell that is no number: only then pay for looking at each
        table = _parse(ranges, names, "str")
    return {name: _numbers(table[name]) for name in wanted}


def _parse(ranges: tuple[ByteRange, ...], names: list[str], dtype: str) -> pd.DataFrame:
    import pandas as pd

    every = ["t_s", "utc", *names, "crc"]
    with io.BufferedReader(_Rows(ranges), _AT_ONCE) as stream:
        return pd.read_csv(
            stream, header=None, names=every, usecols=["t_s", *names], dtype=dtype, index_col=False, engine="c"
        )


def _numbers(column: pd.Series[Any]) -> FloatArray:
    """Return finite numbers or NaN: text and infinity are no readings."""
    import pandas as pd

    text = column.dtype != np.float64
    numbers: FloatArray = np.asarray(pd.to_numeric(column, errors="coerce") if text else column, dtype=np.float64)
    wild = np.isinf(numbers)
    return np.where(wild, np.nan, numbers) if wild.any() else numbers
