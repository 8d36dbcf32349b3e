"""What is known of a run is gathered once: everyone who judges it rests on the same."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.kept import kept_answer
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import give_recipe, run_named, take_in
from soakwitness.analysis.logbook.sensors import add_calibration, fit_sensor, withdraw_calibration
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.run_inputs.for_clock import clock_inputs_of
from soakwitness.analysis.run_inputs.gathered import inputs_of_entry, run_inputs
from soakwitness.analysis.run_inputs.known_inputs import RunInputs
from soakwitness.firmware_bridge.runfolder.contents import Column, Mark
from tests.bad_batches import FLAT
from tests.calibration_runs import make_run, true_c
from tests.log_books import STAMP, new_book

SHED = FLAT | {"furnace": "shed", "sensor": "chamber"}
CHAMBER = Column("chamber", "sensor", "C", role="control", resolution=0.1)
RECIPE = """name = "Harden"
load = "cold"
decide_on = "true temperature"
[[step]]
ramp = "full power"
to = 1050
[[step]]
hold_minutes = 25
tolerance = 12
"""
NIGHT_UTC = 1_795_563_000.0  # 2026-11-24T23:30:00Z: in Vienna it is half past midnight of the 25th


def book_with(folder: Path, column: Column = CHAMBER, *, started_utc: float = NIGHT_UTC) -> tuple[LogBook, Path]:
    """A log book with one run of the furnace ``shed``, its zone Europe/Vienna, and a recipe for it."""
    run = make_run(folder, {column: true_c}, started_utc=started_utc).path
    book = new_book(folder, "B-1", "B-2", thickness_mm=3.0)
    take_in(book, stamp=STAMP)
    give_recipe(book, run.name, "Harden", RECIPE, stamp=STAMP)
    return book, run


def known(book: LogBook) -> RunInputs:
    return inputs_of_entry(book, run_named(book, "last"))


def calibrated(book: LogBook, life: int, **facts: Any) -> int:
    """A calibration of the sensor ``chamber``; facts such as ``done_on``, ``due_on`` and ``table``."""
    correction = SHED | facts
    days = {"done_on": facts["done_on"], "due_on": facts["due_on"]}
    return add_calibration(book, life=life, done_by="Ana", correction=correction, stamp=STAMP, **days)


def test_a_wire_class_that_only_the_log_book_knows_counts_for_everyone(tmp_path: Path) -> None:
    """Class 2 of type K: 0.75 % of 1050 is 7.9 K (IEC 60584-1); the hold stands on its target in a band of 12."""
    book, run = book_with(tmp_path)
    fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP, thermocouple="K", tolerance_class="2")
    inputs = known(book)
    assert (inputs.header.columns[0].thermocouple, inputs.header.columns[0].tolerance_class) == ("K", "2")
    judged = inputs.judged(open_run(run))
    refresh(book, stamp=STAMP)
    answer = kept_answer(book, run.name)
    assert answer is not None
    assert (judged.verdict, answer["verdict"]) == ("pass", "pass")
    assert answer["sensor_error"]["source"] == "tolerance class"
    assert answer["findings"] == inputs.answer(judged)["findings"]


def test_a_run_that_says_something_else_of_its_sensor_keeps_its_own_words(tmp_path: Path) -> None:
    book, _ = book_with(tmp_path, replace(CHAMBER, serial="K-9"))
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP, serial="K-1", tolerance_class="2")
    calibrated(book, life, done_on="2026-02-01", due_on=None)
    inputs = known(book)
    assert inputs.header.columns[0].tolerance_class is None
    assert inputs.corrections == {}
    assert "serial K-9, the log book K-1" in str(inputs.refused[0])
    assert inputs.sensors["chamber"].serial == "K-9"
    assert inputs.sensors["chamber"].calibrated_on is None


def test_a_correction_of_the_log_book_reaches_the_verdict_and_the_clock(tmp_path: Path) -> None:
    """Shown 1050, and the calibration takes 9 off: 1041 of 1050 +-12, 3 above the lower edge, with a U of 2."""
    book, run = book_with(tmp_path)
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP)
    table = {"reading_c": [20.0, 1100.0], "correction_c": [-9.0, -9.0], "expanded_c": [2.0, 2.0]}
    calibrated(book, life, done_on="2026-02-01", due_on=None, table=table)
    inputs = known(book)
    (hold,) = inputs.judged(open_run(run)).holds
    # 297 days of the 365 in which a drift of 2 K (half-width) is assumed to come: by hand 2 hypot(1, 1.627/sqrt 3)
    assert (hold.known.source, hold.known.correction_c) == ("calibration", -9.0)
    assert hold.known.expanded_c == pytest.approx(2.744, abs=0.001)
    assert hold.level_c == pytest.approx(1041.0, abs=0.2)
    assert hold.shown_c == pytest.approx(1050.0, abs=0.2)
    assert hold.verdict == "pass"
    assert clock_inputs_of(inputs, ()).of("chamber").added_c == (-9.0,)
    refresh(book, stamp=STAMP)
    answer = kept_answer(book, run.name)
    assert answer is not None
    assert answer["steps"][1]["sensor_error"]["correction_c"] == -9.0
    assert answer["verdict"] == "pass"


def test_a_cold_treatment_that_was_entered_is_not_asked_for_again(tmp_path: Path) -> None:
    book, run = book_with(tmp_path)
    order = 'order = ["harden", "cold treatment", "temper"]\n'
    give_recipe(book, run.name, "Harden", order + RECIPE, stamp=STAMP)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name)

    def notes() -> list[str]:
        return [str(f.says) for f in known(book).judged(open_run(run)).findings if f.code == "not on record"]

    assert any("shows no cold treatment" in says for says in notes())
    add_treatment(book, ["B-1"], "cold treatment", start_utc="2026-11-25T12:00:00Z", lowest_c=-78.0, stamp=STAMP)
    assert known(book).pieces[0].treated == ("cold treatment",)
    assert notes() == []


def test_a_charge_is_named_as_one_reads_it(tmp_path: Path) -> None:
    book, run = book_with(tmp_path)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name, place="front", foil=False, blades=2, heated_faces=1)
    charge_pieces(book, ["B-2"], stamp=STAMP, run=run.name)
    first, second = known(book).pieces
    assert (first.charge, second.charge) == ("charge 1", "charge 2")
    assert (first.place, first.foil, first.blades, first.heated_faces) == ("front", False, 2, 1)
    assert first.thickness_mm == 3.0


@pytest.mark.parametrize(
    ("done_on", "due_on", "used", "overdue"),
    [
        ("2026-11-25", "2027-11-25", True, False),  # done on the run's own day, which in UTC is not there yet
        ("2026-11-26", None, False, False),
        ("2026-01-01", "2026-11-25", True, False),  # due that day: not overdue yet
        ("2026-01-01", "2026-11-24", True, True),  # by the day in UTC it would still be in force
    ],
)
def test_a_calibration_counts_on_the_day_of_the_run_in_its_own_zone(
    tmp_path: Path, done_on: str, due_on: str | None, used: bool, overdue: bool
) -> None:
    book, _ = book_with(tmp_path)
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP)
    calibrated(book, life, done_on=done_on, due_on=due_on)
    inputs = known(book)
    assert ("chamber" in inputs.corrections) == used
    assert inputs.sensors["chamber"].overdue == overdue
    assert inputs.sensors["chamber"].calibrated_on == (done_on if used else None)


def test_a_sensor_fitted_later_on_the_day_of_the_run_is_another(tmp_path: Path) -> None:
    book, _ = book_with(tmp_path)
    first = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP, serial="K-1")
    fit_sensor(book, "shed", "chamber", fitted_utc="2026-11-25T06:00:00Z", stamp=STAMP, serial="K-2")
    assert (known(book).sensors["chamber"].life, known(book).sensors["chamber"].serial) == (first, "K-1")


def test_a_withdrawn_calibration_is_named_and_not_used(tmp_path: Path) -> None:
    book, _ = book_with(tmp_path)
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP)
    entry = calibrated(book, life, done_on="2026-02-01", due_on=None)
    withdraw_calibration(book, entry, why="wrong reference", stamp=STAMP)
    assert known(book).corrections == {}
    assert "wrong reference" in str(known(book).refused[0])


def test_the_recipe_given_goes_before_the_log_book_s_and_that_before_the_run_s(tmp_path: Path) -> None:
    book, run = book_with(tmp_path)
    header = replace(open_run(run).header, recipe_name="own", recipe_file=RECIPE.replace("Harden", "own"))
    tried = parse_recipe(RECIPE.replace("Harden", "tried"))

    def name(in_book: LogBook | None, **more: object) -> str | None:
        recipe = run_inputs(in_book, run, header, (), **more).recipe  # type: ignore[arg-type]
        return None if recipe is None else recipe.name

    assert name(book, recipe=tried) == "tried"
    assert name(book) == "Harden"
    assert name(None) == "own"
    assert run_inputs(None, run, replace(header, recipe_file=None), ()).recipe is None


def test_a_recipe_that_cannot_be_read_leaves_the_rest(tmp_path: Path) -> None:
    book, run = book_with(tmp_path)
    give_recipe(book, run.name, "broken", "name = 3", stamp=STAMP)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name)
    inputs = known(book)
    assert inputs.recipe is None
    assert "broken" in (inputs.trouble or "")
    assert [p.id for p in inputs.pieces] == ["B-1"]


def test_pieces_are_spelled_as_the_marks_spell_them(tmp_path: Path) -> None:
    """Upper and lower case count as the same piece: else its thickness is lost on the way."""
    book, run = book_with(tmp_path)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name)
    marks = (Mark(10.0, "load", ("b-1", "x-9")), Mark(20.0, "pull", ("b-2",), struck=True))
    pieces = run_inputs(book, run, open_run(run).header, marks).pieces
    assert [(p.id, p.thickness_mm) for p in pieces] == [("b-1", 3.0), ("x-9", None)]


def test_a_run_elsewhere_is_judged_with_what_the_log_book_knows_of_its_pieces(tmp_path: Path) -> None:
    book, _ = book_with(tmp_path / "book")
    elsewhere = make_run(tmp_path / "other", {CHAMBER: true_c}).path
    pieces = run_inputs(book, elsewhere, open_run(elsewhere).header, (Mark(10.0, "load", ("B-1",)),)).pieces
    assert [(p.id, p.thickness_mm) for p in pieces] == [("B-1", 3.0)]


def test_pieces_that_wait_for_this_run_are_in_it(tmp_path: Path) -> None:
    book, run = book_with(tmp_path, started_utc=1_795_597_500.0)  # 2026-11-25T09:05:00Z, five minutes after the entry
    add_pieces(book, [Piece("C-1", thickness_mm=10.0)], stamp=STAMP)
    charge_pieces(book, ["C-1"], stamp=STAMP, next_of="shed")
    charge_pieces(book, ["B-2"], stamp=STAMP, next_of="another furnace")
    assert [p.id for p in known(book).pieces] == ["C-1"]
    earlier = replace(open_run(run).header, run="another", started_utc="2026-11-25T08:00:00Z")
    assert run_inputs(book, run, earlier, ()).pieces == ()


def test_what_was_done_to_the_pieces_is_there(tmp_path: Path) -> None:
    book, run = book_with(tmp_path)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name)
    add_treatment(book, ["B-1"], "cold treatment", start_utc="2026-11-25T12:00:00Z", lowest_c=-78.0, stamp=STAMP)
    (treatment,) = known(book).treatments["B-1"]
    assert treatment.kind == "cold treatment"


def test_an_empty_furnace_is_known_to_be_empty(tmp_path: Path) -> None:
    from soakwitness.analysis.logbook.kept import kept_condition
    from soakwitness.analysis.logbook.run_loads import enter_load

    book, run = book_with(tmp_path)
    refresh(book, stamp=STAMP)
    assert kept_condition(book, [run.name])[run.name].charged is None
    enter_load(book, run=run.name, empty=True, stamp=STAMP)
    refresh(book, stamp=STAMP)
    assert kept_condition(book, [run.name])[run.name].charged is False
