"""A run in memory: its readings in degC, its events and marks, and how far its record can be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from soakwitness.firmware_bridge.common.units import to_celsius, to_kelvin
from soakwitness.firmware_bridge.runfolder.model import Column, Event, Mark, RecordCheck, RunHeader

if TYPE_CHECKING:
    import pandas as pd

FloatArray = npt.NDArray[np.float64]


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
    from soakwitness.analysis.sample_rows import read_rows
    from soakwitness.firmware_bridge.runfolder import reader

    folder = Path(path)
    header = reader.read_header(folder)
    check = reader.check_record(folder)
    table = read_rows(check.good, [column.name for column in header.columns])
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
