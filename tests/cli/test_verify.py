"""The command verify: exit statuses, words, JSON, what it takes from the log book."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.calibration.correcting.correction import Correction, correction_to_dict
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.logbook.sensors import add_calibration, fit_sensor
from soakwitness.analysis.packet.packet_file import packet_text
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.cli.commands.import_ import import_
from soakwitness.cli.commands.verify import EXIT_STATUS, verify
from soakwitness.cli.options.common import run_main
from tests.log_books import STAMP, new_book
from tests.verification_runs import drawn

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
RECIPE = SAMPLES / "recipes" / "paring-blades.toml"


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book"


def run(*words: str | Path, book: Path) -> Result:
    return CliRunner().invoke(verify, [*map(str, words), "--logbook", str(book)], standalone_mode=False)


def status(words: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> tuple[int, str]:
    """Exit status and stderr as the command line gives them."""
    monkeypatch.setattr("sys.argv", ["soakwitness", *words])
    code = run_main(verify)
    return code, capsys.readouterr().err


@pytest.mark.parametrize(
    ("sample", "verdict"),
    # As sample_logs/README.md tells what is wrong in each.
    [
        ("good", "pass"),
        ("short-soak", "fail"),
        ("overshoot", "fail"),
        ("slow-ramp", "fail"),
        ("pulled-one-by-one", "fail"),
        ("open-circuit", "not proven"),
        ("gap", "not proven"),
        ("program-differs", "fail"),
    ],
)
def test_exit_statuses_of_the_sample_logs(sample: str, verdict: str, book: Path):
    result = run(SAMPLES / sample, book=book)
    assert result.return_value == EXIT_STATUS[verdict] == {"pass": 0, "fail": 3, "not proven": 4}[verdict]
    lines = result.stdout.splitlines()
    assert len(lines) <= 12
    assert max(len(line) for line in lines if "--all" not in line) <= 80
    heads = {"pass": ("Pass.",), "fail": ("Too ",), "not proven": ("Not proven: ",)}
    assert lines[0].startswith(heads[verdict])
    act = json.loads(run(SAMPLES / sample, "--json", book=book).stdout)["in_short"]["next"]
    assert act in " ".join(lines[:3])  # verdict, reason and next act are read first
    command = f"soakwitness verify {SAMPLES / sample} --all"  # on one line however long, to be copied
    assert lines[-1].endswith(command)
    assert " ".join(line.strip() for line in lines[-2:]).endswith(f"All of it: {command}")


@pytest.mark.parametrize(
    ("sample", "code"),
    [
        ("short-soak", "short soak"),
        ("overshoot", "overshoot"),
        ("slow-ramp", "slow ramp"),
        ("pulled-one-by-one", "late quench"),
        ("open-circuit", "sensor fault"),
        ("gap", "gap in record"),
        ("program-differs", "program differs"),
    ],
)
def test_each_sample_shows_its_finding(sample: str, code: str, book: Path):
    found = json.loads(run(SAMPLES / sample, "--json", book=book).stdout)
    assert code in {f["code"] for f in found["findings"]}


def test_the_good_one_shows_no_fault(book: Path):
    found = json.loads(run(SAMPLES / "good", "--json", book=book).stdout)
    assert {f["code"] for f in found["findings"] if f["severity"] != "note"} == {"no calibration"}


def test_json_and_a_recipe_file(book: Path):
    found = json.loads(run(SAMPLES / "good", "--recipe", RECIPE, "--json", book=book).stdout)
    assert found["schema"] == "soakwitness/verify/1"
    assert found["verdict"] == "pass"
    assert found["record"]["sealed"] is True


def test_comparison_figures_are_labelled_and_beside_the_verdict(book: Path):
    # chef-blades soak short at step 4 (sample_logs/README.md): below the target mostly, so fewer minutes count
    found = json.loads(run(SAMPLES / "short-soak", "--json", book=book).stdout)
    (hold,) = [c for c in found["comparison"] if c["step"] == 4]
    assert (hold["sensor"], hold["target_c"], hold["temper"]) == ("load", 1040.0, None)
    step = next(s for s in found["steps"] if s["step"] == 4)
    assert 0 < hold["equivalent_soak"][0]["time_s"] < step["soak_s"]["best"]
    assert "never" in hold["label"] or "only" in hold["label"]
    words = run(SAMPLES / "short-soak", "--all", book=book).stdout
    assert "\nFor comparison\nStep 2, sensor control. As " in words
    assert "As 10" in words.partition("Step 4, sensor load.")[2]
    assert "°F, weighted after Arrhenius" in " ".join(
        run(SAMPLES / "short-soak", "--all", "--unit", "F", book=book).stdout.split()
    )


def test_exit_zero(book: Path):
    assert run(SAMPLES / "short-soak", "--exit-zero", book=book).return_value == 0


def test_words_tell_verdict_steps_findings_rule_and_what_was_not_seen(book: Path):
    text = run(SAMPLES / "short-soak", "--all", book=book).stdout
    for part in ("Step 4. Hold", "FAIL: short soak, step 4.", "Not seen", "ILAC-G8:09/2019", "load sensor"):
        assert part in text
    assert max(len(line) for line in text.splitlines()) <= 100
    steps = " ".join(text.split()).split("Step ")
    assert "at the control sensor: pass" in steps[2]
    assert "at the load sensor: fail" in steps[4]


def test_fahrenheit(book: Path):
    text = run(SAMPLES / "good", "--unit", "F", book=book).stdout
    # 780 degC is 1436 degF; differences x 1.8.
    assert "1436 °F" in text
    assert "°C" not in text


def test_a_chart_is_drawn_and_never_overwritten(book: Path, tmp_path: Path):
    chart = tmp_path / "chart.svg"
    assert run(SAMPLES / "good", "--chart", chart, book=book).return_value == 0
    assert chart.stat().st_size > 1000
    refused = run(SAMPLES / "good", "--chart", chart, book=book)
    assert "exists" in str(refused.exception)
    assert run(SAMPLES / "good", "--chart", chart, "--force", book=book).return_value == 0


def test_compared_with_a_proven_run(book: Path):
    text = run(SAMPLES / "short-soak", "--compare-with", SAMPLES / "good", book=book).stdout
    assert "Beside run" in text
    assert "not the same" in text
    assert "drift" in text


def test_a_changed_record_is_not_proven(book: Path, tmp_path: Path):
    copy = tmp_path / "copy"
    shutil.copytree(SAMPLES / "good", copy)
    samples = copy / "samples.csv"
    samples.write_bytes(samples.read_bytes().replace(b",1039.", b",1040.", 3))
    found = json.loads(run(copy, "--json", book=book).stdout)
    assert found["verdict"] == "not proven"
    assert found["record"]["intact"] is False
    assert "record changed" in {f["code"] for f in found["findings"]}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["nowhere"], "nowhere"),
        ([str(RECIPE)], "not a run folder"),
        ([str(SAMPLES / "good"), "--recipe", "nothing.toml"], "nothing.toml"),
        ([str(SAMPLES / "good"), "--recipe", str(SAMPLES / "README.md")], "README.md"),
        ([str(SAMPLES / "good"), "--packet", "nothing.toml"], "nothing.toml"),
        ([str(SAMPLES / "good"), "--chart", "chart.gif"], "chart.gif"),
        ([str(SAMPLES / "good"), "--compare-with", "nowhere"], "nowhere"),
        ([str(SAMPLES)], "run.json"),
    ],
)
def test_wrong_use_is_one_line_and_exit_status_2(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    monkeypatch.chdir(tmp_path)
    code, told = status(words, capsys, monkeypatch)
    assert code == 2
    assert says in told
    assert "Traceback" not in told


def test_a_run_without_a_recipe_asks_for_one(book: Path, tmp_path: Path):
    copy = tmp_path / "copy"
    shutil.copytree(SAMPLES / "good", copy)
    header = json.loads((copy / "run.json").read_text(encoding="utf-8"))
    header["recipe"] = None
    (copy / "run.json").write_text(json.dumps(header), encoding="utf-8")
    assert "--recipe" in str(run(copy, book=book).exception)


# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s; tolerance 5.
HOLD = [(0, 20), (1960, 1000), (3160, 1000), (5000, 80)]
TEN = 'name = "ten"\n[[step]]\nramp = "full power"\nto = 1000\n[[step]]\nhold_minutes = 10\ntolerance = 5\n'


@pytest.fixture
def imported(book: Path, tmp_path: Path) -> tuple[str, Path]:
    """The name of an imported run in the log book, and its recipe."""
    log, recipe = tmp_path / "log.csv", tmp_path / "ten.toml"
    t_s, temp_c = drawn(HOLD, noise_c=0.2)
    log.write_text("t,temp\n" + "".join(f"{t:.0f},{c:.1f}\n" for t, c in zip(t_s, temp_c, strict=True)))
    recipe.write_text(TEN)
    words = [str(log), "--time", "t", "--sensor", "control=temp", "--logbook", str(book), "--furnace", "shed"]
    result = CliRunner().invoke(import_, [*words, "--start", "2026-11-25T08:00:00+00:00"], standalone_mode=False)
    assert result.exception is None, result.exception
    return Path(result.stdout.splitlines()[-1]).name, recipe


def report(run_name: str, recipe: Path, *words: str | Path, book: Path) -> dict[str, Any]:
    result = run(run_name, "--recipe", recipe, "--json", *words, book=book)
    assert result.exception is None, result.exception
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def test_a_packet_file_is_used_where_there_is_no_load_sensor(imported: tuple[str, Path], book: Path, tmp_path: Path):
    packet = tmp_path / "packet.toml"
    packet.write_text(packet_text(generic_packet(PacketSpec(thickness_mm=3.0))), encoding="utf-8")
    assert report(*imported, book=book)["temperature_from"] == "control"
    found = report(*imported, "--packet", packet, book=book)
    assert found["temperature_from"] == "packet estimate"
    assert found["steps"][1]["lag_s"]["best"] > 0


def test_pieces_of_the_log_book_have_their_own_soak(imported: tuple[str, Path], book: Path):
    name, recipe = imported
    with new_book(book) as log_book:
        take_in(log_book, stamp=STAMP)
        add_pieces(log_book, [Piece("A", thickness_mm=2.0), Piece("B", thickness_mm=6.0)], stamp=STAMP)
        charge_pieces(log_book, ["A", "B"], run=name, stamp=STAMP)
    soaks = {p["piece"]: p["soak_s"]["best"] for p in report(name, recipe, book=book)["steps"][1]["pieces"]}
    assert soaks["B"] < soaks["A"]


def test_a_calibration_of_the_log_book_corrects_and_decides(imported: tuple[str, Path], book: Path):
    name, recipe = imported
    correction = Correction(
        "shed", "control", "constant", "one point", (), (900.0, 1100.0), (-4.5, -4.5), (1.0, 1.0), "2026-01-10"
    )
    with new_book(book) as log_book:
        take_in(log_book, stamp=STAMP)
        life = fit_sensor(log_book, "shed", "control", fitted_utc="2026-01-01T00:00:00Z", stamp=STAMP)
        plain = correction_to_dict(correction)
        add_calibration(
            log_book, life=life, done_on="2026-01-10", due_on=None, done_by="Ana", correction=plain, stamp=STAMP
        )
    found = report(name, recipe, book=book)
    assert found["decided_on"] == "true temperature"
    assert found["sensor_error"]["source"] == "calibration"
    # 1000 corrected by -4.5 is 0.5 above the lower edge, and U is 1.
    assert found["steps"][1]["level_c"] == pytest.approx(995.5, abs=0.1)
    assert found["verdict"] == "not proven"
