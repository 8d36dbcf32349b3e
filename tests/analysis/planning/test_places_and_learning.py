"""Blades in their places, and what the last runs taught."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.planning.learning import LagPair, learn
from soakwitness.analysis.planning.plan import PieceToPlan
from soakwitness.analysis.planning.rack_places import TooMany, placed
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.firmware_bridge.furnace.rack import Rack

RACK = Rack(6, 25.0)


def pieces(*thick_mm: float, **spec: int) -> list[PieceToPlan]:
    return [PieceToPlan(f"B-{n}", generic_packet(PacketSpec(mm, **spec))) for n, mm in enumerate(thick_mm, 1)]


def slots(*thick_mm: float) -> list[int | None]:
    return [one.slot for one in placed(pieces(*thick_mm), RACK)]


def test_alike_ones_stand_in_their_order_as_far_apart_as_they_can() -> None:
    assert slots(3, 3, 3, 3, 3, 3) == [1, 2, 3, 4, 5, 6]
    assert slots(3, 3) == [1, 6]
    assert slots(3, 3, 3) == [1, 3, 6]
    assert slots(3) == [4]


def test_the_thick_ones_stand_at_the_ends() -> None:
    assert slots(2, 5, 2, 5, 2, 2) == [2, 1, 5, 6, 3, 4]


def test_places_on_record_stay() -> None:
    told = [replace(one, place=place) for one, place in zip(pieces(3, 3, 3), ("slot 5", None, "1"), strict=True)]
    assert [one.slot for one in placed(told, RACK)] == [5, 4, 1]  # of 2, 3, 4 and 6 the third is the middle


def test_what_lies_on_the_hearth_has_no_slot() -> None:
    assert [one.slot for one in placed(pieces(3, heated_faces=1), RACK)] == [None]


def test_more_than_the_rack_holds_are_two_charges() -> None:
    with pytest.raises(TooMany, match=r"7 packets: the rack has 6 slots\. Plan two charges"):
        slots(*[3.0] * 7)


def test_four_runs_are_shown_and_five_are_used() -> None:
    pairs = [LagPair(f"r{n}", 100.0, 130.0) for n in range(5)]
    four, five = learn(pairs[:4]), learn(pairs)
    assert four is not None
    assert five is not None
    assert (four.runs, four.used) == (4, False)
    assert (five.runs, five.used) == (5, True)
    assert five.factor == pytest.approx(1.3)
    assert five.spread < four.spread < 0.25
    assert learn([]) is None
