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
    result = run(log, log, *words, "--logbook", tmp_path / "book", "--name", "Left Furnace", "--again")
    assert result.exit_code == 0
    first, last = (Path(line) for line in result.stdout.splitlines())
    assert first != last
    assert last.parent == tmp_path / "book" / "runs"
    assert "left-furnace" in last.name
    assert open_run(last).columns[0].thermocouple == "K"
    assert "log.csv: Temp: 1 cell without a number" in result.stderr


def test_import_with_a_layout(log: Path, tmp_path: Path) -> None:
    book = ["--logbook", str(tmp_path / "book")]
    words = ["--time", "Time", "--sensor", "recording=Temp", "--unit", "F", "--remember", "weekly"]
    assert run(log, *words, *book).exit_code == 0
    again = run(log, "--again", "--like", "weekly", "--furnace", "left", "--json", *book)
    assert again.exit_code == 0
    answer = json.loads(again.stdout)
    (made,) = answer["runs"]
    assert made["rows"] == 3
    header = open_run(made["path"]).header
    assert (header.furnace_name, header.columns[0].unit) == ("left", "F")
    assert run(log, "--like", "monthly", *book).exception is not None


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
    twice = run(log, *words)
    assert twice.exit_code == 2
    assert f"imported before, as {Path(first.stdout.strip()).name}." in twice.stderr
    assert "--again" in twice.stderr
    again = run(log, *words, "--again")
    assert again.exit_code == 0
    assert open_run(Path(again.stdout.strip())).header.recipe_name is None
    recipe.write_text("name = 3")
    assert "harden.toml" in str(run(log, *words, "--again", "--recipe", recipe).exception)
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


def test_preview_shows_what_was_understood_and_makes_nothing(log: Path, tmp_path: Path) -> None:
    log.write_text("Logger 7\nTime;Temp\n0;20,5\n30;9999\n60;21,5\n")
    words = ["--time", "Time", "--sensor", "recording=Temp", "--logbook", tmp_path / "book", "--preview"]
    seen = run(log, *words)
    assert seen.exit_code == 0, seen.exception
    assert "parted by semicolons, column names in line 2; utf-8-sig; decimal comma" in seen.stdout
    assert "Time is 'Time': a number, in s." in seen.stdout
    assert "1 cell of 9999, taken as missing readings" in seen.stdout
    rows = [line.split() for line in seen.stdout.splitlines() if line.startswith("  ")]
    assert rows[0] == ["t_s", "utc", "recording"]
    assert [row[2:] for row in rows[1:]] == [["20.5"], [], ["21.5"]]
    assert not (tmp_path / "book").exists()
    answer = json.loads(run(log, *words, "--json").stdout)
    assert answer["files"][0]["rows"] == 3
    log.write_text("Time;Temp\n0;1,040\n30;1,041\n")
    assert "can be 1.040 or 1040" in str(run(log, *words).exception)
    assert run(log, *words, "--decimal", "comma").exit_code == 0


def test_fault_values_are_kept_in_a_layout(log: Path, tmp_path: Path) -> None:
    words = ["--time", "Time", "--sensor", "recording=Temp", "--logbook", tmp_path / "book"]
    log.write_text("Time,Temp\n0,20\n1,-1\n2,21\n")
    assert run(log, *words, "--fault-value", "-1", "--remember", "stick").exit_code == 0
    seen = run(log, "--like", "stick", "--logbook", tmp_path / "book", "--again")
    assert "1 cell of -1, taken as missing readings, as said." in seen.stderr
    assert "--fault-value 'soon'" in str(run(log, *words, "--fault-value", "soon").exception)


def test_the_share_that_stops_an_import_can_be_raised(log: Path, tmp_path: Path) -> None:
    words = ["--time", "Time", "--sensor", "recording=Temp", "--logbook", tmp_path / "book"]
    log.write_text("Time,Temp\n" + "".join(f"{k},{20 + k}{'?' if k % 2 else ''}\n" for k in range(20)))
    stopped = run(log, *words)
    assert "lines 3, 5, 7 and more: 10 of 20 cells in the column 'Temp'" in str(stopped.exception)
    assert "--unread 51" in str(stopped.exception)
    assert run(log, *words, "--unread", "51").exit_code == 0
