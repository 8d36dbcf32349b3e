"""Plans in the log book: which run each is for, and what is learned from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.exporting import export_book
from soakwitness.analysis.logbook.plans import keep_plan, learn_anew, plan_of_run, plans_to_learn_from
from soakwitness.analysis.planning.plan_and_run import how_it_did, lag_pair, plan_and_run
from soakwitness.analysis.record.moments import Stamp
from tests.log_books import LATER, new_book

LAG = {"low_s": 60.0, "best_s": 120.0, "high_s": 240.0}
SOAK = {"low_s": 1500.0, "best_s": 1620.0, "high_s": 1680.0}
PLAN: dict[str, Any] = {
    "furnace": "shed",
    "recipe_digest": "abc",
    "recipe": "Harden",
    "learned": None,
    "holds": [{"step": 4, "pieces": [{"lag_s": LAG, "soak_s": SOAK}]}],
}
ANSWER: dict[str, Any] = {
    "temperature_from": "load",
    "steps": [{"step": 4, "found": True, "lag_s": {"best": 150.0}, "soak_s": {"best": 1590.0}}],
}


def at(moment: str) -> Stamp:
    return Stamp(f"2026-11-{moment}:00Z", "Ana")


@pytest.mark.parametrize(
    ("started", "found"),
    [
        ("26T08:30", True),
        ("26T07:50", True),  # it may be kept while the furnace climbs already
        ("26T07:40", False),
        ("28T07:00", True),
        ("28T09:00", False),  # two days later it was not meant for this run
    ],
)
def test_a_plan_is_for_the_next_run(tmp_path: Path, started: str, found: bool) -> None:
    """Kept at 8:00 for a start at half past: from a quarter of an hour before its keeping to two days after."""
    book = new_book(tmp_path)
    keep_plan(book, PLAN, packet="generic", starts_utc="2026-11-26T08:30:00Z", stamp=at("26T08:00"))
    kept = plan_of_run(book, "Shed", "abc", f"2026-11-{started}:00Z")
    assert (kept is not None) is found
    assert plan_of_run(book, "shed", "other recipe", "2026-11-26T08:30:00Z") is None
    assert plan_of_run(book, "other furnace", "abc", "2026-11-26T08:30:00Z") is None


def test_the_newest_of_several_counts_and_a_struck_one_does_not(tmp_path: Path) -> None:
    book = new_book(tmp_path)
    first = keep_plan(book, PLAN, packet="generic", starts_utc="2026-11-26T08:30:00Z", stamp=at("26T08:00"))
    second = keep_plan(book, PLAN, packet="generic", starts_utc="2026-11-26T08:30:00Z", stamp=at("26T08:10"))
    assert plan_of_run(book, "shed", "abc", "2026-11-26T08:30:00Z") == second
    strike(book, "plans", [second.entry], why="the wrong blades", stamp=LATER)
    assert plan_of_run(book, "shed", "abc", "2026-11-26T08:30:00Z") == first


def test_learning_begins_anew_and_that_can_be_taken_back(tmp_path: Path) -> None:
    book = new_book(tmp_path)
    keep_plan(book, PLAN, packet="generic", starts_utc="2026-11-24T08:30:00Z", stamp=at("24T08:00"))
    keep_plan(book, PLAN, packet="digest", starts_utc="2026-11-24T08:30:00Z", stamp=at("24T08:01"))
    assert [one.packet for one in plans_to_learn_from(book, "shed", "generic")] == ["generic"]
    reset = learn_anew(book, "shed", stamp=at("25T08:00"))
    assert plans_to_learn_from(book, "shed", "generic") == ()
    strike(book, "plan_resets", [reset], why="the foil was the same", stamp=LATER)
    assert len(plans_to_learn_from(book, "shed", "generic")) == 1


def test_plans_are_exported(tmp_path: Path) -> None:
    book = new_book(tmp_path / "book")
    keep_plan(book, PLAN, packet="generic", starts_utc="2026-11-26T08:30:00Z", stamp=at("26T08:00"))
    export_book(book, tmp_path / "out", samples=False)
    assert "generic" in (tmp_path / "out" / "plans.csv").read_text()
    assert (tmp_path / "out" / "plan_resets.csv").exists()


def test_a_run_is_put_beside_its_plan_in_one_line() -> None:
    found = plan_and_run(PLAN, ANSWER)
    assert found is not None
    assert how_it_did(found) == (
        "Planned: lag 2 min (1 to 4 min), soak 27 min (25 to 28 min); measured: lag 2.5 min and soak 26.5 min."
    )


def test_only_what_a_load_sensor_measured_teaches_and_what_was_learned_is_taken_out_again() -> None:
    pair = lag_pair("r", PLAN, ANSWER)
    assert pair is not None
    assert (pair.planned_s, pair.measured_s) == (120.0, 150.0)
    taught = PLAN | {"learned": {"runs": 6, "factor": 1.2, "spread": 0.1, "used": True}}
    again = lag_pair("r", taught, ANSWER)
    assert again is not None
    assert again.planned_s == pytest.approx(100.0)
    assert lag_pair("r", PLAN, ANSWER | {"temperature_from": "packet estimate"}) is None
    assert plan_and_run(PLAN, ANSWER | {"temperature_from": "control"}) is None
    assert plan_and_run(PLAN | {"holds": []}, ANSWER) is None
