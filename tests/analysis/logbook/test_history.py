from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.history import History, order_findings, piece_history, run_kinds
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import give_recipe, run_named
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from tests.furnace_days import HARDEN, TEMPER
from tests.log_books import STAMP, book_with_run


@pytest.fixture
def book(tmp_path: Path) -> LogBook:
    """A piece hardened on 2026-11-25, 07:15 to 07:16, by a recipe that states cold treatment and two tempers."""
    opened, run = book_with_run(tmp_path, "C-1")
    charge_pieces(opened, ["C-1"], stamp=STAMP, run=run)
    give_recipe(opened, run, "harden", HARDEN, stamp=STAMP)
    return opened


def treat(book: LogBook, kind: str, start: str, hours: float = 2.0) -> None:
    from soakwitness.analysis.record.moments import later, moment_of

    add_treatment(book, ["C-1"], kind, start_utc=start, end_utc=later(moment_of(start), hours * 3600), stamp=STAMP)


def codes(life: History) -> list[tuple[str, str]]:
    return [(f.code, f.severity) for f in life.findings]


def test_a_life_in_order_has_no_findings(book: LogBook) -> None:
    treat(book, "cold treatment", "2026-11-25T08:00:00Z")
    treat(book, "temper", "2026-11-25T12:00:00Z")
    treat(book, "temper", "2026-11-25T16:00:00Z")
    add_hardness(
        book,
        "C-1",
        HardnessReading((59.0,) * 3),
        measured_utc="2026-11-25T20:00:00Z",
        side="after",
        step="temper",
        stamp=STAMP,
    )
    life = piece_history(book, "c-1")
    assert [s.kind for s in life.steps] == ["harden", "cold treatment", "temper", "temper", "hardness"]
    assert codes(life) == []


def test_what_is_not_on_record_is_a_note_and_nothing_more(book: LogBook) -> None:
    treat(book, "cold treatment", "2026-11-25T08:00:00Z")
    treat(book, "temper", "2026-11-25T12:00:00Z")
    life = piece_history(book, "C-1")
    assert codes(life) == [("not on record", "note")]
    assert life.findings[0].says == "The second temper that the recipe states is not on record."


def test_late_steps_are_told_with_their_hours(book: LogBook) -> None:
    treat(book, "cold treatment", "2026-11-26T07:16:00Z")  # 24 h after the run's end
    treat(book, "temper", "2026-11-29T09:16:00Z")  # 72 h after the cold treatment's end
    treat(book, "temper", "2026-12-20T09:00:00Z")  # a second temper may wait
    life = piece_history(book, "C-1")
    assert codes(life) == [("cold treatment late", "warn"), ("tempered late", "warn")]
    assert "24 h" in life.findings[0].says
    assert "3 days" in life.findings[1].says


def test_another_order_than_the_recipe_s_is_told(book: LogBook) -> None:
    treat(book, "temper", "2026-11-25T08:00:00Z")
    treat(book, "cold treatment", "2026-11-25T12:00:00Z")
    treat(book, "temper", "2026-11-25T16:00:00Z")
    assert ("other order", "warn") in codes(piece_history(book, "C-1"))


def test_a_recipe_that_states_no_order_asks_for_none(book: LogBook) -> None:
    plain = HARDEN.replace('order = ["harden", "cold treatment", "temper", "temper"]\n', "")
    give_recipe(book, run_named(book, "last").run, "plain", plain, stamp=STAMP)
    assert codes(piece_history(book, "C-1")) == []


def test_runs_are_known_by_their_recipe() -> None:
    harden, temper = parse_recipe(HARDEN, "h"), parse_recipe(TEMPER, "t")
    double = parse_recipe(TEMPER.replace('unit = "C"', 'unit = "C"\nrepeat = 2\ncool_below = 50'), "d")
    assert run_kinds(harden, hardened=False) == ("harden",)
    assert run_kinds(temper, hardened=True) == ("temper",)
    assert run_kinds(double, hardened=True) == ("temper", "temper")
    assert run_kinds(temper, hardened=False) == ("stress relief",)
    assert run_kinds(None, hardened=False) == ("run",)


def test_no_steps_no_findings() -> None:
    assert order_findings([], []) == ()
