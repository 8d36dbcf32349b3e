"""Enters a year of foreign_years.py into a real log book run by run, as a user would, and asks `condition` of it."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from click.testing import CliRunner

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.furnace_work import add_upkeep
from soakwitness.analysis.logbook.opening import LogBook, open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.analysis.record.moments import Stamp
from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from soakwitness.firmware_bridge.runfolder.line_format import sample_body, utc_text
from soakwitness.firmware_bridge.runfolder.marks import encode_mark
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.foreign_years import REPAIRED, Year, YearRun, happened

FURNACE = "foreign furnace"
OPENS = datetime(2024, 1, 8, 7, 30, tzinfo=UTC)
BLADE_KG = 0.15
STEP_S = 10.0
EMPTY_BELOW_KG = 0.1  # a thermocouple's dummy alone


def enter_runs(book: LogBook, year: Year, first: int, until: int) -> None:
    """Record these runs of the year (``until`` is left out), and enter what was in them."""
    runs = year.runs[first:until]
    names = [_recorded(book.folder, year, run) for run in runs]
    stamp = Stamp(utc_text(_when(runs[-1], 86400.0)), "Ana")
    take_in(book, stamp=stamp)
    for run, name in zip(runs, names, strict=True):
        if year.kind == REPAIRED and run.number == year.begins:
            maintained(book, run, "elements")
        if year.keeping.masses_entered:
            _charged(book, run, name)
    refresh(book, stamp=stamp)  # else the question would start processes for it


def maintained(book: LogBook, run: YearRun, what: str) -> None:
    """Enter that the furnace was mended before this run."""
    done_utc = utc_text(_when(run, -3600.0))
    add_upkeep(book, FURNACE, what, done_utc=done_utc, stamp=Stamp(utc_text(_when(run, 86400.0)), "Ana"))


def asked(folder: Path) -> dict[str, Any]:
    """Ask after the furnace as the user does."""
    env = {"SOAKWITNESS_LOGBOOK": str(folder), "SOAKWITNESS_USER": "Ana"}
    answer = CliRunner().invoke(soakwitness, ["condition", FURNACE, "--json"], env=env)
    if answer.exception is not None and not isinstance(answer.exception, SystemExit):
        raise answer.exception
    assert answer.stdout.startswith("{"), answer.output
    said: dict[str, Any] = json.loads(answer.stdout)
    return said


def opened(folder: Path) -> LogBook:
    """A new log book."""
    return open_logbook(folder, create=True)


def _when(run: YearRun, after_s: float = 0.0) -> datetime:
    return OPENS + timedelta(days=run.day, seconds=after_s)


def _recipe(run: YearRun) -> str:
    to_c = run.firing.legs[-1].to_c
    return f"""name = "Harden"
unit = "C"
load = "cold"
[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 5
tolerance = 8
judged = false
[[step]]
ramp = "full power"
to = {to_c:.0f}
[[step]]
hold_minutes = 15
tolerance = 8
max_overshoot = 12
soak_from = "control"
"""


def _recorded(folder: Path, year: Year, run: YearRun) -> str:
    keeping, start, fired = year.keeping, _when(run), happened(run)
    columns = [Column("chamber", "sensor", "C", role="control", thermocouple="K", resolution=0.1)]
    if keeping.second is not None:
        columns.append(Column("second", "sensor", "C", role=keeping.second, thermocouple="K", resolution=0.1))
    if keeping.output:
        columns += [Column("setpoint", "signal", "C"), Column("output", "signal", "%")]
    made = RunFolder.create(
        folder, columns=columns, furnace_name=FURNACE, started_utc=start, zone="UTC", recipe_name="Harden",
        recipe_file=_recipe(run), every_s=keeping.every_s,
    )  # fmt: skip
    rng = np.random.default_rng([year.seed, run.number])
    names = [column.name for column in columns]
    bodies = []
    for moment in fired.moments[:: round(keeping.every_s / STEP_S)]:
        second_c = moment.load_c if keeping.second == "load" else moment.chamber_c - 4.0 * moment.chamber_c / 1000.0
        row = {
            "chamber": round(moment.reads_c + rng.normal(0, 0.2), 1),
            "second": round(second_c + rng.normal(0, 0.2), 1),
            "setpoint": round(moment.setpoint_c, 1),
            "output": round(moment.output, 1),
        }
        bodies.append(sample_body(moment.t_s, utc_text(start.timestamp() + moment.t_s), names, row))
    made.write_bodies(bodies)
    if keeping.masses_entered:
        noted = "empty" if run.mass_kg < EMPTY_BELOW_KG else f"{run.mass_kg:g} kg"
        mark = Mark(0.0, "note", note=noted, mark_id="000001", entered_t_s=0.0)
        made.write_event(0.0, utc_text(start.timestamp()), "mark", encode_mark(mark))
    end_s = fired.moments[-1].t_s
    made.write_event(end_s, utc_text(start.timestamp() + end_s), "end")
    made.seal(sealed_utc=start + timedelta(seconds=end_s))
    return made.path.name


def _charged(book: LogBook, run: YearRun, name: str) -> None:
    """As many blades as it weighs; the mass itself is noted in the run."""
    blades = [f"R{run.number:03d}-{n + 1:02d}" for n in range(int(run.mass_kg / BLADE_KG))]
    if blades:
        stamp = Stamp(utc_text(_when(run)), "Ana")
        add_pieces(book, [Piece(blade, steel="S44004", thickness_mm=3.0) for blade in blades], stamp=stamp)
        charge_pieces(book, blades, stamp=stamp, run=name, foil=True)
