"""``soakwitness today`` as its user meets it: one screen, one sentence a line, the command under it."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.run_loads import enter_load
from soakwitness.analysis.waiting import waiting_acts, what_waits
from soakwitness.cli.commands import today as command
from soakwitness.cli.main import soakwitness
from soakwitness.cli.words.waiting_words import MOST_LINES, today_json, today_lines
from tests.log_books import OPENED, new_book
from tests.waiting_days import MORNING, PLAIN, TWICE, Workshop, stamp

HOURS_TO_NOW = (datetime.now(UTC) - MORNING).total_seconds() // 3600 - 24  # the command reads the clock


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    made = Workshop(tmp_path / "book")
    yield made
    made.close()


def says(folder: Path, *words: str, status: int = 0) -> Result:
    env = {"SOAKWITNESS_LOGBOOK": str(folder), "SOAKWITNESS_USER": "Ana", "COLUMNS": "80"}
    answer = CliRunner().invoke(soakwitness, ["today", *words], env=env, standalone_mode=False)
    found = getattr(answer.exception, "exit_code", 1) if answer.exception else answer.return_value or 0
    assert found == status, (answer.exception, answer.output)
    return answer


def test_it_looks_back_as_far_as_the_analysis_does() -> None:
    assert command.LOOK_BACK_DAYS == what_waits.LOOK_BACK_DAYS


def test_no_log_book_is_said_in_one_line(tmp_path: Path) -> None:
    answer = says(tmp_path / "none", status=2)
    assert "there is no log book here" in str(answer.exception)


def test_an_empty_log_book_says_that_nothing_waits(tmp_path: Path) -> None:
    new_book(tmp_path / "book").close()
    answer = says(tmp_path / "book")
    assert answer.stdout == "Nothing is waiting.\n"


def test_the_first_line_is_what_matters_most_and_its_command_stands_below(shop: Workshop) -> None:
    shop.pieces("B-1", "B-2")
    shop.run(0, PLAIN, "B-1", "B-2", pull=[(1.5, [])])
    lines = today_lines(shop.waits(4), "C")
    assert click.unstyle(lines[0]) == "B-1 and B-2: quenched 2 h 30 min ago, no temper on record."
    assert lines[1] == "      soakwitness piece treatment temper B-1 B-2"


def test_no_colour_where_none_is_wanted(shop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    shop.run(0, PLAIN, pull=[(1.5, ["B-1"])])
    lines = today_lines(shop.waits(4), "C")
    assert lines == [click.unstyle(line) for line in lines]


def many(shop: Workshop, count: int) -> None:
    shop.pieces(f"B-001..B-{count:03d}")
    for number in range(count):
        shop.run(number, TWICE, f"B-{number + 1:03d}", hours=0.9, pull=[(0.5, [])])


@pytest.mark.parametrize("columns", ["60", "80", "100"])
def test_it_fills_one_screen_and_counts_the_rest(shop: Workshop, monkeypatch: pytest.MonkeyPatch, columns: str) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    many(shop, 20)
    waiting = shop.waits(30)
    lines = [click.unstyle(line) for line in today_lines(waiting, "C")]
    assert len(lines) <= MOST_LINES
    assert all(len(line) <= int(columns) for line in lines)
    shown = sum(not line.startswith(" ") for line in lines) - 1
    assert lines[-1] == f"Not shown: {len(waiting.acts) - shown} more: soakwitness today --all"
    whole = today_lines(waiting, "C", every=True)
    assert sum(not click.unstyle(line).startswith(" ") for line in whole) == len(waiting.acts)


def test_one_that_just_fits_is_shown(shop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    many(shop, 12)
    acts = shop.waits(14).acts
    twelve = waiting_acts.Waiting("2026-03-02T21:00:00Z", tuple(a for a in acts if a.kind == "temper"), (), 30)
    lines = today_lines(twelve, "C")
    assert (len(twelve.acts), len(lines)) == (12, 24)


def test_what_is_being_recorded_stands_under_the_first(shop: Workshop) -> None:
    run = shop.run(0, PLAIN, hours=1, goes_on=True)
    lines = today_lines(shop.waits(1.05), "C")
    assert "Being recorded: shed, recipe, for 63 min." in lines
    assert today_json(shop.waits(1.05), "C")["recording"][0]["run"] == run


def test_signs_that_a_terminal_acts_on_are_not_printed(shop: Workshop) -> None:
    shop.furnace = "sh\x1b[2Jed"
    shop.run(0, PLAIN, cut_off=True)
    text = click.unstyle("\n".join(today_lines(shop.waits(5), "C")))
    assert "\x1b" not in text
    assert "sh\N{REPLACEMENT CHARACTER}[2Jed" in text


def test_the_answer_for_programs_has_all_of_it(shop: Workshop) -> None:
    shop.run(0, PLAIN, cut_off=True, temps=[20.0, 1040.0])
    shop.book.close()
    told = json.loads(says(shop.folder, "--json", "--unit", "F", "--days", "3660").stdout)
    assert told["schema"] == "soakwitness/today/1"
    (act,) = [act for act in told["waiting"] if act["kind"] == "recording"]
    assert "1904 °F" in act["says"]  # 1040 x 1.8 + 32
    assert set(act) == {"kind", "urgency", "says", "settle", "concerns", "page", "since_utc", "for_s", "due_on"}
    OPENED.remove(shop.book)


def test_what_is_not_needed_is_set_aside_by_a_range_and_taken_back(shop: Workshop) -> None:
    shop.pieces("B-1..B-3")
    shop.run(0, PLAIN, "B-1", "B-2", "B-3", pull=[(1.5, [])])
    shop.book.close()
    OPENED.remove(shop.book)
    days = ("--days", "3660")
    assert "B-1 to B-3" in says(shop.folder, *days).stdout
    answer = says(shop.folder, "B-1..B-2", "--not-needed", "temper", "--why", "scrap")
    assert answer.stdout == "Not asked for any more: temper of B-1..B-2 (entries 1 to 2).\n"
    assert "B-3: quenched" in says(shop.folder, *days).stdout
    assert "temper: B-1, by Ana" in says(shop.folder, "--set-aside").stdout
    assert [one["subject"] for one in json.loads(says(shop.folder, "--set-aside", "--json").stdout)["set_aside"]] == [
        "B-1", "B-2",
    ]  # fmt: skip
    env = {"SOAKWITNESS_LOGBOOK": str(shop.folder)}
    words = ["logbook", "strike", "set-aside", "1", "--why", "kept"]
    assert CliRunner().invoke(soakwitness, words, env=env).exit_code == 0
    assert "B-1 and B-3" in says(shop.folder, *days).stdout


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("B-1", "--not-needed", "tempering", "--why", "x"), "tempering: no such kind"),
        (("B-9", "--not-needed", "temper", "--why", "x"), "B-9: no such piece"),
        (("B-1", "--not-needed", "temper"), "--why"),
        (("B-1",), "belong to --not-needed"),
        (("--why", "x"), "belong to --not-needed"),
        (("B-1", "--not-needed", "temper", "--why", "x", "--until", "Friday"), "Friday"),
        (("--zone", "Nowhere/Land"), "Nowhere/Land"),
    ],
)
def test_wrong_use_is_told(tmp_path: Path, words: tuple[str, ...], part: str) -> None:
    book = new_book(tmp_path / "book")
    add_pieces(book, [Piece("B-1")], stamp=stamp(0))
    assert part in str(says(tmp_path / "book", *words, status=2).exception)


def test_pieces_only_marks_name_furnaces_and_sensors_can_be_set_aside(shop: Workshop) -> None:
    run = shop.run(0, PLAIN, pull=[(1.5, ["fat knife"])])
    for subject in ("fat knife", "SHED", run, run[:12]):
        assert "Not asked for" in says(shop.folder, subject, "--not-needed", "temper", "--why", "x").stdout
    (last,) = {one["subject"] for one in json.loads(says(shop.folder, "--set-aside", "--json").stdout)["set_aside"][2:]}
    assert last == run


def test_first_runs_stand_with_their_words_and_commands(shop: Workshop) -> None:
    answer = says(shop.folder, "--first-runs")
    assert (answer.stdout, answer.stderr) == ("", "No furnace had a run in the last 90 days.\n")
    run = shop.run(HOURS_TO_NOW, PLAIN)
    lines = says(shop.folder, "--first-runs").stdout.splitlines()
    assert lines[0] == "shed: 0 of 3 first runs on record."
    assert lines[1].startswith("1 Empty, missing: no run without a charge is on record. ")
    assert "      soakwitness piece charge next --empty --furnace shed" in lines
    assert all(len(line) <= 80 for line in lines)
    enter_load(shop.book, run=run, empty=True, stamp=stamp(0))
    (shed,) = json.loads(says(shop.folder, "--first-runs", "--json").stdout)["furnaces"]
    assert [one["done"] for one in shed["first_runs"]] == [True, False, False]
    assert shed["first_runs"][0]["settle"] == "soakwitness condition shed"
