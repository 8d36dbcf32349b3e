"""Which measured packet counts for a run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.errors import PacketFileError
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.kept import kept_answer, stale_runs
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.packets import keep_measured
from soakwitness.analysis.logbook.runs import give_recipe, run_named, take_in
from soakwitness.analysis.packet.packet_file import PacketFile, packet_text
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.analysis.recipes.recipe_file import load_recipe, parse_recipe
from soakwitness.analysis.recomputing.refreshing import keep_judged, refresh
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.run_inputs.gathered import inputs_of_entry, run_inputs
from soakwitness.analysis.run_inputs.known_inputs import RunInputs
from soakwitness.analysis.run_inputs.measured_packets import used
from tests.analysis.run_inputs.test_inputs import CHAMBER, RECIPE, true_c
from tests.calibration_runs import make_run
from tests.log_books import LATER, STAMP, new_book

PACKED = RECIPE + "[packet]\nthickness_mm = 3.0\n"
NAMES_ONE = PACKED + 'measured = "dummy.toml"\n'


def measured(eps_o: float, *, foil: bool = True, fitted: bool = True) -> str:
    """A packet file of a dummy of 3 mm with this emissivity."""
    packet = generic_packet(PacketSpec(foil=foil), "S44004")
    spread = tuple(0.2 * s for s in packet.spread)
    return packet_text(replace(packet, eps_o=eps_o, spread=spread, fitted=fitted, fitted_from="20261101T080000Z_shed"))


def shop(folder: Path, recipe: str = PACKED) -> tuple[LogBook, Path]:
    """A log book with a run of 2026-11-25 and a recipe for it."""
    run = make_run(folder, {CHAMBER: true_c}).path
    book = new_book(folder, "B-1", "B-2", thickness_mm=3.0)
    take_in(book, stamp=STAMP)
    give_recipe(book, run.name, "Harden", recipe, stamp=STAMP)
    return book, run


def known(book: LogBook) -> RunInputs:
    return inputs_of_entry(book, run_named(book, "last"))


def which(inputs: RunInputs) -> tuple[str, float] | None:
    return None if inputs.packet is None else (inputs.packet.origin, inputs.packet.model.eps_o)


def test_without_any_the_figures_are_generic(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    assert which(known(book)) is None
    found = known(book).judged(open_run(run))
    assert found.work is not None
    assert not found.work.fitted


def test_the_newest_of_the_log_book_counts_from_its_day_on(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    for eps_o, since in ((0.5, "2026-10-01"), (0.7, "2026-11-25"), (0.4, "2026-11-26")):
        keep_measured(book, f"{eps_o}.toml", measured(eps_o), since=since, foil=True, stamp=STAMP)
    keep_measured(book, "bare.toml", measured(0.8, foil=False), since="2026-11-25", foil=False, stamp=STAMP)
    assert which(known(book)) == ("log book", 0.7)
    found = known(book).judged(open_run(run))
    assert found.work is not None
    assert found.work.fitted
    assert "counts since 2026-11-25" in known(book).packet.says  # type: ignore[union-attr]


def test_a_day_of_the_run_is_one_of_its_own_zone(tmp_path: Path) -> None:
    night = make_run(tmp_path, {CHAMBER: true_c}, started_utc=1_795_563_000.0).path  # in Vienna already the 25th
    book = new_book(tmp_path)
    take_in(book, stamp=STAMP)
    give_recipe(book, night.name, "Harden", PACKED, stamp=STAMP)
    keep_measured(book, "new.toml", measured(0.7), since="2026-11-25", foil=True, stamp=STAMP)
    assert which(known(book)) == ("log book", 0.7)


def test_bare_blades_take_a_bare_one(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    keep_measured(book, "foil.toml", measured(0.5), since="2026-01-01", foil=True, stamp=STAMP)
    keep_measured(book, "bare.toml", measured(0.8, foil=False), since="2026-01-01", foil=False, stamp=STAMP)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name, foil=False)
    assert which(known(book)) == ("log book", 0.8)
    charge_pieces(book, ["B-2"], stamp=STAMP, run=run.name, foil=True)
    assert which(known(book)) == ("log book", 0.5)


def test_where_nobody_speaks_of_packets_none_is_taken_out_of_the_log_book(tmp_path: Path) -> None:
    book, run = shop(tmp_path, RECIPE)
    keep_measured(book, "foil.toml", measured(0.5), since="2026-01-01", foil=True, stamp=STAMP)
    assert which(known(book)) is None
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name)  # its thickness is on record
    assert which(known(book)) == ("log book", 0.5)


def test_what_the_recipe_names_goes_first_and_stays_when_the_file_is_gone(tmp_path: Path) -> None:
    """Years later the run is judged as it was: the log book keeps what the file said then."""
    book, run = shop(tmp_path / "book")
    keep_measured(book, "newest.toml", measured(0.8), since="2026-01-01", foil=True, stamp=STAMP)
    file, beside = tmp_path / "harden.toml", tmp_path / "dummy.toml"
    file.write_text(NAMES_ONE.replace("Harden", "With a dummy"))
    beside.write_text(measured(0.5))
    book.connection.execute("DELETE FROM run_recipes")
    opened, recipe = open_run(run), load_recipe(file)
    inputs = run_inputs(book, run, opened.header, (), recipe=recipe)
    assert which(inputs) == ("recipe", 0.5)
    assert keep_judged(book, opened, inputs, inputs.judged(opened), stamp=STAMP) is not None
    first = kept_answer(book, run.name)
    beside.write_text(measured(0.9))
    beside.unlink()
    assert which(known(book)) == ("recipe", 0.5)
    book.connection.execute("DELETE FROM figures")
    assert refresh(book, stamp=LATER).changed == ()
    assert kept_answer(book, run.name) == first
    assert first is not None
    assert first["packet"]["file"] == "dummy.toml"


def test_a_file_that_is_missing_is_named(tmp_path: Path) -> None:
    book, run = shop(tmp_path / "book")
    file = tmp_path / "harden.toml"
    file.write_text(NAMES_ONE.replace("Harden", "With a dummy"))
    opened = open_run(run)
    with pytest.raises(
        PacketFileError, match=rf"measured = \"dummy.toml\": there is no file {tmp_path / 'dummy.toml'}"
    ):
        run_inputs(book, run, opened.header, (), recipe=load_recipe(file))
    (tmp_path / "dummy.toml").write_text(measured(0.5, fitted=False))
    with pytest.raises(PacketFileError, match="was not learned from a run"):
        run_inputs(book, run, opened.header, (), recipe=load_recipe(file))
    # a text that was kept: nobody knows where its file lay
    kept = run_inputs(book, run, opened.header, (), recipe=parse_recipe(NAMES_ONE.replace("Harden", "Kept")))
    assert which(kept) is None
    assert "dummy.toml, named by the recipe, is neither with the run nor in the log book" in str(kept.refused[-1])


def test_the_run_carries_what_was_given_when_it_was_recorded(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    header = replace(open_run(run).header, packet_name="given.toml", packet_file=measured(0.6))
    assert which(run_inputs(None, run, replace(header, recipe_file=PACKED), ())) == ("run", 0.6)
    keep_measured(book, "newest.toml", measured(0.8), since="2026-01-01", foil=True, stamp=STAMP)
    assert which(run_inputs(book, run, header, ())) == ("run", 0.6)
    option = used(PacketFile("tried.toml", measured(0.45)), "option")
    assert which(run_inputs(book, run, header, (), packet=option)) == ("option", 0.45)
    broken = replace(header, packet_file="eps_o = 7")
    assert which(run_inputs(None, run, replace(broken, recipe_file=PACKED), ())) is None
    assert "given.toml, of the run, cannot be used" in str(run_inputs(book, run, broken, ()).refused[-1])


def test_a_packet_of_another_kind_is_said_to_be_of_no_use(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    header = replace(open_run(run).header, packet_name="bare.toml", packet_file=measured(0.8, foil=False))
    inputs = run_inputs(book, run, header, ())
    assert "is a bare blade, and the pieces are in foil" in str(inputs.refused[-1])
    found = inputs.judged(open_run(run))
    assert found.work is not None
    assert not found.work.fitted


def test_a_packet_struck_or_entered_makes_runs_since_its_day_stale(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    refresh(book, stamp=STAMP)
    keep_measured(book, "later.toml", measured(0.5), since="2026-12-24", foil=True, stamp=STAMP)
    assert stale_runs(book) == []
    kept = keep_measured(book, "now.toml", measured(0.5), since="2026-11-25", foil=True, stamp=STAMP)
    assert stale_runs(book) == [run.name]
    (change,) = refresh(book, stamp=LATER).changed
    assert "measured packet: none, now now.toml" in change.why
    strike(book, "measured_packets", [kept.entry], why="another foil", stamp=LATER)
    assert stale_runs(book) == [run.name]
    assert which(known(book)) is None
