"""Run folders with a reference and survey sensors in them, for the commands' tests."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

STARTED_UTC = 1_795_590_902.0  # 2026-11-25T07:15:02Z
HOLDS_S = ((3600, 5400, 780.0), (7200, 9000, 1050.0))
REFERENCE = Column("ref", "sensor", "C", role="reference", thermocouple="N", tolerance_class="1", resolution=0.1)
CONTROL = Column("chamber", "sensor", "C", role="control", thermocouple="K", resolution=0.1, serial="K-1")


def true_c(t_s: float) -> float:
    """Two holds of half an hour, at 780 and 1050 degC."""
    return float(np.interp(t_s, [0, 3600, 5400, 7200, 9000, 12_000], [20, 780, 780, 1050, 1050, 300]))


def make_run(
    logbook: Path,
    sensors: Mapping[Column, Callable[[float], float]],
    *,
    every_s: int = 10,
    until_s: int = 10_800,
    started_utc: float = STARTED_UTC,
    setpoint: float | None = None,
    seal: bool = True,
    doors_s: tuple[int, ...] = (),
) -> RunFolder:
    """A run in which each sensor shows what its function says; the furnace is called ``shed``."""
    columns = [*sensors, *([Column("setpoint", "signal", "C")] if setpoint is not None else [])]
    run = RunFolder.create(
        logbook, columns=columns, furnace_name="shed", started_utc=started_utc, every_s=every_s, zone="Europe/Vienna"
    )
    run.write_event(0, started_utc, "start")
    rng = np.random.default_rng(3)
    for t_s in range(0, until_s + 1, every_s):
        row: dict[str, float | str | None] = {
            column.name: round(shows(t_s) + rng.normal(0, 0.05), 1) for column, shows in sensors.items()
        }
        if setpoint is not None:
            row["setpoint"] = setpoint
        run.write_row(t_s, started_utc + t_s, row)
    for number, door_s in enumerate(doors_s):
        run.write_event(door_s, started_utc + door_s, "mark", f"door; id d{number}")
    if seal:
        run.write_event(until_s, started_utc + until_s, "end")
        run.seal(sealed_utc=started_utc + until_s)
    return run


def calibration_run(logbook: Path, *, error_c: float = 3.0, **more: object) -> Path:
    """Reference true, control off by ``error_c``."""
    sensors = {REFERENCE: true_c, CONTROL: lambda t_s: true_c(t_s) + error_c}
    return make_run(logbook, sensors, **more).path  # type: ignore[arg-type]
