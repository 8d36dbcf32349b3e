"""The command recipe as a person runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.commands.recipe import recipe

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


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(recipe, [str(word) for word in words])


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "harden.toml"
    path.write_text(RECIPE)
    return path


def test_check_prints_each_step_and_warns(file: Path, tmp_path: Path) -> None:
    result = run("check", file, "--logbook", tmp_path)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[:3] == [
        "Chef's blades (S44004)",
        "  1. Heat at full power to 1090 °C.",
        "  2. Hold 1090 °C for 25 min, within 1084 °C to 1096 °C; a dip of at most 2 min pauses the soak, a longer one "
        "starts it again.",
    ]
    assert "Warning: Step 2 holds 1090 °C, above what is published for S44004" in result.stderr


def test_check_as_json(file: Path, tmp_path: Path) -> None:
    answer = json.loads(run("check", file, "--json", "--logbook", tmp_path).stdout)
    assert answer["schema"] == "soakwitness/recipe/1"
    assert [step["kind"] for step in answer["steps"]] == ["ramp", "hold"]
    assert answer["steps"][0]["rate_c_per_h"] is None
    assert len(answer["warnings"]) == 1


def test_check_names_an_unknown_steel(file: Path, tmp_path: Path) -> None:
    file.write_text(RECIPE.replace("S44004", "Nothing"))
    assert "No published figures for Nothing" in run("check", file, "--logbook", tmp_path).stderr


@pytest.mark.parametrize(("ending", "begins"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_plot_writes_and_never_overwrites(file: Path, tmp_path: Path, ending: str, begins: bytes) -> None:
    out = tmp_path / f"harden.{ending}"
    result = run("plot", file, "--out", out, "--unit", "F")
    assert result.exit_code == 0
    assert result.stdout.strip() == str(out)
    assert out.read_bytes().startswith(begins)
    out.write_text("mine")
    refused = run("plot", file, "--out", out)
    assert refused.exit_code == 2
    assert out.read_text() == "mine"
    assert run("plot", file, "--out", out, "--force").exit_code == 0
    assert out.read_bytes().startswith(begins)


def test_plot_refuses_other_endings(file: Path, tmp_path: Path) -> None:
    result = run("plot", file, "--out", tmp_path / "harden.doc")
    assert result.exit_code == 2
    assert ".png, .svg, .pdf" in result.stderr


def test_program(file: Path) -> None:
    result = run("program", file)
    assert "  Go to 1094 °C as fast as the furnace can." in result.stdout.splitlines()
    answer = json.loads(run("program", file, "--json").stdout)
    assert [step["setpoint_c"] for step in answer["steps"]] == [1094.0, 1094.0]


def test_a_draft_is_written_once_and_says_what_is_open(tmp_path: Path) -> None:
    out = tmp_path / "draft.toml"
    first = run("new", "--from-steel", "440c", "--out", out, "--logbook", tmp_path)
    assert first.exit_code == 0, first.output
    assert out.read_text().count("AS 2837") >= 1
    again = run("new", "--from-steel", "S44004", "--out", out, "--logbook", tmp_path)
    assert again.exit_code == 2
    assert "exists" in again.output
    assert run("check", out, "--logbook", tmp_path).exit_code == 0
    open_number = run("new", "--from-steel", "S44004", "--temper", "400", "--unit", "F", "--logbook", tmp_path)
    assert 'hold_minutes = "?"' in open_number.output
    unknown = run("new", "--from-steel", "S4400", "--logbook", tmp_path)
    assert unknown.exit_code == 2
    assert "S44004" in unknown.output
