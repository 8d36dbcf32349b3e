"""Runs in memory for tests of the verification: no folder is read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
from soakwitness.analysis.record import traces
from soakwitness.analysis.record.run import FloatArray, Run
from soakwitness.firmware_bridge.runfolder.contents import Column, Event, Mark, RecordCheck, RunHeader
from tests.synthetic import Case

WHOLE = RecordCheck(0, (), False, True, True, None, ())


def sensor(name: str = "furnace", role: str = "control", **facts: object) -> Column:
    """A sensor's column; its step is 0.1 degC unless said otherwise."""
    return Column(name, "sensor", role=role, **{"unit": "C", "resolution": 0.1, **facts})  # type: ignore[arg-type]


def make_run(
    t_s: FloatArray,
    values: Mapping[str, FloatArray],
    *,
    columns: Sequence[Column] = (),
    events: Sequence[Event] = (),
    marks: Sequence[Mark] = (),
    check: RecordCheck = WHOLE,
) -> Run:
    """A run with the traces that ``open_run`` would make; the first column is the control sensor by default."""
    columns = tuple(columns) or (sensor(next(iter(values))),)
    period_s = traces.period(t_s)
    made = tuple(
        traces.trace(
            c.name,
            c.role or "",
            t_s,
            np.asarray(values[c.name], dtype=float),
            resolution_c=_step_c(c) or traces.resolution(np.asarray(values[c.name], dtype=float)),
            period_s=period_s,
        )
        for c in columns
        if c.kind == "sensor"
    )
    header = RunHeader("20261125T071502Z_test_0000", "2026-11-25T07:15:02Z", tuple(columns), "test", origin="imported")
    return Run(Path("nowhere"), header, t_s, dict(values), tuple(events), tuple(marks), check, made)


def _step_c(column: Column) -> float | None:
    return column.resolution if column.resolution is None or column.unit != "F" else column.resolution / 1.8


def run_of(case: Case, *, wire: str | None = None) -> Run:
    """The run of a synthetic case: U as stated, or only a class of wire."""
    stated = case.expanded_c if wire is None and case.expanded_c > 0 else None
    column = sensor(
        expanded_uncertainty=stated,
        thermocouple="K" if wire else None,
        tolerance_class=wire,
        resolution=case.resolution_c,
    )
    return make_run(case.t_s, {"furnace": case.temp_c}, columns=[column])


def drawn(
    corners: Sequence[tuple[float, float]],
    *,
    every_s: float = 1.0,
    noise_c: float = 0.0,
    step_c: float = 0.1,
    seed: int = 0,
) -> tuple[FloatArray, FloatArray]:
    """Straight lines between corners (t_s, temp_c), read every so often, rounded to the instrument's step."""
    at, level = np.transpose(np.asarray(corners, dtype=float))
    t_s = np.arange(at[0], at[-1] + every_s / 2, every_s)
    temp_c = np.interp(t_s, at, level) + np.random.default_rng(seed).normal(0, noise_c, t_s.size)
    return t_s, np.round(temp_c / step_c) * step_c


def simple_recipe(*holds: tuple[float, float, float], **facts: object) -> Recipe:
    """Full-power ramps to holds (target [degC], minutes, tolerance [K]); ``facts`` go to every hold."""
    steps: list[Ramp | Hold] = []
    for target, minutes, band in holds:
        steps.append(Ramp(len(steps) + 1, target))
        hold = Hold(len(steps) + 1, target, band, band, minutes * 60.0, dip_s=120.0)
        steps.append(replace(hold, **facts))  # type: ignore[arg-type]
    return Recipe("drawn", "C", tuple(steps))
