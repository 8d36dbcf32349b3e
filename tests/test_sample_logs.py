"""The sample runs are what their script makes, and hold what their table says."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from soakwitness.analysis.recipes.recipe_file import load_recipe
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_header, read_marks
from tests.make_sample_logs import RUNS, SAMPLES, make
from tests.sample_truth import true_hold

FILES = ("run.json", "samples.csv", "events.csv", "seal.json")
STEP_C = 0.1  # resolution of the readings
EDGE_S = 5.0  # on another platform a moment may fall into the next reading


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("samples")
    make(folder)
    return folder


def rows(run: Path) -> list[dict[str, str]]:
    with open(run / "samples.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def readings(run: Path, name: str) -> dict[float, float]:
    return {float(row["t_s"]): float(row[name]) for row in rows(run) if row[name]}


def test_the_samples_are_the_runs_of_the_script():
    assert {path.name for path in SAMPLES.iterdir() if (path / "run.json").exists()} == set(RUNS)


@pytest.mark.parametrize("name", RUNS)
def test_a_run_comes_out_again(made, name):
    """Byte for byte where the platform rounds alike, else every reading within one step of its resolution."""
    if all((made / name / file).read_bytes() == (SAMPLES / name / file).read_bytes() for file in FILES):
        return
    for column in ("control", "load", "setpoint"):
        there, here = readings(SAMPLES / name, column), readings(made / name, column)
        assert set(there) == set(here)
        far = [t for t in there if abs(there[t] - here[t]) > STEP_C + 1e-6]
        assert not far, f"{column} at {far[:5]}"
    assert [event.event for event in read_events(made / name)] == [event.event for event in read_events(SAMPLES / name)]


@pytest.mark.parametrize("name", RUNS)
def test_a_run_is_whole_and_small(name):
    run = SAMPLES / name
    check = check_record(run)
    assert check.sealed
    assert check.intact
    assert check.rows == len(rows(run))
    assert sum((run / file).stat().st_size for file in FILES) < 400_000
    recipe = load_recipe(SAMPLES / "recipes" / f"{RUNS[name][0]}.toml")
    assert read_header(run).recipe_file == recipe.text


def within(run: Path, column: str, low_c: float, high_c: float) -> float:
    """Minutes between first and last reading of a column in a band."""
    times = [t for t, temp_c in readings(run, column).items() if low_c <= temp_c <= high_c]
    return (max(times) - min(times)) / 60


# The recipe's last hold is 15 minutes at 1040 +-6. Nothing below uses the analysis: the bare readings must show it.
def test_good_soaks_long_enough():
    assert within(SAMPLES / "good", "control", 1034, 1046) > 17
    assert within(SAMPLES / "good", "load", 1034, 1046) > 17


def test_short_soak_shows_at_the_load_sensor_only():
    assert within(SAMPLES / "short-soak", "control", 1034, 1046) > 17
    assert within(SAMPLES / "short-soak", "load", 1034, 1046) < 13


def test_overshoot_is_more_than_the_recipe_allows():
    for name, most_c in (("control", 1065), ("load", 1052)):
        assert 1040 + 6 < max(readings(SAMPLES / "overshoot", name).values()) < most_c


def test_slow_ramp_is_below_the_slowest_allowed():
    control = readings(SAMPLES / "slow-ramp", "control")
    start = max(t for t, temp_c in control.items() if temp_c < 806 and t < 5000)
    end = min(t for t, temp_c in control.items() if temp_c > 1014)
    assert (1014 - 806) / (end - start) * 3600 < 300  # 10 to 90 % of 780 to 1040


def test_pulled_one_by_one_has_a_piece_pulled_early_and_one_late_between_the_plates():
    run = SAMPLES / "pulled-one-by-one"
    marks = read_marks(run)
    (load,) = [mark for mark in marks if mark.act == "load"]
    assert readings(run, "control")[load.t_s // 5 * 5] == pytest.approx(780, abs=8)
    pulls = {piece: mark.t_s for mark in marks if mark.act == "pull" for piece in mark.pieces}
    plates = {piece: mark.t_s for mark in marks if mark.act == "plates" for piece in mark.pieces}
    assert set(pulls) == set(plates) == set(load.pieces) == {"dummy", "C-01", "C-02", "C-03"}
    in_band_s = min(t for t, temp_c in readings(run, "load").items() if temp_c >= 1032)
    assert (pulls["C-01"] - in_band_s) / 60 < 12 < (pulls["C-02"] - in_band_s) / 60
    assert [piece for piece in plates if plates[piece] - pulls[piece] > 30] == ["C-03"]


def test_open_circuit_has_no_load_reading_for_nine_minutes():
    run = SAMPLES / "open-circuit"
    silent = [float(row["t_s"]) for row in rows(run) if not row["load"]]
    assert silent[-1] - silent[0] == pytest.approx(540, abs=5)
    assert [event.event for event in read_events(run)].count("sensor fault") == 2


def test_gap_has_no_rows_for_eleven_minutes():
    times = sorted(readings(SAMPLES / "gap", "control"))
    assert max(b - a for a, b in zip(times, times[1:], strict=False)) == pytest.approx(660, abs=10)
    assert {"link lost", "link back"} <= {event.event for event in read_events(SAMPLES / "gap")}


def test_program_differs_leaves_the_last_setpoint_too_early():
    """15 minutes and the recipe's four extra should have been typed in."""
    setpoint = readings(SAMPLES / "program-differs", "setpoint")
    assert within(SAMPLES / "program-differs", "setpoint", 1039.9, 1040.1) < 12
    assert max(setpoint.values()) == 1040
    assert within(SAMPLES / "good", "setpoint", 1039.9, 1040.1) > 19


# What the blades truly had, second by second, by the simulated furnace's own figures: of 15 minutes, and of 12.
@pytest.mark.parametrize(
    ("name", "piece", "lower_c", "minutes", "lag_minutes"),
    [
        ("good", "P-01", 1034.0, 18.0, 1.85),
        ("short-soak", "P-01", 1034.0, 11.25, 8.65),
        ("short-soak", "P-02", 1034.0, 18.1, 1.9),
        ("program-differs", "P-01", 1034.0, 8.0, 1.85),
        ("slow-ramp", "P-01", 1034.0, 17.7, 2.95),
        ("pulled-one-by-one", "C-01", 1032.0, 8.3, 1.65),
        ("pulled-one-by-one", "C-02", 1032.0, 16.3, 1.65),
    ],
)
def test_the_verdict_knows_what_the_blade_truly_had(name, piece, lower_c, minutes, lag_minutes):
    truth = true_hold(name, piece, lower_c)
    assert truth.soak_s / 60 == pytest.approx(minutes, abs=0.06)
    assert truth.lag_s / 60 == pytest.approx(lag_minutes, abs=0.06)
    found = verify(open_run(SAMPLES / name), load_recipe(SAMPLES / "recipes" / f"{RUNS[name][0]}.toml"))
    hold = found.holds[-1]
    if name == "short-soak" and piece == "P-02":
        return  # the thin blade had its soak; the sensor is in the thick one, and speaks for the whole charge
    (soak,) = {one.soak_s.best for one in hold.pieces if one.piece == piece}
    assert soak == pytest.approx(truth.soak_s, abs=2 * EDGE_S)


def test_the_load_sensor_lags_as_its_blade_truly_does():
    truth = true_hold("short-soak", "P-01", 1034.0)
    recipe = load_recipe(SAMPLES / "recipes" / "paring-blades.toml")
    lag = verify(open_run(SAMPLES / "short-soak"), recipe).holds[-1].lag_s
    assert lag is not None
    assert lag.best == pytest.approx(truth.lag_s, abs=2 * EDGE_S)


# What the script put in must be what is found; only "good" has nothing that fails.
@pytest.mark.parametrize(
    ("name", "verdict", "codes"),
    [
        ("good", "pass", set()),
        ("short-soak", "fail", {"short soak"}),
        ("overshoot", "fail", {"overshoot"}),
        ("slow-ramp", "fail", {"slow ramp"}),
        ("pulled-one-by-one", "fail", {"short soak", "late quench"}),
        ("open-circuit", "not proven", {"sensor fault"}),
        ("gap", "not proven", {"gap in record"}),
        ("program-differs", "fail", {"short soak", "program differs"}),
    ],
)
def test_verify_finds_what_is_wrong(name, verdict, codes):
    recipe = load_recipe(SAMPLES / "recipes" / f"{RUNS[name][0]}.toml")
    found = verify(open_run(SAMPLES / name), recipe)
    assert found.verdict == verdict
    assert codes <= {finding.code for finding in found.findings}
    if verdict == "fail":
        assert {finding.code for finding in found.findings if finding.severity == "fail"} <= codes


def test_the_table_names_every_run():
    text = (SAMPLES / "README.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\| `([a-z-]+)/` \|", text, re.MULTILINE)) == set(RUNS)
