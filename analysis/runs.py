"""A run in memory: its readings in degC, its events and marks, and how far its record can be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

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
        raise NotImplementedError


def open_run(path: str | Path) -> Run:
    """Read a run folder. To be written by its owner."""
    raise NotImplementedError
