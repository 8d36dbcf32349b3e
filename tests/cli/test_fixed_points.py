"""``fixed-points``: shown, entered, and never in place of a calibration that reaches hotter."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.logbook.calibrations import correction_on
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.cli.main import soakwitness
from tests.calibration_runs import calibration_run


def ask(book: Path, *words: object) -> Result:
    return CliRunner().invoke(soakwitness, ["fixed-points", *map(str, words), "--logbook", str(book)])


def test_points_become_a_correction(tmp_path: Path) -> None:
    calibration_run(tmp_path)
    words = ("chamber", "--furnace", "shed", "--ice", "1.0", "--tin", "230.9", "--date", "2026-11-25")
    answer = ask(tmp_path, *words)
    assert answer.exit_code == 0, answer.output
    assert "Entered as calibration 1" in answer.stdout
    assert "says nothing of what is hotter" in answer.stdout
    with open_logbook(tmp_path) as book:
        kept = correction_on(book, "shed", "chamber", "2026-11-26")
    assert kept is not None
    assert kept.correction_c(0.0) == pytest.approx(-1.0, abs=0.3)
    assert kept.correction_c(231.0) == pytest.approx(1.0, abs=0.3)
    assert kept.high_c < 260.0


def test_they_never_replace_a_calibration_that_reaches_hotter(tmp_path: Path) -> None:
    run = calibration_run(tmp_path)
    made = CliRunner().invoke(
        soakwitness,
        ["calibrate", str(run), "--reference", "ref", "--reference-uncertainty", "1.5", "--logbook", str(tmp_path)],
    )
    assert made.exit_code == 0, made.output
    refused = ask(tmp_path, "chamber", "--furnace", "shed", "--ice", "1.0", "--date", "2026-11-26")
    assert refused.exit_code == 2
    assert "reaches hotter and is in force" in refused.output
    assert ask(tmp_path, "chamber", "--ice", "1.0", "--no-entry").exit_code == 0


def test_digits_tell_the_step_and_fahrenheit_is_understood(tmp_path: Path) -> None:
    whole = json.loads(ask(tmp_path, "s", "--ice", "33", "--unit", "F", "--no-entry", "--json").stdout)
    fine = json.loads(ask(tmp_path, "s", "--ice", "33.0", "--unit", "F", "--no-entry", "--json").stdout)
    assert whole["points"][0]["error_c"] == pytest.approx(1.0 / 1.8)
    steps = [
        next(
            row["value"] for row in found["points"][0]["budget"]["rows"] if row["source"] == "resolution of the sensor"
        )
        for found in (whole, fine)
    ]
    assert steps == [pytest.approx(0.5 / 1.8), pytest.approx(0.05 / 1.8)]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("s", "--boiling", "99", "--no-entry"), "--altitude"),
        (("s", "--no-entry"), "one point or more"),
        (("--ice", "0.5", "--no-entry"), "name the SENSOR"),
        (("s", "--ice", "0.5"), "--furnace"),
        (("--other", "Silver"), "10 °C"),
        (("s", "--ice", "32.1", "--unit", "C", "--tin", "450", "--no-entry"), "another point"),
    ],
)
def test_refusals(tmp_path: Path, words: tuple[str, ...], says: str) -> None:
    answer = ask(tmp_path, *words)
    assert answer.exit_code != 0
    assert says in answer.output + str(answer.exception)
