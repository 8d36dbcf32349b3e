"""The first three runs of a furnace, by what is really on record: simulated runs, their figures, packets, places."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from soakwitness.analysis.calibration.correcting.place_difference import entered_place
from soakwitness.analysis.logbook.packets import keep_measured
from soakwitness.analysis.logbook.place_differences import end_place, keep_place
from soakwitness.analysis.logbook.run_loads import enter_load
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.logbook.sensors import add_survey
from soakwitness.analysis.logbook.striking import strike_run
from soakwitness.analysis.recipes.recipe_file import load_recipe
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.analysis.waiting.waiting_first_runs import FirstRun, first_runs
from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from tests.make_sample_logs import FURNACE, SAMPLES, STAY, cold_charge, program
from tests.simulated_runs import Papers, write_run
from tests.waiting_days import PLAIN, Workshop, moment, stamp

SHED = "shed furnace"
DAY = 24.0


@pytest.fixture
def shed(tmp_path: Path) -> Workshop:
    return Workshop(tmp_path / "book", furnace=SHED)


def heated(shop: Workshop, hour: float, more: str = "", *, recipe: bool = True) -> str:
    """A heating of the simulated furnace, by default with a load sensor and nothing in it; return its run."""
    text = FURNACE.format(link=f"seed = {round(hour)}\n" + STAY + program() + more, load_mm=3.0)
    found = load_recipe(SAMPLES / "recipes" / "paring-blades.toml")
    said = {"recipe_name": found.name, "recipe_file": found.text} if recipe else {}
    made = write_run(parse_furnace(text, "shed.toml"), shop.folder, Papers(moment(hour), zone="UTC", **said))
    take_in(shop.book, stamp=stamp(hour))
    return made.name


def measured(shop: Workshop, run: str) -> None:
    refresh(shop.book, stamp=stamp(DAY), runs=[run], processes=1)


def empty(shop: Workshop, run: str) -> None:
    enter_load(shop.book, run=run, empty=True, stamp=stamp(DAY))


def three(shop: Workshop) -> tuple[FirstRun, FirstRun, FirstRun]:
    return first_runs(shop.book, shop.furnace)


def packet(shop: Workshop, learned_from: str, *, fitted: bool = True) -> int:
    text = f'fitted = {str(fitted).lower()}\nfitted_from = "{learned_from}"\nthickness_mm = 3.0\n'
    return keep_measured(shop.book, "roll.toml", text, since="2026-03-02", foil=True, stamp=stamp(1)).entry


def place(shop: Workshop, furnace: str = SHED) -> int:
    more = {"done_on": "2026-03-02", "due_on": None, "holds_error": False, "work_place": "", "why": "by eye"}
    point = entered_place(1040.0, -8.0, 3.0, **more)  # type: ignore[arg-type]
    return keep_place(shop.book, furnace, "control", point, at_utc=stamp(0).at_utc, stamp=stamp(1))


def test_an_empty_run_gives_climb_overshoot_and_hold(shed: Workshop) -> None:
    run = heated(shed, 0)
    assert not three(shed)[0].done  # nobody said that it was empty
    empty(shed, run)
    assert str(three(shed)[0].missing) == f"the figures of {run} are not measured yet"
    assert three(shed)[0].settle == "soakwitness condition 'shed furnace'"
    measured(shed, run)
    first = three(shed)[0]
    assert (first.done, first.missing, first.settle) == (True, None, None)
    says = str(first.gave[0])
    assert says.startswith(f"{run}: climbed at full power at ")
    told = re.search(r"and ([\d.]+) °C/h from 600 °C to 700 °C", says)
    assert told is not None
    with open(shed.folder / "runs" / run / "samples.csv", newline="", encoding="utf-8") as file:
        rows = [(float(row["t_s"]), float(row["control"])) for row in csv.DictReader(file)]
    at_600, at_700 = (next(t for t, temp_c in rows if temp_c >= edge) for edge in (600.0, 700.0))
    assert float(told[1]) == pytest.approx(100 * 3600 / (at_700 - at_600), rel=0.04)  # a row every 5 s of some 360
    assert re.search(r"held 1040 °C within 0\.\d °C at \d+ % output$", says)  # its noise, and no overshoot
    assert "°F/h from 1112 °F to 1292 °F" in first.gave[0].text("F")  # 600 x 1.8 + 32


def test_a_run_without_a_recipe_tells_of_the_climb_and_says_what_is_missing(shed: Workshop) -> None:
    run = heated(shed, 0, recipe=False)
    empty(shed, run)
    measured(shed, run)
    first = three(shed)[0]
    assert (first.done, first.settle) == (True, f"soakwitness piece charge next --empty --furnace '{SHED}'")
    assert "climbed" in str(first.gave[0])
    assert "through no hold of a recipe" in str(first.missing)


def test_an_empty_run_that_was_never_hot_is_none(shed: Workshop) -> None:
    run = shed.run(0, PLAIN, temps=[20.0, 20.1, 20.0, 19.9, 20.0, 20.1] * 20)
    empty(shed, run)
    measured(shed, run)
    first = three(shed)[0]
    assert (first.done, str(first.missing)) == (
        False, f"{run} is said to be empty, but it shows neither climb nor hold",
    )  # fmt: skip


def test_a_sensor_in_an_empty_run_is_a_second_sensor_and_in_a_charged_one_a_packets(shed: Workshop) -> None:
    run = heated(shed, 0)
    _, second, third = three(shed)
    assert (second.settle, third.done) == ("soakwitness place --help", False)
    assert third.settle == f"soakwitness packet fit {run} --load load --thickness-mm MM --out packet.toml --keep"
    empty(shed, run)
    _, second, third = three(shed)
    assert second.settle == f"soakwitness place measure {run} --work load"
    assert third.settle == "soakwitness packet fit --help"


def test_a_place_difference_or_a_survey_settles_the_second(shed: Workshop) -> None:
    shed.run(0, PLAIN)
    place(shed, "kiln")  # of another furnace
    assert not three(shed)[1].done
    entry = place(shed)
    second = three(shed)[1]
    assert second.done
    assert [str(one) for one in second.gave] == [
        "the work's place at 1040 °C has -8 °C ± 3 °C beside control, on 2026-03-02"
    ]
    end_place(shed.book, entry, at_utc=stamp(5).at_utc, why="shelf raised", stamp=stamp(5))
    assert (three(shed)[1].done, str(three(shed)[1].missing)) == (
        False, "the work stands elsewhere since the place difference ended",
    )  # fmt: skip
    add_survey(shed.book, SHED, done_on="2026-03-05", due_on=None, result={}, stamp=stamp(4 * DAY))
    assert (three(shed)[1].done, str(three(shed)[1].gave[0])) == (True, "surveyed on 2026-03-05")


def test_a_measured_packet_settles_the_third_and_a_guessed_one_does_not(shed: Workshop) -> None:
    run = heated(shed, 0, cold_charge())
    packet(shed, "", fitted=False)
    assert not three(shed)[2].done
    packet(shed, "20260101T070000Z_kiln_0001")
    assert str(three(shed)[2].gave[0]).endswith("learned from 20260101T070000Z_kiln_0001, in another furnace")
    packet(shed, run)
    assert str(three(shed)[2].gave[0]) == f"roll.toml: a packet of foil of 3 mm, learned from {run}"


def test_a_run_struck_out_is_no_first_run(shed: Workshop) -> None:
    run = heated(shed, 0)
    empty(shed, run)
    strike_run(shed.book, run, why="a trial", stamp=stamp(2))
    assert [one.done for one in three(shed)] == [False] * 3
    assert three(shed)[1].settle == "soakwitness place --help"


def test_today_has_one_line_a_furnace_until_all_is_on_record(shed: Workshop) -> None:
    run = shed.run(0, PLAIN)
    (act,) = shed.acts(5, "first runs")
    assert str(act.says).startswith(f"{SHED}, 0 of its 3 first runs on record: no run without a charge is on record; ")
    place(shed)
    packet(shed, "20260101T070000Z_kiln_0001")
    assert "2 of its 3" in shed.says(5, "first runs")[0]
    empty(shed, run)
    assert shed.acts(5, "first runs") == []


def test_a_furnace_known_for_a_year_is_not_asked_however_few_its_runs(shed: Workshop) -> None:
    shed.run(0, PLAIN)
    shed.run(300 * DAY, PLAIN)
    assert len(shed.acts(301 * DAY, "first runs")) == 1
    shed.run(364 * DAY, PLAIN)
    assert shed.acts(366 * DAY, "first runs") == []
