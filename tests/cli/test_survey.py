"""``soakwitness survey`` on a real run folder."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.calibration.correcting.correction import Correction, CorrectionPoint
from soakwitness.analysis.calibration.surveying.survey import SurveyedSensor
from soakwitness.analysis.logbook.calibrations import keep_correction
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.sensors import surveys
from soakwitness.analysis.record.moments import Stamp
from soakwitness.cli.charts.survey_chart import place_of, places_of, seen_at
from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import run_main
from soakwitness.firmware_bridge.runfolder.contents import Column
from tests.calibration_runs import make_run, true_c

PLACES = {"a": ("left front bottom", 0.0), "b": ("right front top", 2.0), "c": ("left back top", -3.0)}
PLACES |= {"d": ("right back bottom", 4.0), "e": ("centre", 1.0)}


def survey_run(book: Path) -> Path:
    sensors = {
        Column(name, "sensor", "C", role="survey", thermocouple="K", resolution=0.1, position=place): (
            lambda t_s, off=off: true_c(t_s) + off * min(1.0, true_c(t_s) / 1000.0)
        )
        for name, (place, off) in PLACES.items()
    }
    return make_run(book, sensors, setpoint=1050.0, doors_s=(9000,)).path


def ask(book: Path, *words: object) -> Result:
    return CliRunner().invoke(soakwitness, [str(word) for word in words], env={"SOAKWITNESS_LOGBOOK": str(book)})


def test_a_survey_is_made_kept_and_drawn(tmp_path: Path) -> None:
    book, certificate, chart = tmp_path / "book", tmp_path / "reel.toml", tmp_path / "zone.png"
    certificate.write_text(
        "date = 2026-03-02\n[[point]]\ntemp = 1000\ncorrection = -1.0\nU = 1.5\n[[point]]\ntemp = 1100\n"
        "correction = -1.0\nU = 1.5\n",
        encoding="utf-8",
    )
    run = survey_run(book)
    words = ("survey", run, "--sensors", "survey", "--band", "8", "--certificate", certificate)
    answer = json.loads(ask(book, *words, "--chart", chart, "--json").stdout)
    # places from -3 to +4 about 1050; the certificate takes 1 K off: -4 to +3
    assert answer["target_from"] == "setpoint of the run"
    assert (answer["corrected"]["hottest"], answer["corrected"]["coldest"]) == ("d", "c")
    assert answer["as_read"]["highest_c"] == pytest.approx(1054.0, abs=0.3)
    assert answer["corrected"]["lowest_c"] == pytest.approx(1046.0, abs=0.3)
    # U 2.5: wire 1.5 (k = 2), and a logger of which nothing is stated, 2 x hypot(1.55, 0.52)/sqrt 3 = 1.89
    assert answer["corrected"]["with_u_c"] == pytest.approx(4.0 + 2.4, abs=0.3)
    assert answer["corrected"]["centring_c"] == pytest.approx(0.5, abs=0.2)
    assert answer["verdict"] == "pass"
    assert answer["bands"]["origin"] == "common practice, confirm in your edition"
    assert chart.stat().st_size > 10_000
    with open_logbook(book) as opened:
        (kept,) = surveys(opened, "shed")
    assert kept.result["verdict"] == "pass"
    assert (kept.done_on, kept.due_on) == ("2026-11-25", "2027-11-25")


def test_printed_for_people_and_without_u(tmp_path: Path) -> None:
    run = survey_run(tmp_path)
    answer = ask(
        tmp_path, "survey", run, "--sensors", "a,b,c,d", "--band", "14.4", "--unit", "F", "--no-entry", "--all"
    )
    assert answer.exit_code == 0, answer.output
    said = " ".join(answer.stdout.split())
    assert ": 1922 °F (setpoint of the run), band ±14.4 °F" in said  # 1050 degC; 8 K
    assert said.startswith(
        "Not proven: no survey, 4 sensors, at least 5 in a chamber under 0.085 m3. Survey again with 5 "
    )
    # d comes 4 hotter than a, c 3 colder: the climb of 270 in half an hour takes 47 s for 7 K
    assert "Even after 50 s: d was in the band at" in said
    assert "U known of 0 of 4 sensors" in said
    assert "Bands in common use: ±5.4 °F, 10.8 °F, 14.4 °F, 18 °F, 25.2 °F, 50.4 °F" in said
    assert "Entered" not in said


def test_an_existing_chart_is_not_replaced(tmp_path: Path) -> None:
    chart = tmp_path / "zone.png"
    chart.write_bytes(b"mine")
    words = ("survey", survey_run(tmp_path), "--sensors", "survey", "--band", "8", "--chart", chart, "--no-entry")
    assert ask(tmp_path, *words).exit_code == 2
    assert chart.read_bytes() == b"mine"
    assert ask(tmp_path, *words, "--force").exit_code == 0


def figures(name: str, position: str | None) -> SurveyedSensor:
    return SurveyedSensor(name, position, 0, 0, 0, 0, 0, 0, 0, 0, None, "")


def test_places_from_words_and_from_numbers() -> None:
    assert place_of("back, left, top") == (0.1, 0.9, 0.9)
    assert place_of("centre") == (0.5, 0.5, 0.5)
    assert place_of("somewhere") is None
    assert place_of(None) is None
    spots = places_of([figures("a", "0, 0, 50"), figures("b", "200 mm, 300 mm, 50 mm")])
    assert spots["a"] == (0.1, 0.1, 0.5)
    assert spots["b"] == pytest.approx((0.9, 0.9, 0.5))


def test_every_temperature_is_shown_in_the_unit_asked_for(tmp_path: Path) -> None:
    book = tmp_path / "book"
    run = survey_run(book)
    words = ("survey", run, "--sensors", "survey", "--band", "14.4", "--unit", "F", "--no-entry", "--all")
    text = " ".join(ask(book, *words).stdout.split())
    # 1050 degC and 8 K: 1058 degC is 1936.4 degF
    assert "upper limit 1936.4 °F" in text
    assert "°C" not in text


def test_surveys_are_listed_and_shown_again_as_they_were(tmp_path: Path) -> None:
    book, chart = tmp_path / "book", tmp_path / "again.png"
    run = survey_run(book)
    first = ask(book, "survey", run, "--sensors", "survey", "--band", "8", "--note", "rack out").stdout
    (line,) = ask(book, "survey", "--list").stdout.splitlines()[1:]
    assert line.split()[:3] == ["1", "shed", "2026-11-25"]
    again = ask(book, "survey", "--show", "1", "--chart", chart).stdout
    assert first.split("Entered as survey")[0] in again
    assert "rack out" in again
    assert chart.stat().st_size > 10_000
    (kept,) = json.loads(ask(book, "survey", "--list", "--json").stdout)
    assert kept["result"]["uniform"]["took_s"] == pytest.approx(50.0, abs=20.0)
    assert "no survey 7" in str(ask(book, "survey", "--show", "7").exception)
    assert "--list" in ask(book, "survey").output


@pytest.mark.parametrize(("names", "band", "status"), [("survey", "8", 0), ("survey", "2", 3), ("a,b", "8", 4)])
def test_a_survey_sets_the_exit_status_of_its_verdict(
    tmp_path: Path, names: str, band: str, status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ["survey", str(survey_run(tmp_path)), "--sensors", names, "--band", band, "--no-entry"]
    monkeypatch.setattr("sys.argv", ["soakwitness", *words, "--logbook", str(tmp_path)])
    assert run_main(soakwitness) == status
    monkeypatch.setattr("sys.argv", ["soakwitness", *words, "--logbook", str(tmp_path), "--exit-zero"])
    assert run_main(soakwitness) == 0


def test_things_farther_back_are_seen_smaller_and_towards_the_eye() -> None:
    x, y, small = seen_at((0.0, 1.0, 0.0))
    # The back wall is 1/1.75 as large, about the point (0.5, 0.62) from which one looks in.
    assert (x, y) == (pytest.approx(0.5 - 0.5 / 1.75), pytest.approx(0.62 - 0.62 / 1.75))
    assert small == pytest.approx(1 / 1.75)
    assert seen_at((0.3, 0.0, 0.7)) == (pytest.approx(0.3), pytest.approx(0.7), 1.0)


def test_the_log_book_s_corrections_count_with_the_u_they_have_grown_to(tmp_path: Path) -> None:
    """292 days are 0.8 of a year, so 1.6 of the 2 K that a base metal wire is assumed to drift in it; b has lapsed."""
    book = tmp_path / "book"
    readings = (0.0, 1200.0)
    with open_logbook(book, create=True) as opened:
        for sensor in PLACES:
            correction = Correction(
                furnace="shed",
                sensor=sensor,
                model="constant",
                why="one point",
                points=(CorrectionPoint(1050.0, -1.0, 2.0),),
                table_reading_c=readings,
                table_correction_c=(-1.0, -1.0),
                table_expanded_c=(2.0, 2.0),
                done_on="2026-02-06",
                due_on="2026-11-20" if sensor == "b" else "2027-02-06",
            )
            stamp = Stamp("2026-02-06T10:00:00Z", "anna")
            keep_correction(opened, correction, at_utc="2026-02-06T10:00:00Z", stamp=stamp)
    answer = ask(book, "survey", survey_run(book), "--sensors", "survey", "--band", "8", "--no-entry", "--json")
    assert "b: the calibration of 2026-02-06 is not used: overdue since 2026-11-20." in answer.stderr
    by_name = {one["name"]: one for one in json.loads(answer.stdout)["sensors"]}
    assert by_name["a"]["expanded_c"] == pytest.approx(2.0 * math.hypot(1.0, 1.6 / math.sqrt(3.0)), abs=0.01)
    assert by_name["b"]["correction_c"] == 0.0
