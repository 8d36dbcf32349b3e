"""Two sensors that differ otherwise than they usually do: said in the verdict, from the runs before."""

from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.logbook.runs import run_named, take_in
from soakwitness.analysis.logbook.sensors import fit_sensor
from soakwitness.analysis.recipes.file import parse_recipe
from soakwitness.analysis.run_inputs.history import usual_differences
from soakwitness.analysis.run_inputs.inputs import run_inputs
from soakwitness.analysis.runs import open_run
from soakwitness.firmware_bridge.runfolder.model import Column
from soakwitness.firmware_bridge.runfolder.reader import read_header
from tests.calibration_runs import make_run, true_c
from tests.log_books import STAMP, new_book

DAY_S = 86_400.0
CHAMBER = Column("chamber", "sensor", "C", role="control", resolution=0.1)
BLADE = Column("blade", "sensor", "C", role="load", resolution=0.1)
RECIPE = parse_recipe(
    'name = "p"\nload = "cold"\n[[step]]\nramp = "full power"\nto = 1050\n[[step]]\nhold_minutes = 20\ntolerance = 12\n'
)


def runs_with(folder: Path, *below_c: float) -> list[str]:
    """One run a day, in each of which the blade reads so much below the chamber; their ids."""
    ids = []
    for day, by_c in enumerate(below_c):
        sensors = {CHAMBER: true_c, BLADE: lambda t_s, by_c=by_c: true_c(t_s) - by_c}
        ids.append(make_run(folder, sensors, started_utc=1_795_000_000.0 + day * DAY_S).path.name)
    return ids


def findings(folder: Path, *below_c: float, refitted: int | None = None) -> list[str]:
    ids = runs_with(folder, *below_c)
    book = new_book(folder)
    fit_sensor(book, "shed", "blade", fitted_utc="2026-01-01", stamp=STAMP)
    take_in(book, stamp=STAMP)
    if refitted is not None:
        fit_sensor(book, "shed", "blade", fitted_utc=run_named(book, ids[refitted]).started_utc, stamp=STAMP)
    run = run_named(book, ids[-1]).folder
    inputs = run_inputs(book, run, read_header(run), (), recipe=RECIPE)
    found = inputs.judged(open_run(run))
    return [str(f.says) for f in found.findings if f.code == "sensors differ"]


def test_a_pair_that_reads_as_it_always_did_is_nothing(tmp_path: Path) -> None:
    # 8 K apart, more than 3: but so it was in each run before.
    assert findings(tmp_path, 8.0, 8.0, 8.0) == []


def test_a_pair_that_differs_otherwise_is_said_with_what_is_usual(tmp_path: Path) -> None:
    (says,) = findings(tmp_path, 8.0, 8.0, 8.0, 2.0)
    assert "sensor chamber reads 1050 °C and sensor blade reads 1048 °C" in says
    assert "usually by +8 °C" in says


def test_another_life_of_a_sensor_begins_without_a_past(tmp_path: Path) -> None:
    # The blade's sensor was fitted anew before the last run: nothing is usual yet, and no uncertainty is known.
    assert findings(tmp_path, 8.0, 8.0, 8.0, 2.0, refitted=3) == []


def test_one_run_before_makes_nothing_usual(tmp_path: Path) -> None:
    assert findings(tmp_path, 8.0, 2.0) == []


def test_what_is_measured_is_the_difference_at_each_level(tmp_path: Path) -> None:
    runs_with(tmp_path, 3.0, 3.0)
    book = new_book(tmp_path)
    take_in(book, stamp=STAMP)
    found = usual_differences(book, read_header(run_named(book, "last").folder))
    # true_c stands at 780 and at 1050.
    assert sorted(round(d.at_c) for d in found) == [780, 1050]
    assert [d.kelvin for d in found] == pytest.approx([3.0, 3.0], abs=0.1)
