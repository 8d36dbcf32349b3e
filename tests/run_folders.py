"""Small run folders for tests."""

from __future__ import annotations

from pathlib import Path

from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder

STARTED_UTC = 1_795_590_902.0  # 2026-11-25T07:15:02Z
COLUMNS = (
    Column("control", "sensor", "C", role="control", thermocouple="K", resolution=0.1),
    Column("load", "sensor", "C", role="load", thickness_mm=3.0),
    Column("setpoint", "signal", "C"),
)


def new_run(logbook: Path, **more: object) -> RunFolder:
    """An empty run of the furnace ``small furnace``."""
    return RunFolder.create(
        logbook,
        columns=COLUMNS,
        furnace_name="small furnace",
        started_utc=STARTED_UTC,
        every_s=1.0,
        **more,  # type: ignore[arg-type]
    )


def reading(second: float) -> dict[str, float | str | None]:
    """What the instrument shows at one second: every third load reading is missing."""
    return {
        "control": round(20 + second * 0.5, 1),
        "load": None if second % 3 == 2 else round(19 + second * 0.4, 1),
        "setpoint": 1040.0,
    }


def fill(run: RunFolder, seconds: int, *, start: int = 0) -> None:
    """One row a second."""
    for second in range(start, start + seconds):
        run.write_row(second, STARTED_UTC + second, reading(second))


def sealed_run(logbook: Path, seconds: int = 60) -> Path:
    """A sealed run with a start, a load mark and an end."""
    run = new_run(logbook)
    run.write_event(0, STARTED_UTC, "start")
    fill(run, seconds)
    run.write_event(10, STARTED_UTC + 10, "mark", "load; id a1b2c3; pieces B-041, B-042")
    run.write_event(seconds, STARTED_UTC + seconds, "end")
    run.seal(sealed_utc=STARTED_UTC + seconds)
    return run.path


def doubtful_run(logbook: Path, seconds: int = 60) -> Path:
    """A sealed run that may be no heating, without a mark."""
    run = new_run(logbook)
    run.write_event(0, STARTED_UTC, "start")
    run.write_event(0, STARTED_UTC, "doubtful", "level above 70 °C, by the heater or by hot bricks")
    fill(run, seconds)
    run.write_event(seconds, STARTED_UTC + seconds, "end")
    run.seal(sealed_utc=STARTED_UTC + seconds)
    return run.path
