"""A calibration's record, its ageing, checks beside it and readings by eye, as a person meets them."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.calibration.correcting.calibrating import correction_of
from soakwitness.analysis.calibration.correcting.calibration_record import calibration_again
from soakwitness.analysis.logbook.calibration_records import record_of_calibration
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.cli.main import soakwitness
from tests.calibration_runs import CONTROL, REFERENCE, STARTED_UTC, calibration_run, make_run, true_c

DAY_S = 86_400
BY_U = ("--reference", "ref", "--reference-uncertainty", "2")
RECIPE = """
name = "Hold at 1050"
unit = "C"
[[step]]
ramp = "full power"
to = 1050
[[step]]
hold_minutes = 20
tolerance = 12
"""


def ask(book: Path, *words: object, typed: str | None = None) -> Result:
    env = {"SOAKWITNESS_LOGBOOK": str(book)}
    answer = CliRunner().invoke(soakwitness, [str(word) for word in words], env=env, input=typed)
    assert answer.exception is None or answer.exit_code != 0, answer.output
    return answer


def as_json(book: Path, *words: object) -> Any:
    answer = ask(book, *words, "--json")
    assert answer.exit_code == 0, answer.output
    return json.loads(answer.stdout)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book"


def sheet(folder: Path, *rows: str) -> Path:
    path = folder / "readings.csv"
    path.write_text("\n".join(["time,reference,sensor", *rows]) + "\n", encoding="utf-8")
    return path


def test_a_calibration_is_computed_again_from_the_export_alone(book: Path, tmp_path: Path) -> None:
    ask(book, "calibrate", calibration_run(book), *BY_U)
    out = tmp_path / "out"
    assert ask(book, "logbook", "export", out, "--no-samples").exit_code == 0

    def rows(name: str) -> list[dict[str, str]]:
        with (out / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    (kept,), (record,) = rows("calibrations"), rows("calibration_records")
    levels: dict[str, list[tuple[float, float, float]]] = {}
    for row in rows("calibration_readings"):
        reading = float(row["t_s"]), float(row["reference_c"]), float(row["sensor_c"])
        levels.setdefault(row["level"], []).append(reading)
    again = correction_of(
        calibration_again(json.loads(record["record"]), list(levels.values())), furnace="", sensor="", done_on=""
    )
    table = json.loads(kept["correction"])["table"]
    assert again.table_reading_c == pytest.approx(table["reading_c"])
    assert again.table_correction_c == pytest.approx(table["correction_c"])
    assert again.table_expanded_c == pytest.approx(table["expanded_c"])


def test_the_record_is_shown_and_printed(book: Path, tmp_path: Path) -> None:
    ask(book, "calibrate", calibration_run(book), *BY_U, "--by", "Ana", "--filter", "2 s", "--plugs-tried")
    shown = ask(book, "sensor", "calibration", "1").stdout
    for words in (
        "Done by: Ana",
        "as found",
        "type K, serial K-1",
        "filter 2 s",
        "tried by warming",
        "Budget of point 1",
    ):
        assert words in shown
    assert "No level was measured twice." in shown
    assert "1436" in ask(book, "sensor", "calibration", "1", "--unit", "F").stdout  # 780 x 1.8 + 32
    page, pdf = tmp_path / "record.html", tmp_path / "record.pdf"
    assert ask(book, "sensor", "calibration", "1", "--out", page).exit_code == 0
    assert ask(book, "sensor", "calibration", "1", "--out", pdf).exit_code == 0
    html = page.read_text(encoding="utf-8")
    assert html.count("Readings used, level") == 2
    assert "<svg" in html
    assert "mains" in html
    assert pdf.read_bytes().startswith(b"%PDF")
    assert "exists" in ask(book, "sensor", "calibration", "1", "--out", page).stderr
    ask(book, "sensor", "withdraw", "1", "--why", "the reference was overdue")
    assert "WITHDRAWN on" in ask(book, "sensor", "calibration", "1").stdout
    assert "There is no calibration 7" in str(ask(book, "sensor", "calibration", "7").exception)


def test_the_record_draws_what_calibrate_drew(book: Path, tmp_path: Path) -> None:
    """With its run the difference over time too, without it the errors alone; beside a second one the first."""
    run, told = calibration_run(book), {}
    for number in (1, 2):
        drawn, again = tmp_path / f"drawn-{number}.svg", tmp_path / f"again-{number}.svg"
        assert ask(book, "calibrate", run, *BY_U, "--chart", drawn).exit_code == 0
        said = ask(book, "sensor", "calibration", str(number), "--chart", again)
        assert said.stdout.rstrip().endswith(f"Chart: {again}")
        told[number] = again.read_text(encoding="utf-8")
        assert told[number] == drawn.read_text(encoding="utf-8")
    assert told[1] != told[2]
    assert "exists" in ask(book, "sensor", "calibration", "1", "--chart", tmp_path / "again-1.svg").stderr
    run.rename(tmp_path / "elsewhere")
    alone = tmp_path / "alone.svg"
    assert ask(book, "sensor", "calibration", "1", "--chart", alone).exit_code == 0
    assert 0 < alone.stat().st_size < len(told[1])


def test_backup_and_restore_carry_the_record(book: Path, tmp_path: Path) -> None:
    ask(book, "calibrate", calibration_run(book), *BY_U)
    with open_logbook(book) as opened:
        before = record_of_calibration(opened, 1)
    assert ask(book, "logbook", "backup", tmp_path / "all.zip").exit_code == 0
    other = tmp_path / "other"
    assert ask(other, "logbook", "restore", tmp_path / "all.zip").exit_code == 0
    assert ask(other, "logbook", "rebuild").exit_code == 0
    with open_logbook(other) as opened:
        assert record_of_calibration(opened, 1) == before


def test_a_narrow_check_moves_no_hold_at_another_temperature(book: Path, tmp_path: Path) -> None:
    ask(book, "calibrate", calibration_run(book, error_c=3.0), *BY_U)
    readings = sheet(tmp_path, "9:05,780.2,789.1", "9:09,780.1,789.0", "9:14,780.2,789.1")
    words = ("--furnace", "shed", "--sensor", "chamber", "--date", "2026-12-10", "--reference-uncertainty", "2")
    answer = as_json(book, "calibrate", "--readings", readings, *words)
    assert (answer["kind"], answer["entry"]["kind"]) == ("check", "check")
    assert any("contradicts the calibration of 2026-11-25" in says for says in answer["doubts"])
    recipe = tmp_path / "hold.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    before, after = (
        make_run(book, {CONTROL: lambda t_s: true_c(t_s) + 3.0}, started_utc=STARTED_UTC + days * DAY_S).path
        for days in (5, 20)
    )

    def known(run: Path) -> Any:
        answer = ask(book, "verify", run, "--recipe", recipe, "--exit-zero", "--json")
        return next(s for s in json.loads(answer.stdout)["steps"] if s["kind"] == "hold")["sensor_error"]

    assert known(before)["correction_c"] == pytest.approx(-3.0, abs=0.1)
    assert known(before)["source"] == "calibration"
    # contradicted on 2026-12-10: it proves nothing from then on, and can still contradict
    assert known(after)["source"] != "calibration"
    assert known(after)["lapsed"]["correction_c"] == pytest.approx(-3.0, abs=0.1)
    assert "check 2 of 2026-12-10" in ask(book, "sensor", "list").stdout


def test_a_typed_calibration_counts_on_its_own_day(book: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "hold.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    run = make_run(book, {CONTROL: lambda t_s: true_c(t_s) + 3.0}).path  # on 2026-11-25
    readings = sheet(tmp_path, "9:05,780.2,783.1", "10:40,1050.2,1053.4", "12:00,780.1,783.1")
    words = ("--furnace", "shed", "--sensor", "chamber", "--date", "2026-11-25", "--reference-uncertainty", "2")
    assert as_json(book, "calibrate", "--readings", readings, *words)["entry"]["life_begun"]
    found = json.loads(ask(book, "verify", run, "--recipe", recipe, "--exit-zero", "--json").stdout)
    assert found["decided_on"] == "true temperature"


def test_backwards_on_purpose_with_a_reason(book: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "hold.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    run = make_run(book, {CONTROL: lambda t_s: true_c(t_s) + 3.0}, started_utc=STARTED_UTC - 10 * DAY_S).path
    ask(book, "sensor", "fitted", "chamber", "--furnace", "shed", "--at", "2026-11-01T08:00Z", "--serial", "K-1")
    ask(book, "calibrate", calibration_run(book), *BY_U)

    def basis() -> str:
        return str(
            json.loads(ask(book, "verify", run, "--recipe", recipe, "--exit-zero", "--json").stdout)["decided_on"]
        )

    assert basis() == "reading"
    assert "before its sensor life began" in str(
        ask(book, "sensor", "apply", "1", "--from", "2026-10-01", "--why", "x").exception
    )
    assert (
        ask(book, "sensor", "apply", "1", "--from", "2026-11-10", "--why", "the offset was typed in then").exit_code
        == 0
    )
    assert basis() == "true temperature"
    assert "counts from 2026-11-10: the offset was typed in then" in ask(book, "sensor", "list").stdout
    assert ask(book, "logbook", "strike", "applied", "1", "--why", "another furnace").exit_code == 0
    assert basis() == "reading"
    lonely = ask(book, "calibrate", calibration_run(book), *BY_U, "--from", "2026-11-10")
    assert "--from and --why belong together" in lonely.stderr


def test_unknown_furnaces_are_refused_with_the_known_ones(book: Path, tmp_path: Path) -> None:
    calibration_run(book)
    refused = ask(book, "sensor", "fitted", "chamber", "--furnace", "shet", "--at", "2026-11-01T08:00Z")
    assert refused.exit_code == 2
    assert "Did you mean 'shed'? Known: shed." in refused.stderr
    readings = sheet(tmp_path, "9:05,780.2,783.1")
    words = ("calibrate", "--readings", readings, "--reference-uncertainty", "2", "--furnace", "barn")
    assert "Known: shed. If it is another one: --new-furnace" in ask(book, *words).stderr
    assert ask(book, *words, "--new-furnace").exit_code == 0
    fitted = ask(book, "sensor", "fitted", "chamber", "--furnace", "SHED", "--at", "2026-11-01T08:00Z")
    assert "chamber of shed" in fitted.stdout


def test_names_and_papers_the_wrong_way_round(book: Path, tmp_path: Path) -> None:
    run = calibration_run(book)
    swapped = ask(book, "calibrate", run, "--reference", "chamber", "--sensor", "ref", "--reference-uncertainty", "2")
    assert "they are the wrong way round. Give --reference ref --sensor chamber" in str(swapped.exception)
    paper = tmp_path / "ref.toml"
    paper.write_text(
        'thermocouple = "K"\ndate = 2026-03-02\n[[point]]\ntemp = 700\ndeviation = 1\nU = 1\n'
        "[[point]]\ntemp = 1100\ndeviation = 1\nU = 1\n",
        encoding="utf-8",
    )
    words = ("calibrate", run, "--reference", "ref", "--reference-certificate", paper, "--no-entry")
    assert "is for type K, but ref is type N" in str(ask(book, *words).exception)
    paper.write_text(paper.read_text(encoding="utf-8").replace('"K"', '"N"'), encoding="utf-8")
    answer = as_json(book, *words)
    # the reference reads 1 high, the sensor 3 above it: 4 above the truth
    assert [round(p["error_c"]) for p in answer["points"]] == [4, 4]
    assert "reading minus truth: what is added to its readings has the opposite sign" in answer["reference"]
    paper.write_text(paper.read_text(encoding="utf-8").replace("deviation = 1", "emf_mv = 30", 1), encoding="utf-8")
    assert "stands beside" in str(ask(book, *words).exception)


def test_an_emf_certificate(book: Path, tmp_path: Path) -> None:
    # type N at 700 and 1100 degC: 24.527 and 40.087 mV (IEC 60584-1); 0.039 mV more at 39 uV/degC reads 1 degC high
    paper = tmp_path / "ref.toml"
    rows = "".join(f"[[point]]\ntemp = {t}\nemf_mv = {e + 0.039}\nU = 1\n" for t, e in ((700, 24.527), (1100, 40.087)))
    paper.write_text(f'thermocouple = "N"\ndate = 2026-03-02\n{rows}', encoding="utf-8")
    run = calibration_run(book)
    answer = as_json(book, "calibrate", run, "--reference", "ref", "--reference-certificate", paper, "--no-entry")
    assert [p["error_c"] for p in answer["points"]] == pytest.approx([4.0, 4.0], abs=0.12)


def test_readings_by_eye(book: Path, tmp_path: Path) -> None:
    words = ("calibrate", "--reference-type", "K", "--reference-class", "special", "--furnace", "shed", "--no-entry")
    meter = ("--meter-accuracy", "1", "--meter-percent", "0.1")
    readings = sheet(tmp_path, "9:05,780,777", "9:09,780,777", "9:14,780,777")
    (point,) = as_json(book, *words, *meter, "--readings", readings)["points"]
    budget = {row["source"]: row for row in point["budget"]["rows"]}
    assert budget["resolution of the sensor"]["value"] == 0.5
    assert budget["resolution of the reference"]["value"] == 0.5
    assert budget["reference readout, accuracy"]["value"] == pytest.approx(1.0 + 0.78)
    assert budget["reference, tolerance of new wire"]["value"] == pytest.approx(3.12)  # 0.4 % of 780
    assert "cold junction of the reference" not in budget
    fahrenheit = sheet(tmp_path, "9:05,1904,1900")
    assert "1904 looks like °F" in ask(book, *words, "--readings", fahrenheit).stderr
    (point,) = as_json(book, *words, "--readings", fahrenheit, "--unit", "F")["points"]
    assert point["reference_c"] == pytest.approx(1040.0)
    assert point["budget"]["rows"][1]["value"] == pytest.approx(0.5 / 1.8)


def test_asked_line_by_line(book: Path, tmp_path: Path) -> None:
    goal = tmp_path / "sheet.csv"
    typed = (
        "C\nshed\nclass\nK\nspecial\n1.0\n0.1\ny\n9:05 780.4 777\n9:09 78x 777\n10:30 1040 1036\n11:40 780.5 778\n\n"
    )
    words = ("calibrate", "--ask", "--sheet", goal, "--date", "2026-02-20")
    answer = ask(book, *words, typed=typed)
    assert answer.exit_code == 0
    assert "puts mains on the readout" in answer.stdout
    assert "reference '78x': must be a temperature" in answer.stdout
    assert "Entered as calibration 1" in answer.stdout
    assert goal.read_text(encoding="utf-8").splitlines()[1:] == ["9:05,780.4,777", "10:30,1040,1036", "11:40,780.5,778"]
    assert "exists" in ask(book, *words, typed=typed).output + str(ask(book, *words, typed=typed).exception)
    assert "--ask asks for the readings" in ask(book, "calibrate", "run", "--ask").stderr


def test_hours_hot_heats_and_cuts_are_listed(book: Path) -> None:
    fitted = ("sensor", "fitted", "chamber", "--furnace", "shed", "--serial", "K-1", "--type", "K")
    ask(book, *fitted, "--at", "2026-11-01T08:00Z", "--diameter-mm", "1.5")
    ask(book, "calibrate", calibration_run(book), *BY_U)
    make_run(book, {CONTROL: true_c}, started_utc=STARTED_UTC + DAY_S)
    text = ask(book, "sensor", "list").stdout
    # two runs of half an hour at 1050 with ramps of 270 K in 1800 s, and down 750 K in 3000 s: above 950 it is
    # 100/270 x 1800 + 1800 + 100/750 x 3000 = 2867 s, 0.8 h; 1.6 h in both; the second ends 50 - 0.8 h
    assert "2 heats, " in text
    assert "1.6 h above 950 °C" in text
    assert "0 cuts; 49.2 h above 950 °C are left of its calibration" in text
    assert "diameter 1.5 mm" in text
    ask(book, *fitted, "--at", "2026-12-01T08:00Z", "--cut")
    assert "1 cut\n" in ask(book, "sensor", "list").stdout
    assert "1742 °F" in ask(book, "sensor", "list", "--unit", "F").stdout  # 950 x 1.8 + 32


def test_a_used_base_metal_sensor_on_a_bench_proves_nothing(book: Path, tmp_path: Path) -> None:
    ask(book, "sensor", "fitted", "chamber", "--furnace", "shed", "--type", "K", "--at", "2026-11-01T08:00Z")
    make_run(book, {CONTROL: true_c})
    readings = sheet(tmp_path, "9:05,780.2,783.1")
    words = ("calibrate", "--readings", readings, "--reference-uncertainty", "2", "--furnace", "shed", "--bench")
    refused = ask(book, *words, "--sensor", "chamber", "--date", "2026-12-10")
    assert "chamber has 1 heat behind it" in refused.stderr
    assert ask(book, *words, "--sensor", "new", "--date", "2026-12-10").exit_code == 0


def test_a_fault_is_not_entered(book: Path) -> None:
    refused = ask(book, "calibrate", calibration_run(book, error_c=40.0), *BY_U)
    assert refused.exit_code == 2
    assert "An error of +40 °C is a fault rather than something to correct (15 °C over what is taken)" in refused.stderr


def test_the_due_day_is_that_on_which_u_reaches_what_the_recipe_needs(book: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "hold.toml"
    recipe.write_text(RECIPE.replace("tolerance = 12", "tolerance = 4"), encoding="utf-8")
    run = calibration_run(book)
    ask(book, "verify", run, "--recipe", recipe, "--exit-zero")
    answer = as_json(book, "calibrate", run, *BY_U)
    u_c = float(np.max(answer["correction"]["table"]["expanded_c"]))
    # 0.75 x 4 = 3 K are left: half-width (3/2)^2 - (U/2)^2, root, x sqrt 3, of 2 K in 365 days
    days = (1.5**2 - (u_c / 2.0) ** 2) ** 0.5 * 3**0.5 / 2.0 * 365.0
    due = np.datetime64(answer["correction"]["due_on"]) - np.datetime64("2026-11-25")
    assert due.astype(int) == pytest.approx(days, abs=3)
    again = as_json(book, "calibrate", run, *BY_U, "--due", "2026-12-31")
    assert again["correction"]["due_on"] == "2026-12-31"


def test_a_run_of_another_type_of_swap(book: Path) -> None:
    both_k = replace(REFERENCE, thermocouple="K")
    run = make_run(book, {both_k: true_c, CONTROL: lambda t_s: true_c(t_s) + 3.0}).path
    words = ("calibrate", run, *BY_U, "--no-entry")
    assert any("Which plug is whose" in says for says in as_json(book, *words)["doubts"])
    assert not any("Which plug is whose" in says for says in as_json(book, *words, "--plugs-tried")["doubts"])


def test_a_load_sensor_taken_for_a_reference_tells_of_its_place_too(book: Path) -> None:
    in_the_work = replace(REFERENCE, role="load")
    run = make_run(book, {in_the_work: true_c, CONTROL: lambda t_s: true_c(t_s) + 3.0}).path
    says = " ".join(as_json(book, "calibrate", run, *BY_U, "--no-entry")["doubts"])
    assert "ref is a load sensor: what its place is colder or warmer by is taken for an error of the sensor" in says
    assert "soakwitness place measure" in says
    beside = " ".join(as_json(book, "calibrate", calibration_run(book / "other"), *BY_U, "--no-entry")["doubts"])
    assert "load sensor" not in beside
