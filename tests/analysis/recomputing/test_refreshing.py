"""Kept verdicts and figures: computed once, stale when what they rest on changes, the same in parallel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.logbook import kept
from soakwitness.analysis.logbook.charges import charge_pieces, pieces_in_run
from soakwitness.analysis.logbook.dispositions import (
    Gone,
    add_disposition,
    check_finding,
    dispositions_of,
    finding_gone,
)
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces, change_piece
from soakwitness.analysis.logbook.runs import give_recipe, run_named, take_in
from soakwitness.analysis.logbook.sensors import add_calibration, fit_sensor, withdraw_calibration
from soakwitness.analysis.logbook.sheetdata import sheet_data
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.recomputing import refreshing
from soakwitness.analysis.recomputing.refreshing import Refreshed, keep_judged, refresh
from soakwitness.analysis.record.moments import Stamp
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.rules import RULES_VERSION
from soakwitness.analysis.run_inputs.gathered import inputs_of_entry
from soakwitness.analysis.run_inputs.known_inputs import RunInputs
from soakwitness.analysis.verification.results.verification import Verification
from tests.bad_batches import FLAT
from tests.furnace_days import HARDEN, TEMPER, Blade, Day, Fitting, live, record
from tests.log_books import LATER, STAMP, new_book

MUCH_LATER = Stamp("2026-12-26T09:00:00Z", "Ana")
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
        refresh(opened, stamp=STAMP)
        yield opened


def run_of(book: LogBook) -> str:
    return run_named(book, "last").run


def test_figures_and_verdict_are_kept_with_the_version_that_made_them(book: LogBook) -> None:
    run = run_of(book)
    assert kept.stale_runs(book) == []
    assert run_named(book, run).verdict == kept.kept_answer(book, run)["verdict"]  # type: ignore[index]
    row = book.row("SELECT analysis_version, made_utc FROM figures WHERE run = ?", run)
    assert row is not None
    assert tuple(row) == (RULES_VERSION, STAMP.at_utc)
    assert kept.kept_figures(book, [run, "none"])[run].run == run
    assert [c.run for c in kept.furnace_condition(book, "small furnace")] == [run]


def test_another_version_makes_everything_stale(book: LogBook, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept, "RULES_VERSION", "later")
    assert kept.stale_runs(book) == [run_of(book)]
    assert kept.kept_answer(book, run_of(book)) is None
    assert refresh(book, stamp=LATER) == Refreshed(1)
    assert kept.stale_runs(book) == []


@pytest.mark.parametrize(
    "what", ["charge", "charge struck", "thickness", "calibration", "withdrawn", "sensor", "recipe", "treatment"]
)
def test_what_figures_rest_on_makes_them_stale(book: LogBook, what: str) -> None:
    run = run_of(book)
    life = fit_sensor(book, "small furnace", "control", fitted_utc="2026-01-01", stamp=STAMP, serial="K-1")
    entry = add_calibration(
        book, life=life, done_on="2026-02-01", due_on=None, done_by="Ana", correction=FLAT, stamp=STAMP
    )
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run)
    charged = next(c for c in pieces_in_run(book, run) if c.piece == "B-1")
    refresh(book, stamp=STAMP)
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
    elif what == "treatment":
        add_treatment(book, ["B-1"], "cold treatment", start_utc="2026-03-03T12:00:00Z", lowest_c=-78.0, stamp=STAMP)
    else:
        give_recipe(book, run, "other", TEMPER, stamp=STAMP)
    assert kept.stale_runs(book) == [run]


def test_a_calibration_of_a_later_day_leaves_earlier_runs_alone(book: LogBook) -> None:
    life = fit_sensor(book, "small furnace", "control", fitted_utc="2026-01-01", stamp=STAMP, serial="K-1")
    refresh(book, stamp=STAMP)
    add_calibration(book, life=life, done_on="2026-03-20", due_on=None, done_by="A", correction=FLAT, stamp=STAMP)
    assert kept.stale_runs(book) == []


def test_a_run_without_a_readable_recipe_keeps_the_furnace_s_figures(book: LogBook) -> None:
    run = run_of(book)
    give_recipe(book, run, "broken", "name = 3", stamp=STAMP)
    (trouble,) = refresh(book, stamp=STAMP).troubles
    assert run in trouble
    assert run_named(book, run).verdict is None
    assert (kept.kept_condition(book, [run])[run].full_power or {})["300"] > 0
    assert kept.stale_runs(book) == []


def test_two_processes_find_the_same_as_one(book: LogBook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = kept.kept_figures(book, [run_of(book)])
    monkeypatch.setattr(refreshing, "FEW", 0)
    book.connection.execute("DELETE FROM figures")
    seen: list[tuple[int, int]] = []
    assert refresh(book, stamp=LATER, processes=2, progress=lambda done, of: seen.append((done, of))) == Refreshed(1)
    assert kept.kept_figures(book, [run_of(book)]) == before
    assert seen == [(1, 1)]


def test_a_verified_run_is_kept_and_one_without_a_recipe_gets_it(book: LogBook) -> None:
    def judged(text: str) -> tuple[RunInputs, Verification]:
        inputs = replace(inputs_of_entry(book, run_named(book, "last")), recipe=parse_recipe(text, "a recipe"))
        return inputs, inputs.judged(run)

    run = open_run(run_named(book, "last").folder)
    inputs, found = judged(PLAIN)
    book.connection.execute("DELETE FROM verdicts")
    assert keep_judged(book, run, inputs, found, stamp=LATER) == ()
    assert run_named(book, "last").verdict == found.verdict
    trial = judged(PLAIN.replace("hold_minutes = 25", "hold_minutes = 90"))
    assert keep_judged(book, run, *trial, stamp=LATER) is None
    assert run_named(book, "last").verdict == found.verdict
    book.connection.execute("UPDATE runs SET recipe_digest = NULL")
    assert keep_judged(book, run, inputs, found, stamp=LATER) is not None
    assert run_named(book, "last").recipe_digest == parse_recipe(PLAIN).digest


def test_one_object_holds_everything_a_printed_record_needs(book: LogBook) -> None:
    name = run_of(book)
    charge_pieces(book, ["M-1"], stamp=STAMP, run=name, place="back", foil=True)
    entry = run_named(book, name)
    inputs = inputs_of_entry(book, entry)
    run, recipe = open_run(entry.folder), parse_recipe(PLAIN, "harden")
    found = inputs.judged(run)
    data = sheet_data(book, run, recipe, found, corrections=inputs.corrections, software="soakwitness 1")
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


def test_a_verdict_that_changes_stays_beside_the_new_one(book: LogBook) -> None:
    run = run_of(book)
    before = kept.last_verdict(book, run)
    assert before is not None
    give_recipe(book, run, "longer", PLAIN.replace("hold_minutes = 25", "hold_minutes = 90"), stamp=LATER)
    assert run_named(book, run).verdict is None  # out of date, so not shown
    (change,) = refresh(book, stamp=LATER).changed
    assert change.run == run
    assert "judged by another recipe; verdict: pass, now fail" in change.why
    now, (earlier,) = kept.last_verdict(book, run), kept.earlier_verdicts(book, run)
    assert now is not None
    assert (now.verdict, now.made_utc, now.rules) == ("fail", LATER.at_utc, RULES_VERSION)
    assert earlier == replace(before, replaced_utc=LATER.at_utc, why=change.why)


def test_what_is_judged_as_before_leaves_no_trace(book: LogBook) -> None:
    run = run_of(book)
    kept.forget(book, stamp=LATER)
    assert refresh(book, stamp=LATER).changed == ()
    assert kept.earlier_verdicts(book, run) == ()
    assert kept.last_verdict(book, run).made_utc == LATER.at_utc  # type: ignore[union-attr]


def test_a_run_that_went_on_since_has_no_earlier_verdict(book: LogBook) -> None:
    run = run_of(book)
    text = (
        "UPDATE verdicts SET answer = replace(replace(answer, '\"sealed\":true', '\"sealed\":false'), 'pass', 'fail')"
    )
    book.connection.execute(text)
    kept.forget(book, stamp=LATER)
    assert refresh(book, stamp=LATER).changed == ()
    assert kept.earlier_verdicts(book, run) == ()


def test_a_run_that_cannot_be_judged_any_more_keeps_its_verdict_as_an_earlier_one(book: LogBook) -> None:
    run = run_of(book)
    digest = run_named(book, run).recipe_digest
    book.connection.execute("UPDATE recipes SET text = 'name = 3' WHERE digest = ?", (digest,))
    kept.forget(book, stamp=LATER)
    done = refresh(book, stamp=LATER)
    assert "now none" in done.changed[0].why
    assert kept.last_verdict(book, run) is None
    assert kept.kept_answer(book, run) is None
    assert [v.verdict for v in kept.earlier_verdicts(book, run)] == ["pass"]


def test_waiting_changes_no_verdict(book: LogBook) -> None:
    """A calibration that was in force on the day of the run stays so, however late the run is judged again."""
    run = run_of(book)
    life = fit_sensor(book, "small furnace", "control", fitted_utc="2026-01-01", stamp=STAMP, serial="K-1")
    day = run_named(book, run).started_utc[:10]
    add_calibration(book, life=life, done_on="2026-02-01", due_on=day, done_by="A", correction=FLAT, stamp=STAMP)
    refresh(book, stamp=STAMP)
    answer = kept.kept_answer(book, run)
    kept.forget(book, stamp=Stamp("2031-01-01T09:00:00Z", "Ben"))
    assert refresh(book, stamp=Stamp("2031-01-01T09:00:00Z", "Ben")).changed == ()
    assert kept.kept_answer(book, run) == answer


def test_a_decision_whose_finding_is_gone_says_since_when(book: LogBook) -> None:
    run = run_of(book)
    long = PLAIN.replace("hold_minutes = 25", "hold_minutes = 90")
    give_recipe(book, run, "longer", long, stamp=STAMP)
    refresh(book, stamp=STAMP)
    assert check_finding(book, run, "short soak", 4) is None
    add_disposition(book, run, "use as it is", finding="short soak", step=4, why="60 HRC", stamp=STAMP)
    add_disposition(book, run, "no defect", stamp=STAMP)
    on_finding, on_run = dispositions_of(book, run)
    assert finding_gone(book, on_finding) is None
    give_recipe(book, run, "harden", PLAIN, stamp=LATER)
    assert finding_gone(book, on_finding) is None  # not judged anew yet: nobody knows
    refresh(book, stamp=LATER)
    assert finding_gone(book, on_finding) == Gone(LATER.at_utc, RULES_VERSION)
    assert finding_gone(book, on_run) is None
    # another change later leaves the day on which it went
    give_recipe(book, run, "wider", PLAIN.replace("tolerance = 6", "tolerance = 9"), stamp=MUCH_LATER)
    refresh(book, stamp=MUCH_LATER)
    assert finding_gone(book, on_finding) == Gone(LATER.at_utc, RULES_VERSION)


def test_figures_name_the_life_of_the_sensor_they_were_measured_on(book: LogBook) -> None:
    run = run_of(book)
    life = fit_sensor(book, "small furnace", "control", fitted_utc="2026-01-01", stamp=STAMP, serial="K-1")
    add_calibration(book, life=life, done_on="2026-02-01", due_on=None, done_by="A", correction=FLAT, stamp=STAMP)
    refresh(book, stamp=LATER)
    sensor = kept.kept_figures(book, [run])[run].sensor
    assert (sensor.name, sensor.life, sensor.calibrated_on) == ("control", life, "2026-02-01")
