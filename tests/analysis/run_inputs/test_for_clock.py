"""What the soak clock gets is what the verification takes: calibrations, and the packet of each piece."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.calibration.correcting.place_difference import PlacePoint
from soakwitness.analysis.live.clock_inputs import clock_inputs_from
from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.kept import kept_answer, stale_runs
from soakwitness.analysis.logbook.place_differences import keep_place
from soakwitness.analysis.logbook.runs import give_recipe, run_named
from soakwitness.analysis.logbook.sensors import fit_sensor
from soakwitness.analysis.packet import estimate as estimating
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.run_inputs.controller_settings import settings_for
from soakwitness.analysis.run_inputs.for_clock import clock_inputs_of
from soakwitness.analysis.run_inputs.gathered import inputs_of_entry
from soakwitness.analysis.verification.inputs.stays import piece_spec
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.analysis.run_inputs.test_inputs import RECIPE, book_with, calibrated
from tests.analysis.run_inputs.test_packets import known, shop
from tests.log_books import STAMP

LOAD = Mark(0.0, "load")


def test_a_piece_is_what_is_known_of_it_and_else_what_the_recipe_says(tmp_path: Path) -> None:
    book, _ = shop(tmp_path)
    recipe = known(book).recipe
    assert recipe is not None
    own = PieceInfo("B-1", thickness_mm=8.0, foil=False, heated_faces=1, blades=2)
    assert piece_spec(recipe, own) == PacketSpec(8.0, foil=False, heated_faces=1, blades=2)
    assert piece_spec(recipe, PieceInfo("B-1", thickness_mm=8.0)) == PacketSpec(8.0)
    assert piece_spec(recipe, PieceInfo("B-1")) == recipe.packet
    assert piece_spec(replace(recipe, packet=None), PieceInfo("B-1")) is None


def test_the_clock_and_the_verification_take_the_same_packets(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each packet that the verification estimates is one that the clock was given, and none is left over."""
    book, run = shop(tmp_path)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name, foil=False, heated_faces=1)
    charge_pieces(book, ["B-2"], stamp=STAMP, run=run.name, blades=2)
    estimated: list[PacketModel] = []
    estimate = estimating.estimate

    def watched(*args: object, packet: PacketModel, **more: object) -> object:
        estimated.append(packet)
        return estimate(*args, packet=packet, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(estimating, "estimate", watched)
    inputs = known(book)
    inputs.judged(open_run(run))
    given = clock_inputs_of(inputs, ())
    assert set(given.packets) == {"B-1", "B-2"}
    assert set(estimated) == set(given.packets.values())


def test_a_charge_without_names_is_its_latest_piece(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name)
    charge_pieces(book, ["B-2"], stamp=STAMP, run=run.name, blades=2)
    given = clock_inputs_of(known(book), (LOAD,))
    assert given.packet == given.packets["B-2"]
    named = clock_inputs_of(known(book), (replace(LOAD, pieces=("b-2",)),))
    assert named.packet == given.packets["B-1"]
    both = clock_inputs_of(known(book), (replace(LOAD, pieces=("B-1", "B-2")),))
    assert both.packet is not None
    assert (both.packet.thickness_mm, both.packet.blades) == (3.0, 1)  # the recipe's


@pytest.mark.parametrize(
    ("from_c", "to_c", "due_on", "added_c"),
    [
        (900.0, 1100.0, None, -9.0),
        (100.0, 300.0, None, 0.0),  # the hold at 1050 +- 12 is far beyond it
        (900.0, 1100.0, "2026-10-01", 0.0),  # the run is of November
    ],
)
def test_a_calibration_speaks_to_the_clock_only_where_it_reaches_and_in_force(
    tmp_path: Path, from_c: float, to_c: float, due_on: str | None, added_c: float
) -> None:
    book, run = book_with(tmp_path)
    life = fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP)
    table = {"reading_c": [from_c, to_c], "correction_c": [-9.0, -9.0], "expanded_c": [2.0, 2.0]}
    calibrated(book, life, done_on="2026-02-01", due_on=due_on, table=table)
    inputs = inputs_of_entry(book, run_named(book, "last"))
    assert clock_inputs_of(inputs, ()).of("chamber").added_c == (added_c,)
    (hold,) = inputs.judged(open_run(run)).holds
    assert hold.known.correction_c == added_c


def test_what_the_log_book_knows_of_the_pieces_comes_with_it(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    charge_pieces(book, ["B-1"], stamp=STAMP, run=run.name)
    inputs = known(book)
    assert clock_inputs_of(inputs, ()).pieces == inputs.pieces != ()


def test_a_place_difference_counts_for_clock_verdict_and_program_alike(tmp_path: Path) -> None:
    """The chamber's sensor stands at 1050, the work's place has 12 less: 1038, under the band of 1042 to 1058."""
    book, run = book_with(tmp_path)
    fit_sensor(book, "shed", "chamber", fitted_utc="2026-01-01", stamp=STAMP)
    text = RECIPE.replace('decide_on = "true temperature"\n', "").replace("tolerance = 12", "tolerance = 8")
    give_recipe(book, run.name, "Harden", text, stamp=STAMP)
    refresh(book, stamp=STAMP)
    before = kept_answer(book, run.name)
    point = PlacePoint(1050.0, -12.0, 2.0, "entered", "2026-11-01", why="by the element")
    keep_place(book, "shed", "chamber", point, at_utc="2026-11-01T08:00:00Z", stamp=STAMP)
    assert stale_runs(book) == [run.name]  # its kept figures were made without it
    refresh(book, stamp=STAMP)
    after = kept_answer(book, run.name)
    assert before is not None
    assert after is not None
    assert (before["verdict"], after["verdict"]) == ("pass", "fail")
    inputs = inputs_of_entry(book, run_named(book, "last"))
    assert inputs.judged(open_run(run)).verdict == "fail"
    given = clock_inputs_of(inputs, ())
    assert given.of("chamber").added_c == given.of("chamber").place_c == (-12.0,)
    assert clock_inputs_from(json.loads(json.dumps(given.as_plain()))) == given
    recipe = inputs.recipe
    assert recipe is not None
    program = settings_for(book, "shed", recipe, at_utc="2026-11-26T10:00:00Z", zone="Europe/Vienna")
    assert program.set_to_c == {2: pytest.approx(1062.0)}
    assert "shows 1062 °C when the work's place is at 1050 °C ± 2 °C" in program.says[0].text("C")


def test_in_a_rack_the_clock_takes_each_piece_among_its_neighbours(tmp_path: Path) -> None:
    book, run = shop(tmp_path)
    charge_pieces(book, ["B-1", "B-2"], stamp=STAMP, run=run.name, place="1-2")
    inputs = known(book)
    assert [piece.place for piece in inputs.pieces] == ["1", "2"]
    rack = "[rack]\nslots = 4\nspacing_mm = 12\n"
    racked = replace(inputs, header=replace(inputs.header, furnace_file=rack))
    alone, among = clock_inputs_of(inputs, ()), clock_inputs_of(racked, ())
    for piece in ("B-1", "B-2"):
        assert among.packets[piece].eps_o < alone.packets[piece].eps_o
    nobody = replace(racked, pieces=())
    assert alone.packet is not None
    usual = clock_inputs_of(nobody, ()).packet
    assert usual is not None
    assert usual.eps_o < among.packets["B-1"].eps_o
