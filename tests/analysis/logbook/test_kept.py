"""Kept verdicts and figures: computed once, stale when what they rest on changes, the same in parallel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.logbook import kept
from soakwitness.analysis.logbook.charges import charge_pieces, pieces_in_run
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.inputs import run_inputs
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces, change_piece
from soakwitness.analysis.logbook.runs import give_recipe, run_named, take_in
from soakwitness.analysis.logbook.sensors import add_calibration, fit_sensor, withdraw_calibration
from soakwitness.analysis.logbook.sheetdata import sheet_data
from soakwitness.analysis.recipes.file import parse_recipe
from soakwitness.analysis.runs import open_run
from soakwitness.analysis.verification.verifying import verify
from tests.bad_batches import FLAT
from tests.furnace_days import HARDEN, TEMPER, Blade, Day, Fitting, live, record
from tests.log_books import LATER, STAMP, new_book

PLAIN = HARDEN.replace("[packet]\nthickness_mm = 3.0\nfoil = true\n", "")  # the control sensor decides: quick


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("recorded")
    record(live(Day(blades=(Blade("B-1"), Blade("B-2", pull_after_s=60.0)))), Fitting(), folder, ("harden", PLAIN))
    return folder


@pytest.fixture
def book(recorded: Path, tmp_path: Path) -> Iterator[LogBook]:
    (tmp_path / "runs").symlink_to(recorded / "runs")
    with new_book(tmp_path, "B-1", "B-2", thickness_mm=3.0, customer="Huber") as opened:
        add_pieces(opened, [Piece("M-1", customer="Maier")], stamp=STAMP)
        take_in(opened, stamp=STAMP)
        kept.refresh(opened, stamp=STAMP)
        yield opened


def run_of(book: LogBook) -> str:
    return run_named(book, "last").run


def test_figures_and_verdict_are_kept_with_the_version_that_made_them(book: LogBook) -> None:
    run = run_of(book)
    assert kept.stale_runs(book) == []
    assert run_named(book, run).verdict == kept.kept_answer(book, run)["verdict"]  # type: ignore[index]
    row = book.row("SELECT analysis_version, made_utc FROM figures WHERE run = ?", run)
    assert row is not None
    assert tuple(row) == (kept.ANALYSIS_VERSION, STAMP.at_utc)
    assert kept.kept_figures(book, [run, "none"])[run].run == run
    assert [c.run for c in kept.furnace_condition(book, "small furnace")] == [run]


def test_another_version_makes_everything_stale(book: LogBook, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept, "ANALYSIS_VERSION", "later")
    assert kept.stale_runs(book) == [run_of(book)]
    assert kept.kept_answer(book, run_of(book)) is None
    assert kept.refresh(book, stamp=LATER) == ()
    assert kept.stale_runs(book) == []


@pytest.mark.parametrize(
    "what", ["charge", "charge struck", "thickness", "calibration", "withdrawn", "sensor", "recipe"]
)
def test_what_figures_rest_on_makes_them_stale(book: LogBook, what: str) -> None:
    run = run_of(book)
    life = fit_sensor(book, "small furnace", "control", fitted_utc="2026-01-01", stamp=STAMP, serial="K-1")
    entry = add_calibration(
        book, life=life, done_on="2026-02-01", due_on=None, done_by="Ana", correction=FLAT, stamp=STAMP
    )
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run)
    charged = next(c for c in pieces_in_run(book, run) if c.piece == "B-1")
    kept.refresh(book, stamp=STAMP)
    assert kept.stale_runs(book) == []
    if what == "charge":
        charge_pieces(book, ["M-1"], stamp=STAMP, run=run)
    elif what == "charge struck":
        strike(book, "charge_pieces", [charged.entry], why="wrong run", stamp=STAMP)
    elif what == "thickness":
        change_piece(book, "B-2", why="measured", stamp=STAMP, thickness_mm=5.0)
    elif what == "calibration":
        add_calibration(book, life=life, done_on="2026-03-01", due_on=None, done_by="A", correction=FLAT, stamp=STAMP)
    elif what == "withdrawn":
        withdraw_calibration(book, entry, why="wrong", stamp=STAMP)
    elif what == "sensor":
        fit_sensor(book, "small furnace", "control", fitted_utc="2026-02-20", stamp=STAMP, serial="K-1")
    else:
        give_recipe(book, run, "other", TEMPER, stamp=STAMP)
    assert kept.stale_runs(book) == [run]


def test_a_calibration_of_a_later_day_leaves_earlier_runs_alone(book: LogBook) -> None:
    life = fit_sensor(book, "small furnace", "control", fitted_utc="2026-01-01", stamp=STAMP, serial="K-1")
    kept.refresh(book, stamp=STAMP)
    add_calibration(book, life=life, done_on="2026-03-20", due_on=None, done_by="A", correction=FLAT, stamp=STAMP)
    assert kept.stale_runs(book) == []


def test_a_run_without_a_readable_recipe_keeps_the_furnace_s_figures(book: LogBook) -> None:
    run = run_of(book)
    give_recipe(book, run, "broken", "name = 3", stamp=STAMP)
    (trouble,) = kept.refresh(book, stamp=STAMP)
    assert run in trouble
    assert run_named(book, run).verdict is None
    assert (kept.kept_condition(book, [run])[run].full_power or {})["300"] > 0
    assert kept.stale_runs(book) == []


def test_two_processes_find_the_same_as_one(book: LogBook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = kept.kept_figures(book, [run_of(book)])
    monkeypatch.setattr(kept, "FEW", 0)
    book.connection.execute("DELETE FROM figures")
    seen: list[tuple[int, int]] = []
    assert kept.refresh(book, stamp=LATER, processes=2, progress=lambda done, of: seen.append((done, of))) == ()
    assert kept.kept_figures(book, [run_of(book)]) == before
    assert seen == [(1, 1)]


def test_a_verified_run_is_kept_and_one_without_a_recipe_gets_it(book: LogBook) -> None:
    run = open_run(run_named(book, "last").folder)
    recipe = parse_recipe(PLAIN, "harden")
    found = verify(run, recipe)
    book.connection.execute("DELETE FROM verdicts")
    assert kept.keep_verified(book, run, recipe, found, stamp=LATER)
    assert run_named(book, "last").verdict == found.verdict
    trial = parse_recipe(PLAIN.replace("hold_minutes = 25", "hold_minutes = 90"), "trial")
    assert not kept.keep_verified(book, run, trial, verify(run, trial), stamp=LATER)
    assert run_named(book, "last").verdict == found.verdict
    book.connection.execute("UPDATE runs SET recipe_digest = NULL")
    assert kept.keep_verified(book, run, recipe, found, stamp=LATER)
    assert run_named(book, "last").recipe_digest == recipe.digest


def test_one_object_holds_everything_a_printed_record_needs(book: LogBook) -> None:
    name = run_of(book)
    charge_pieces(book, ["M-1"], stamp=STAMP, run=name, place="back", foil=True)
    entry = run_named(book, name)
    inputs = run_inputs(book, entry)
    run, recipe = open_run(entry.folder), parse_recipe(PLAIN, "harden")
    found = verify(run, recipe, pieces=inputs.pieces())
    data = sheet_data(book, run, recipe, found, corrections=inputs.used_corrections(), software="soakwitness 1")
    assert (data.recipe_digest, data.verdict, data.analysed_with) == (recipe.digest, found.verdict, "soakwitness 1")
    assert [s.intended.number for s in data.steps] == [1, 2, 3, 4]
    assert {p.charged.piece for p in data.pieces} == {"B-1", "B-2", "M-1"}
    assert data.seal is not None
    assert data.coverage.sealed
    assert data.sensors[0].column.serial == "K-1"
    assert len(data.findings) == len(found.findings)
    theirs = sheet_data(book, run, recipe, found, corrections={}, software="soakwitness 1", customer="huber")
    assert {p.charged.piece for p in theirs.pieces} == {"B-1", "B-2"}
    assert theirs.left_out == 1
    assert "M-1" not in str([*theirs.marks, *theirs.pieces, *theirs.findings])
    with pytest.raises(Exception, match="Customers on record there: Huber, Maier"):
        sheet_data(book, run, recipe, found, corrections={}, software="x", customer="Nobody")
    assert replace(data, customer="x") != data
