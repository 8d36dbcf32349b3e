"""``soakwitness calibrate``, ``accuracy`` and ``sensor`` as a person meets them, on real run folders and log books."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.calibration.correcting.correction import correction_from_dict
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.sensors import accuracy_tests, calibrations
from soakwitness.analysis.run_inputs.corrections_in_force import corrections_for
from soakwitness.cli.commands.sensor import EXAMPLES
from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import run_main
from soakwitness.firmware_bridge.runfolder.reader import read_header
from tests.calibration_runs import CONTROL, REFERENCE, STARTED_UTC, calibration_run, make_run, true_c

CERTIFICATE = "date = 2026-03-02\n" + "".join(
    f"[[point]]\ntemp = {temp}\ncorrection = {add}\nU = 1.2\nk = 2\n" for temp, add in ((700, -1.0), (1100, -1.0))
)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book"


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    path = tmp_path / "ref.toml"
    path.write_text(CERTIFICATE, encoding="utf-8")
    return path


def ask(book: Path, *words: object) -> Result:
    answer = CliRunner().invoke(soakwitness, [str(word) for word in words], env={"SOAKWITNESS_LOGBOOK": str(book)})
    assert answer.exception is None or answer.exit_code != 0, answer.output
    return answer


def as_json(book: Path, *words: object) -> Any:
    answer = ask(book, *words, "--json")
    assert answer.exit_code == 0, answer.output
    return json.loads(answer.stdout)


def test_a_run_becomes_a_correction_in_the_log_book(book: Path, certificate: Path, tmp_path: Path) -> None:
    run = calibration_run(book)
    chart = tmp_path / "errors.svg"
    words = ("calibrate", run, "--reference", "ref", "--reference-certificate", certificate, "--by", "J. Smith")
    answer = as_json(book, *words, "--chart", chart)
    # the certificate takes 1 K off the reference, the sensor reads 3 K above it: error +4 at both holds
    assert [round(point["error_c"], 1) for point in answer["points"]] == [4.0, 4.0]
    assert [round(point["reference_c"]) for point in answer["points"]] == [779, 1049]
    assert answer["correction"]["model"] == "constant"
    assert answer["correction"]["done_on"] == "2026-11-25"
    assert answer["correction"]["due_on"] == "2027-11-25"
    sources = [row["source"] for row in answer["points"][0]["budget"]["rows"]]
    assert sources[0] == "reference certificate"
    assert "repeatability" in sources
    assert answer["entry"]["life_begun"]
    assert chart.read_text(encoding="utf-8").startswith("<?xml")

    with open_logbook(book) as opened:
        found, refused = corrections_for(opened, read_header(run))
    assert refused == ()
    assert float(found["chamber"].correct(1054.0)) == pytest.approx(1050.0, abs=0.1)
    listed = ask(book, "sensor", "list").stdout
    assert "serial K-1" in listed
    assert "calibration 1 of 2026-11-25 by J. Smith: constant" in listed


def test_printed_for_people(book: Path, certificate: Path) -> None:
    run = calibration_run(book)
    words = (
        "calibrate",
        run,
        "--reference",
        "reference",
        "--reference-certificate",
        certificate,
        "--no-entry",
        "--all",
    )
    text = " ".join(ask(book, *words).stdout.split())
    assert "Stable: 10 min or more, drift at most 6 °C/h, spread at most 1.5 °C" in text
    assert "Budget of point 1, 779 °C" in text
    assert "rectangular" in text
    assert "nothing is stated" in text
    assert "Entered" not in text
    fahrenheit = ask(book, *words, "--unit", "F").stdout
    assert "1434.2 °F" in fahrenheit  # 779 x 1.8 + 32
    assert "+7.2" in fahrenheit  # 4 K x 1.8
    assert not (book / "logbook.sqlite").exists()


def test_a_changed_thermocouple_ends_its_correction(book: Path) -> None:
    calibrate = ("--reference", "ref", "--reference-uncertainty", "2")
    ask(book, "calibrate", calibration_run(book), *calibrate)
    fitted = ask(
        book, "sensor", "fitted", "chamber", "--furnace", "shed", "--serial", "K-2", "--at", "2026-11-26T08:00+01:00"
    )
    assert "Sensor life 2  chamber of shed" in fitted.stdout
    assert "type K, serial K-2" in fitted.stdout  # the type is taken from the life before
    assert "Sensor life 1 ended there" in fitted.stderr
    later = {REFERENCE: true_c, replace(CONTROL, serial="K-2"): true_c}
    run = make_run(book, later, started_utc=STARTED_UTC + 2 * 86_400).path
    with open_logbook(book) as opened:
        assert corrections_for(opened, read_header(run)) == ({}, ())
    # a run that still says K-1 does not belong to the life on record
    stale = make_run(book, {REFERENCE: true_c, CONTROL: true_c}, started_utc=STARTED_UTC + 3 * 86_400).path
    refused = ask(book, "calibrate", stale, *calibrate)
    assert refused.exit_code != 0
    assert "serial K-1, the log book K-2" in str(refused.exception)


def test_a_calibration_from_before_its_sensor_life_is_refused(book: Path, tmp_path: Path) -> None:
    # the run began on 2026-11-25 (STARTED_UTC)
    run = calibration_run(book)
    fitted = ("sensor", "fitted", "chamber", "--furnace", "shed", "--at")
    from_run = ("calibrate", run, "--reference", "ref", "--reference-uncertainty", "2")
    ask(book, *fitted, "2026-11-20T08:00Z")
    refused = ask(book, *from_run, "--date", "2026-11-10")
    assert refused.exit_code != 0
    assert "done on 2026-11-10, but its sensor life began on 2026-11-20" in str(refused.exception)
    table = tmp_path / "readings.csv"
    table.write_text("reference,sensor\n1000,1003\n600,601\n", encoding="utf-8")
    typed = (
        "calibrate",
        "--readings",
        table,
        "--reference-uncertainty",
        "1.5",
        "--furnace",
        "shed",
        "--sensor",
        "chamber",
    )
    refused = ask(book, *typed, "--date", "2026-11-10")
    assert "done on 2026-11-10, but its sensor life began on 2026-11-20" in str(refused.exception)
    # on the day it was fitted, and later, it is its own
    assert ask(book, *typed, "--date", "2026-11-20").exit_code == 0
    assert ask(book, *from_run).exit_code == 0
    assert "calibration 2" in ask(book, "sensor", "list").stdout


def test_a_run_from_before_the_life_on_record_begins_one_and_says_so(book: Path) -> None:
    run = calibration_run(book)
    ask(book, "sensor", "fitted", "chamber", "--furnace", "shed", "--at", "2026-12-24T08:00Z")
    answer = ask(book, "calibrate", run, "--reference", "ref", "--reference-uncertainty", "2")
    assert "on record began later, on 2026-12-24: one that ends there was begun" in answer.stderr
    refused = ask(book, "calibrate", run, "--reference", "ref", "--reference-uncertainty", "2", "--date", "2026-01-01")
    assert "done on 2026-01-01, but its sensor life began on 2026-11-25" in str(refused.exception)


def test_a_withdrawn_correction_is_kept_and_named(book: Path) -> None:
    run = calibration_run(book)
    ask(book, "calibrate", run, "--reference", "ref", "--reference-uncertainty", "2")
    ask(book, "sensor", "withdraw", "1", "--why", "the reference was overdue")
    with open_logbook(book) as opened:
        found, refused = corrections_for(opened, read_header(run))
    assert found == {}
    assert [str(says) for says in refused] == [
        "chamber: calibration 1 of 2026-11-25 is not used, it was withdrawn: the reference was overdue.",
    ]
    assert "WITHDRAWN" in ask(book, "sensor", "list").stdout
    assert "the reference was overdue" in ask(book, "sensor", "list").stdout


def test_two_logs_with_clocks_of_their_own(book: Path, certificate: Path) -> None:
    furnace = make_run(book, {CONTROL: lambda t_s: true_c(t_s) + 3.0}).path
    borrowed = make_run(
        book, {REFERENCE: lambda t_s: true_c(t_s + 1234.0)}, every_s=7, until_s=9000, started_utc=STARTED_UTC + 50_000
    ).path
    words = ("calibrate", furnace, "--second-log", borrowed, "--reference", "ref")
    answer = as_json(book, *words, "--reference-certificate", certificate, "--no-entry")
    assert answer["alignment"]["shift_s"] == pytest.approx(1234.0, abs=3.0)
    assert [round(point["error_c"], 1) for point in answer["points"]] == [4.0, 4.0]


def test_readings_typed_in(book: Path, tmp_path: Path) -> None:
    # by hand: errors +3 and +3.5 at 1000 (mean 3.25), +1 at 600
    table = tmp_path / "readings.csv"
    table.write_text("reference,sensor\n1000,1003\n1000.5,1004\n600,601\n", encoding="utf-8")
    words = (
        "calibrate",
        "--readings",
        table,
        "--reference-uncertainty",
        "1.5",
        "--furnace",
        "shed",
        "--date",
        "2026-03-02",
    )
    answer = as_json(book, *words, "--due", "2026-09-02")
    assert [round(point["error_c"], 2) for point in answer["points"]] == [1.0, 3.25]
    assert answer["correction"]["due_on"] == "2026-09-02"
    assert answer["entry"]["calibration"] == 1


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["calibrate"], "give a RUN, or --readings FILE"),
        (["calibrate", "RUN"], "--reference NAME"),
        (["calibrate", "RUN", "--reference", "boss"], "no sensor of this name or role in run"),
        (["calibrate", "RUN", "--reference", "chamber"], "are the same sensor"),
        (["calibrate", "RUN", "--reference", "ref", "--minutes", "500"], "no stable stretch: none of 8 h 20 min"),
        (
            ["calibrate", "RUN", "--reference", "ref", "--minutes", "500", "--unit", "F"],
            "drift at most 11 °F/h and spread at most 2.7 °F, above 212 °F",  # 6 K/h, 1.5 K and 100 degC
        ),
        (
            ["calibrate", "RUN", "--reference", "ref", "--reference-certificate", "none.toml"],
            "none.toml: there is no such file",
        ),
        (["calibrate", "RUN", "--reference", "ref", "--date", "spring"], "'spring' is no day"),
        (["calibrate", "RUN", "--reference", "ref", "--due", "2020-01-01"], "is before the day it was done"),
        (["calibrate", "RUN", "--reference", "ref", "--chart", "x.gif"], "the ending must be one of"),
        (["calibrate", "--readings", "none.csv", "--reference-uncertainty", "2"], "none.csv: cannot be read"),
        (["accuracy", "--history"], "--history needs --furnace"),
        (["accuracy", "RUN"], "--reference NAME"),
        (["accuracy", "RUN", "--reference", "ref", "--no-entry", "--chart", "a.png"], "leave out --no-entry"),
        (
            ["sensor", "withdraw", "9", "--why", "x"],
            "There is no entry 9 (calibration). Numbers are shown by: soakwitness sensor list",
        ),
        (["sensor", "diagnose"], "give a RUN, --readings FILE, or --example CAUSE"),
        (["survey", "RUN", "--sensors", "ref,ref", "--band", "8"], "ref stands twice"),
        (["survey", "RUN", "--sensors", "ref,boss", "--band", "8"], "'boss': no sensor"),
        (["survey", "RUN", "--sensors", "ref", "--band", "8"], "two sensors or more"),
    ],
)
def test_wrong_use_is_one_line(
    words: list[str],
    says: str,
    book: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SOAKWITNESS_LOGBOOK", str(book))
    run = str(calibration_run(book))
    ask(book, "sensor", "fitted", "chamber", "--furnace", "shed", "--at", "2026-11-01T08:00Z")
    monkeypatch.setattr("sys.argv", ["soakwitness", *(run if word == "RUN" else word for word in words)])
    assert run_main(soakwitness) in (1, 2)
    error = capsys.readouterr().err
    assert says in error
    assert "Traceback" not in error


def test_accuracy_is_kept_and_drawn(book: Path, certificate: Path, tmp_path: Path) -> None:
    common = ("--reference", "ref", "--reference-certificate", certificate)
    first = as_json(book, "accuracy", calibration_run(book, error_c=-0.5), *common, "--limit", "4")
    assert (first["verdict"], round(first["difference_c"], 1)) == ("pass", 0.5)
    run = calibration_run(book, error_c=9.0, started_utc=STARTED_UTC + 86_400)
    text = ask(book, "accuracy", run, *common, "--limit", "4", "--at", "1050").stdout
    assert text.startswith("Off by more than allowed: chamber reads 10 °C high at 1049 °C, give or take")
    chart = tmp_path / "history.png"
    history = ask(book, "accuracy", "--history", "--furnace", "shed", "--sensor", "chamber", "--chart", chart).stdout
    assert [line.split()[0] for line in history.splitlines()[1:3]] == ["2026-11-25", "2026-11-26"]
    assert chart.stat().st_size > 5000


def test_accuracy_after_a_correction(book: Path, certificate: Path) -> None:
    common = ("--reference", "ref", "--reference-certificate", certificate)
    ask(book, "calibrate", calibration_run(book, error_c=8.0), *common)
    run = calibration_run(book, error_c=8.0, started_utc=STARTED_UTC + 86_400)
    answer = as_json(book, "accuracy", run, *common, "--limit", "4")
    assert answer["difference_c"] == pytest.approx(9.0, abs=0.1)
    assert answer["difference_after_correction_c"] == pytest.approx(0.0, abs=0.1)
    assert answer["verdict"] == "fail"  # 9 off at the controller, whatever the log book would add


def test_accuracy_tells_the_u_that_has_grown_and_uses_no_lapsed_correction(book: Path, certificate: Path) -> None:
    """292 days are 0.8 of a year, so 1.6 of the 2 K that a base metal wire is assumed to drift in it."""
    common = ("--reference", "ref", "--reference-certificate", certificate)
    ask(book, "calibrate", calibration_run(book, error_c=8.0), *common, "--due", "2027-11-25")
    with open_logbook(book) as opened:
        (kept,) = calibrations(opened, 1)
    u_c = float(correction_from_dict(kept.correction).expanded_c(1058.0))
    run = calibration_run(book, error_c=8.0, started_utc=STARTED_UTC + 292 * 86_400)
    answer = as_json(book, "accuracy", run, *common, "--at", "1050", "--no-entry")
    assert answer["correction_expanded_c"] == pytest.approx(2.0 * math.hypot(u_c / 2.0, 1.6 / math.sqrt(3.0)), abs=0.02)
    late = calibration_run(book, error_c=8.0, started_utc=STARTED_UTC + 400 * 86_400)
    said = ask(book, "accuracy", late, *common, "--no-entry")
    assert "chamber: the calibration of 2026-11-25 is not used: overdue since 2027-11-25." in said.stderr
    assert "would leave" not in said.stdout


def test_the_run_of_a_calibration_is_no_test_of_its_own(book: Path, certificate: Path) -> None:
    run, common = calibration_run(book, error_c=1.0), ("--reference", "ref", "--reference-certificate", certificate)
    ask(book, "calibrate", run, *common)
    refused = ask(book, "accuracy", run, *common, "--limit", "4")
    assert refused.exit_code == 2
    assert "calibration 1 of chamber was made from this very run" in refused.output
    assert "shown, not entered" in ask(book, "accuracy", run, *common, "--limit", "4", "--no-entry").stderr
    with open_logbook(book) as opened:
        assert accuracy_tests(opened, "shed") == ()


@pytest.mark.parametrize(("error_c", "status"), [(-1.0, 0), (9.0, 3), (2.5, 4)])
def test_accuracy_sets_the_exit_status_of_its_verdict(
    book: Path, certificate: Path, error_c: float, status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ["accuracy", str(calibration_run(book, error_c=error_c)), "--reference", "ref", "--limit", "4"]
    words += ["--reference-certificate", str(certificate), "--logbook", str(book), "--no-entry"]
    monkeypatch.setattr("sys.argv", ["soakwitness", *words])
    assert run_main(soakwitness) == status
    monkeypatch.setattr("sys.argv", ["soakwitness", *words, "--exit-zero"])
    assert run_main(soakwitness) == 0


def test_following_a_live_run(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run = make_run(book, {REFERENCE: true_c, CONTROL: lambda t_s: true_c(t_s) + 3.0}, until_s=3000, seal=False)
    now = 3000

    def pause(_: float) -> None:
        """Ten minutes pass; at the end the run is sealed."""
        nonlocal now
        for t_s in range(now + 10, now + 610, 10):
            row = {"ref": round(true_c(t_s), 1), "chamber": round(true_c(t_s) + 3.0, 1)}
            run.write_row(t_s, STARTED_UTC + t_s, row)
        now += 600
        if now >= 10_800:
            run.seal(sealed_utc=STARTED_UTC + now)

    monkeypatch.setattr("soakwitness.cli.terminal.following.time.sleep", pause)
    words = ("calibrate", run.path, "--follow", "--at", "780", "--at", "1050", "--reference", "ref", "--no-entry")
    answer = ask(book, *words)
    said = answer.stderr
    assert "°C/h (to 780 °C): wait for 6 °C/h or less" in said
    assert "quiet for" in said
    assert "stable for" in said
    assert "enough here; next, set 1050 °C" in said
    assert said.index("next, set 1050") < said.index("next, set 780 °C again: the difference becomes a row")
    assert "To be added to the reading: " in answer.stdout


def test_diagnosis_from_readings_and_from_a_run(book: Path, tmp_path: Path) -> None:
    table = tmp_path / "readings.csv"
    table.write_text("reference;sensor\n600;1112\n800,5;1472,9\n1000;1832\n", encoding="utf-8")  # 1.8 t + 32
    found = as_json(book, "sensor", "diagnose", "--readings", table, "--set-to", "K")
    assert found["cause"] == "degrees C and F mixed up"
    from soakwitness.analysis.calibration.diagnosing.faults import pulled_back_c

    sensors = {REFERENCE: true_c, CONTROL: lambda t_s: float(pulled_back_c(true_c(t_s), 0.1))}
    found = as_json(book, "sensor", "diagnose", make_run(book, sensors).path, "--reference", "ref")
    assert found["candidates"][0]["cause"] == "tip pulled back"
    assert len(found["readings"]) == 2


ALONE = {"type", "reversed", "unit", "tip", "crossed", "head-short", "shunt", "contact"}


@pytest.mark.parametrize("example", EXAMPLES)
def test_each_made_example_is_recognised(book: Path, example: str) -> None:
    """Named alone where nothing else looks like it; else among those that do, with a test that tells it from them."""
    found = as_json(book, "sensor", "diagnose", "--example", example)
    named = EXAMPLES[example]
    assert (found["cause"] == named) == (example in ALONE)
    assert named in found["between"]
    if example not in ALONE:
        shows = found["test"]["shows"]
        first = next(cause for cause in found["between"] if cause != named)
        assert found["candidates"][0]["cause"] == named or shows[named] != shows[first]


def test_moments_without_a_number_and_what_was_tried_tell_too(book: Path, tmp_path: Path) -> None:
    table = tmp_path / "loose.csv"
    table.write_text("reference,sensor,note\n600,601.2,\n800,,open\n900,641.0,jumps about\n1000,1001.0,\n", "utf-8")
    found = ask(book, "sensor", "diagnose", "--readings", table, "--set-to", "K").stdout
    assert "Most likely: contact that comes and goes." in found
    assert "Counted too: no number at 800 °C." in found
    table.write_text("reference,sensor\n600,598.5\n800,795\n1000,989.0\n", "utf-8")
    words = ("sensor", "diagnose", "--readings", table, "--set-to", "K")
    before, after = as_json(book, *words), as_json(book, *words, "--spare", "helped", "--drawn-out", "1")

    def chance(found: Any, cause: str) -> float:
        return next(float(c["probability"]) for c in found["candidates"] if c["cause"] == cause)

    drift = "drift growing with temperature"
    # Odds against a place: a spare takes drift away in 19 of 20 trials and a place in one of 20 (settings).
    odds = [chance(found, drift) / chance(found, "place difference") for found in (before, after)]
    assert odds[1] > 15.0 * odds[0]


RECIPE = """
name = "Hold at 780"
unit = "C"
[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 20
tolerance = 8
"""


def test_verify_uses_the_correction_of_the_day_and_only_of_this_life(book: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "hold.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    ask(book, "calibrate", calibration_run(book, error_c=7.0), "--reference", "ref", "--reference-uncertainty", "1")

    def verified(run: Path) -> tuple[Any, str]:
        answer = ask(book, "verify", run, "--recipe", recipe, "--exit-zero", "--json")
        return json.loads(answer.stdout), answer.stderr

    def codes(found: Any) -> set[str]:
        return {finding["code"] for finding in found["findings"]}

    # the control sensor shows 7 more than it is: 787 shown is 780 true, inside the band by more than U
    later = make_run(book, {CONTROL: lambda t_s: true_c(t_s) + 7.0}, started_utc=STARTED_UTC + 86_400).path
    found, said = verified(later)
    assert "no calibration" not in codes(found)
    assert found["decided_on"] == "true temperature"
    assert said == ""
    before = make_run(book, {CONTROL: true_c}, started_utc=STARTED_UTC - 86_400).path
    assert "no calibration" in codes(verified(before)[0])
    other = make_run(book, {replace(CONTROL, serial="K-9"): true_c}, started_utc=STARTED_UTC + 2 * 86_400).path
    found, said = verified(other)
    assert "no calibration" in codes(found)
    assert "the correction of 2026-11-25 is not used, the run says serial K-9, the log book K-1" in said
    overdue = make_run(book, {CONTROL: true_c}, started_utc=STARTED_UTC + 400 * 86_400).path
    assert "calibration overdue" in codes(verified(overdue)[0])


def test_verify_knows_the_class_that_was_entered_with_the_fitting(book: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "hold.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    bare = replace(CONTROL, thermocouple=None, tolerance_class=None)
    run = make_run(book, {bare: true_c}).path
    words = ("verify", run, "--recipe", recipe, "--exit-zero", "--json")
    assert json.loads(ask(book, *words).stdout)["sensor_error"]["source"] == "none"
    furnace = read_header(run).furnace_name
    fitted = ("sensor", "fitted", bare.name, "--furnace", furnace, "--at", "2026-11-01T08:00Z")
    assert ask(book, *fitted, "--type", "K", "--tolerance-class", "1").exit_code == 0
    found = json.loads(ask(book, *words).stdout)
    assert found["sensor_error"]["source"] == "tolerance class"
    # CHECKS section 1: IEC class 1, type K: 0.004 t, at 780 degC 3.12
    assert next(iter(found["sensor_error"]["expanded_c"].values())) == pytest.approx(3.12, abs=0.01)
    assert found["decided_on"] == "reading"


@pytest.mark.parametrize("number", ["nan", "inf", "-inf"])
def test_what_is_no_number_is_refused_everywhere(book: Path, number: str) -> None:
    # nan passes every comparison of a range and would go into the log book as U
    run = calibration_run(book)
    for words in (
        ("calibrate", run, "--reference", "ref", "--reference-uncertainty", number),
        ("accuracy", run, "--reference", "ref", "--reference-uncertainty", "1", "--limit", number),
        ("survey", run, "--sensors", "chamber,ref", "--band", number),
        ("survey", run, "--sensors", "chamber,ref", "--band", "8", "--target", number),
        ("sensor", "diagnose", "--example", "tip", "--noise", number),
        ("sensor", "fitted", "chamber", "--furnace", "shed", "--input-offset", number),
        ("emf", "1000", "--type", "K", "--reference", number),
    ):
        assert ask(book, *words).exit_code == 2, words


def test_a_fault_is_not_quietly_corrected_away(book: Path, tmp_path: Path) -> None:
    readings = tmp_path / "r.csv"
    words = ("calibrate", "--readings", readings, "--furnace", "x", "--no-entry", "--reference-uncertainty", "1")
    readings.write_text("reference,sensor\n1000,1832\n", encoding="utf-8")  # 1000 degC is 1832 degF
    assert "An error of +832 °C is a fault rather than something to correct" in ask(book, *words).stderr
    readings.write_text("reference,sensor\n1000,1008\n", encoding="utf-8")
    assert ask(book, *words).stderr == ""
