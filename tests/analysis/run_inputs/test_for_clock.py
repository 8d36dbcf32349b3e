"""What the soak clock gets is what the verification takes: corrections, and the packet of each piece."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.packet import model as estimating
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.recipes.model import PacketSpec
from soakwitness.analysis.run_inputs.for_clock import clock_inputs_of
from soakwitness.analysis.runs import open_run
from soakwitness.analysis.verification.model import PieceInfo
from soakwitness.analysis.verification.pieces import piece_spec
from soakwitness.firmware_bridge.runfolder.model import Mark
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
