"""The commands recipe, import and steels as a person runs them."""

from __future__ import annotations

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.runs import open_run
from soakwitness.cli.commands.import_ import import_
from soakwitness.cli.commands.recipe import recipe
from soakwitness.cli.commands.steels import steels

RECIPE = """
name = "Chef's blades"
unit = "C"
steel = "S44004"
[[step]]
ramp = "full power"
to = 1090
[[step]]
hold_minutes = 25
tolerance = 6
[program]
offset = 4
"""


def run(command: click.Command, *words: str | Path) -> Result:
    return CliRunner().invoke(command, [str(word) for word in words])


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "harden.toml"
    path.write_text(RECIPE)
    return path


def test_check_prints_each_step_and_warns(file: Path, tmp_path: Path) -> None:
    result = run(recipe, "check", file, "--logbook", tmp_path)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[:3] == [
        "Chef's blades (S44004)",
        "  1. Heat at full power to 1090 °C.",
        "  2. Hold 1090 °C for 25 min, within 1084 °C to 1096 °C; a dip of at most 2 min pauses the soak, a longer one "
        "starts it again.",
    ]
    assert "Warning: Step 2 holds 1090 °C, above what is published for S44004" in result.stderr


def test_check_as_json(file: Path, tmp_path: Path) -> None:
    answer = json.loads(run(recipe, "check", file, "--json", "--logbook", tmp_path).stdout)
    assert answer["schema"] == "soakwitness/recipe/1"
    assert [step["kind"] for step in answer["steps"]] == ["ramp", "hold"]
    assert answer["steps"][0]["rate_c_per_h"] is None
    assert len(answer["warnings"]) == 1


def test_check_names_an_unknown_steel(file: Path, tmp_path: Path) -> None:
    file.write_text(RECIPE.replace("S44004", "Nothing"))
    assert "No published figures for Nothing" in run(recipe, "check", file, "--logbook", tmp_path).stderr


@pytest.mark.parametrize(("ending", "begins"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_plot_writes_and_never_overwrites(file: Path, tmp_path: Path, ending: str, begins: bytes) -> None:
    out = tmp_path / f"harden.{ending}"
    result = run(recipe, "plot", file, "--out", out, "--unit", "F")
    assert result.exit_code == 0
    assert result.stdout.strip() == str(out)
    assert out.read_bytes().startswith(begins)
    out.write_text("mine")
    refused = run(recipe, "plot", file, "--out", out)
    assert refused.exit_code == 2
    assert out.read_text() == "mine"
    assert run(recipe, "plot", file, "--out", out, "--force").exit_code == 0
    assert out.read_bytes().startswith(begins)


def test_plot_refuses_other_endings(file: Path, tmp_path: Path) -> None:
    result = run(recipe, "plot", file, "--out", tmp_path / "harden.doc")
    assert result.exit_code == 2
    assert ".png, .svg, .pdf" in result.stderr


def test_program(file: Path) -> None:
    result = run(recipe, "program", file)
    assert "  Go to 1094 °C as fast as the furnace can." in result.stdout.splitlines()
    answer = json.loads(run(recipe, "program", file, "--json").stdout)
    assert [step["setpoint_c"] for step in answer["steps"]] == [1094.0, 1094.0]


LOG = "Time,Temp,SP\n0,20,800\n1,OPEN,800\n2,22,800\n"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(LOG)
    return path


def test_import_prints_the_run_last(log: Path, tmp_path: Path) -> None:
    words = ["--time", "Time", "--sensor", "recording=Temp", "--signal", "setpoint=SP", "--thermocouple", "k"]
    result = run(import_, log, log, *words, "--logbook", tmp_path / "book", "--name", "Left Furnace")
    assert result.exit_code == 0
    first, last = (Path(line) for line in result.stdout.splitlines())
    assert first != last
    assert last.parent == tmp_path / "book" / "runs"
    assert "left-furnace" in last.name
    assert open_run(last).columns[0].thermocouple == "K"
    assert "log.csv: Temp: 1 cells are no numbers" in result.stderr


def test_import_with_a_profile(log: Path, tmp_path: Path) -> None:
    book = ["--logbook", str(tmp_path / "book")]
    words = ["--time", "Time", "--sensor", "recording=Temp", "--unit", "F", "--save-profile", "weekly"]
    assert run(import_, log, *words, *book).exit_code == 0
    again = run(import_, log, "--profile", "weekly", "--furnace", "left", "--json", *book)
    assert again.exit_code == 0
    answer = json.loads(again.stdout)
    (made,) = answer["runs"]
    assert made["rows"] == 3
    header = open_run(made["path"]).header
    assert (header.furnace_name, header.columns[0].unit) == ("left", "F")
    assert run(import_, log, "--profile", "monthly", *book).exception is not None


def test_import_says_what_is_missing(log: Path, tmp_path: Path) -> None:
    result = run(import_, log, "--sensor", "recording=Temp", "--logbook", tmp_path)
    assert (result.exit_code, "--time COLUMN" in result.stderr) == (2, True)
    result = run(import_, log, "--time", "Time", "--sensor", "recording=Temp", "--start", "2026-11-25T07:00:00")
    assert (result.exit_code, "has no time zone" in result.stderr) == (2, True)
    result = run(import_, log, log, "--time", "Time", "--sensor", "recording=Temp", "--marks", log)
    assert (result.exit_code, "one by one" in result.stderr) == (2, True)


def test_steels_list_show_add_cold(tmp_path: Path) -> None:
    book = ["--logbook", str(tmp_path)]
    assert "1.2842 (EN 1.2842)" in run(steels, *book).stdout
    shown = run(steels, "440C", "--unit", "F", *book).stdout
    assert "harden: 1850 °F to 1949 °F (AS 2837)." in shown
    assert "Confirm with your supplier's certificate." in shown
    unknown = run(steels, "shop-7", *book)
    assert (unknown.exit_code, "There are: S44004" in unknown.stderr) == (2, True)
    words = ["--what", "temper", "--temp", "392", "--unit", "F", "--hrc", "60", "--source", "certificate"]
    assert run(steels, "add", "shop-7", *words, *book).exit_code == 0
    assert "temper: 200 °C, 60 HRC (certificate)." in run(steels, "shop-7", *book).stdout
    assert run(steels, "add", "shop-7", "--what", "temper", "--to", "200", "--source", "x", *book).exit_code == 2
    assert "about 15 % austenite left at 25 °C" in run(steels, "cold", "--ms", "200", "--temp", "-80").stdout
    assert "composition of the matrix" in str(run(steels, "cold", "--temp", "-80").exception)
