"""The command import as a person runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.record.run import open_run
from soakwitness.cli.commands.import_ import import_
from tests.analysis.run_inputs.test_packets import measured


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(import_, [str(word) for word in words])


LOG = "Time,Temp,SP\n0,20,800\n1,OPEN,800\n2,22,800\n"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(LOG)
    return path


def test_import_prints_the_run_last(log: Path, tmp_path: Path) -> None:
    words = ["--time", "Time", "--sensor", "recording=Temp", "--signal", "setpoint=SP", "--thermocouple", "k"]
    result = run(log, log, *words, "--logbook", tmp_path / "book", "--name", "Left Furnace")
    assert result.exit_code == 0
    first, last = (Path(line) for line in result.stdout.splitlines())
    assert first != last
    assert last.parent == tmp_path / "book" / "runs"
    assert "left-furnace" in last.name
    assert open_run(last).columns[0].thermocouple == "K"
    assert "log.csv: Temp: 1 cell without a number" in result.stderr


def test_import_with_a_profile(log: Path, tmp_path: Path) -> None:
    book = ["--logbook", str(tmp_path / "book")]
    words = ["--time", "Time", "--sensor", "recording=Temp", "--unit", "F", "--save-profile", "weekly"]
    assert run(log, *words, *book).exit_code == 0
    again = run(log, "--profile", "weekly", "--furnace", "left", "--json", *book)
    assert again.exit_code == 0
    answer = json.loads(again.stdout)
    (made,) = answer["runs"]
    assert made["rows"] == 3
    header = open_run(made["path"]).header
    assert (header.furnace_name, header.columns[0].unit) == ("left", "F")
    assert run(log, "--profile", "monthly", *book).exception is not None


def test_import_keeps_the_recipe_and_tells_a_file_that_came_in_before(log: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "harden.toml"
    recipe.write_text(
        'name = "Blades"\n[[step]]\nramp = "full power"\nto = 800\n[[step]]\nhold_minutes = 1\ntolerance = 8\n'
    )
    words = ["--time", "Time", "--sensor", "recording=Temp", "--logbook", str(tmp_path / "book")]
    first = run(log, *words, "--recipe", recipe)
    assert first.exit_code == 0, first.exception
    assert "imported before" not in first.stderr
    header = open_run(Path(first.stdout.strip())).header
    assert (header.recipe_name, header.recipe_file) == ("Blades", recipe.read_text())
    again = run(log, *words)
    assert again.exit_code == 0
    assert f"imported before, as {Path(first.stdout.strip()).name}." in again.stderr
    assert open_run(Path(again.stdout.strip())).header.recipe_name is None
    recipe.write_text("name = 3")
    assert "harden.toml" in str(run(log, *words, "--recipe", recipe).exception)
    assert len(list((tmp_path / "book" / "runs").iterdir())) == 2


def test_import_keeps_the_measured_packet_that_the_recipe_names(log: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "harden.toml"
    recipe.write_text(
        'name = "Blades"\n[[step]]\nramp = "full power"\nto = 800\n[[step]]\nhold_minutes = 1\ntolerance = 8\n'
        '[packet]\nthickness_mm = 3.0\nmeasured = "dummy.toml"\n'
    )
    words = ["--time", "Time", "--sensor", "recording=Temp", "--logbook", str(tmp_path / "book")]
    assert "there is no file" in str(run(log, *words, "--recipe", recipe).exception)
    assert not list((tmp_path / "book").glob("runs/*"))
    (tmp_path / "dummy.toml").write_text(measured(0.5))
    done = run(log, *words, "--recipe", recipe)
    header = open_run(Path(done.stdout.strip())).header
    assert (header.packet_name, header.packet_file) == ("dummy.toml", measured(0.5))


def test_import_looks_at_the_file_before_the_options(log: Path, tmp_path: Path) -> None:
    assert "there is no such file" in str(run(tmp_path / "nowhere.csv").exception)
    without = run(log, "--sensor", "recording=Temp", "--logbook", tmp_path)
    assert "Columns in log.csv, line 1: 'Time', 'Temp', 'SP'." in without.stderr


def test_import_says_what_is_missing(log: Path, tmp_path: Path) -> None:
    result = run(log, "--sensor", "recording=Temp", "--logbook", tmp_path)
    assert (result.exit_code, "--time COLUMN" in result.stderr) == (2, True)
    result = run(log, "--time", "Time", "--sensor", "recording=Temp", "--start", "yesterday")
    assert (result.exit_code, "--start 'yesterday': write a time" in result.stderr) == (2, True)
    result = run(log, log, "--time", "Time", "--sensor", "recording=Temp", "--marks", log)
    assert (result.exit_code, "one by one" in result.stderr) == (2, True)
