"""``fixed-points``: shown, entered, with its record, and only as a check beside a calibration that reaches hotter."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.calibration.correcting.calibration_record import calibration_again
from soakwitness.analysis.logbook.calibration_records import record_of_calibration
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


def calibrated(book: Path) -> None:
    """From 780 to 1050 degC on 2026-11-25."""
    words = ["calibrate", str(calibration_run(book)), "--reference", "ref", "--reference-uncertainty", "1.5"]
    made = CliRunner().invoke(soakwitness, [*words, "--logbook", str(book)])
    assert made.exit_code == 0, made.output


def test_they_are_a_check_of_a_calibration_that_reaches_hotter(tmp_path: Path) -> None:
    calibrated(tmp_path)
    answer = ask(tmp_path, "chamber", "--furnace", "shed", "--ice", "1.0", "--zinc", "419", "--date", "2026-11-26")
    assert answer.exit_code == 0, answer.output
    assert "Entered as check 2 of sensor life 1" in answer.stdout
    assert "no temperature in common with the calibration of 2026-11-25" in answer.stdout
    with open_logbook(tmp_path) as book:
        kept = correction_on(book, "shed", "chamber", "2026-11-27")
    assert kept is not None
    assert kept.done_on == "2026-11-25"
    shown = CliRunner().invoke(soakwitness, ["sensor", "calibration", "2", "--logbook", str(tmp_path)])
    assert "Record of check 2" in shown.output
    assert "No temperature in common with that of 2026-11-25." in shown.output


def test_a_check_that_contradicts_ends_the_calibration(tmp_path: Path) -> None:
    """Points from 0 to 420 first, then tin 8 K off within them: far over both U together."""
    first = ("chamber", "--furnace", "shed", "--ice", "0.0", "--tin", "231.9", "--zinc", "419.5")
    assert ask(tmp_path, *first, "--date", "2026-11-20").exit_code == 0
    answer = ask(tmp_path, "chamber", "--furnace", "shed", "--tin", "239.9", "--date", "2026-11-26")
    assert "Entered as check 2" in answer.stdout
    assert "contradicts the calibration of 2026-11-20" in answer.stdout
    assert "lapses with this day" in answer.stdout


def test_the_record_is_shown_and_computed_again(tmp_path: Path) -> None:
    words = (
        "chamber",
        "--furnace",
        "shed",
        "--ice",
        "1.0",
        "--boiling",
        "99.0",
        "--pressure",
        "1000",
        "--tin",
        "230.9",
    )
    answer = ask(tmp_path, *words, "--date", "2026-11-25", "--json")
    assert answer.exit_code == 0, answer.output
    entered = json.loads(answer.stdout)
    assert (entered["entry"]["calibration"], entered["entry"]["kind"]) == (1, "calibration")
    with open_logbook(tmp_path) as book:
        kept = record_of_calibration(book, 1)
    assert kept is not None
    assert json.loads(json.dumps(kept.record, allow_nan=False)) == kept.record
    again = calibration_again(kept.record, kept.levels)
    assert [p.as_dict() for p in again.points] == entered["points"]
    page = tmp_path / "record.html"
    command = ["sensor", "calibration", "1", "--logbook", str(tmp_path)]
    shown = CliRunner().invoke(soakwitness, [*command, "--out", str(page)])
    assert shown.exit_code == 0, shown.output
    shown = CliRunner().invoke(soakwitness, command)
    assert "at points of nature" in shown.output
    assert "fixed points: ice, boiling, tin" in shown.output
    assert "Plugs" not in shown.output
    assert "ice" in page.read_text(encoding="utf-8")


def test_a_furnace_that_nobody_knows_is_asked_for(tmp_path: Path) -> None:
    calibrated(tmp_path)
    words = ("chamber", "--furnace", "shde", "--ice", "1.0", "--date", "2026-11-26")
    assert "--new-furnace" in ask(tmp_path, *words).output
    assert ask(tmp_path, *words, "--new-furnace").exit_code == 0


def test_an_error_that_is_a_fault_is_not_entered(tmp_path: Path) -> None:
    words = ("chamber", "--furnace", "shed", "--tin", "260")
    assert "a fault rather than something to correct" in ask(tmp_path, *words).output
    assert ask(tmp_path, *words, "--no-entry").exit_code == 0


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
