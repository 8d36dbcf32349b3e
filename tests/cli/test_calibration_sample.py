"""The sample calibration is what its script makes, and the commands shown with it find what was put in."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.runfolder.reader import check_record
from tests.make_calibration_sample import PLACES, SAMPLE, write

RUN = SAMPLE / "run"


def ask(*words: object) -> Any:
    answer = CliRunner().invoke(soakwitness, [str(word) for word in (*words, "--json")])
    assert answer.exit_code == 0, answer.output
    return json.loads(answer.stdout)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_script_makes_it_again(tmp_path: Path) -> None:
    """Byte for byte where the platform rounds alike, else every reading within one step of 0.1 degC."""
    write(tmp_path)
    for name in ("reference.toml", "readings.csv"):
        assert (tmp_path / name).read_bytes() == (SAMPLE / name).read_bytes()
    made, kept = rows(tmp_path / "run" / "samples.csv"), rows(RUN / "samples.csv")
    assert len(made) == len(kept)
    for a, b in zip(made, kept, strict=True):
        assert all(abs(float(a[name]) - float(b[name])) < 0.11 for name in a if name not in ("utc", "crc"))
    check = check_record(RUN)
    assert check.sealed
    assert check.intact


def test_the_correction_found() -> None:
    certificate = SAMPLE / "reference.toml"
    found = ask("calibrate", RUN, "--reference", "reference", "--reference-certificate", certificate, "--no-entry")
    # put in: control reads 1.2 + 2.4 t/1000 high; reference 0.1 + t/1000 high, certificate -0.67 at 780, -1.22 at 1050
    for point, t in zip(found["points"], (780.0, 1050.0), strict=True):
        certified = {780.0: -0.67, 1050.0: -0.7 - 0.6 * 250 / 300}[t]
        assert point["error_c"] == pytest.approx(1.2 + 0.0024 * t - (0.1 + 0.001 * t + certified), abs=0.1)


def test_the_survey_found() -> None:
    found = ask("survey", RUN, "--sensors", "survey", "--band", "8", "--no-entry")
    assert found["corrected"]["hottest"] == "back-left-top"
    assert found["corrected"]["coldest"] == "front-left-bottom"
    for sensor in found["sensors"]:
        assert sensor["mean_c"] - 1050.0 == pytest.approx(PLACES[sensor["position"]][0], abs=0.15)


def test_the_fault_found() -> None:
    found = ask("sensor", "diagnose", "--readings", SAMPLE / "readings.csv", "--set-to", "K")
    assert found["cause"] == "reversed extension lead"  # as put in: -2 x (head - room), CHECKS section 1
