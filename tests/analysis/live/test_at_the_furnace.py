"""What is known at the furnace, on courses of straight lines: moments by hand from their corners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.live.at_the_furnace import AtTheFurnace, at_the_furnace
from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.recipes.handling import practice_of
from soakwitness.analysis.recipes.recipe import Hold, PacketSpec, Quench, Ramp, Recipe
from soakwitness.analysis.verification.inputs.stays import known_of
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.cli.words.furnace_side import at_the_furnace_state
from soakwitness.firmware_bridge.furnace.rack import Rack
from soakwitness.firmware_bridge.marks.expecting import expected_next
from soakwitness.firmware_bridge.runfolder.contents import Mark

HOLD = Hold(1, 1050.0, 6.0, 6.0, 900.0, at_most_s=1500.0, dip_s=120.0)
HOT = Recipe("hot", "C", (HOLD,), load="hot", load_at_c=1050.0, quench=Quench(within_s=30.0))
LOAD = Mark(60.0, "load", ("A", "B"), mark_id="aaaaaa", entered_t_s=60.0)
LEVEL = ((0.0, 1050.0), (3000.0, 1050.0))
UTC_S = 1.8e9  # of the run's start


def side(
    recipe: Recipe,
    at_s: float,
    marks: Sequence[Mark],
    corners: Sequence[tuple[float, float]] = LEVEL,
    known: Sequence[PieceInfo] = (),
) -> AtTheFurnace:
    clock = SoakClock(recipe, known=known, every_s=2.0)
    times, temps = zip(*corners, strict=True)
    for t in np.arange(0.0, at_s + 1e-9, 2.0):
        heard = tuple(mark for mark in marks if mark.t_s <= t)
        clock.read(float(t), {"control": float(np.interp(t, times, temps))}, marks=heard)
    made = tuple(marks)
    practice, there = practice_of(recipe), known_of(made, known, Rack(6, 14.0))
    return at_the_furnace(
        made,
        t_s=at_s,
        expected=expected_next(made, practice=practice, known=there, temp_c=float(np.interp(at_s, times, temps))),
        practice=practice,
        known=there,
        clock=clock.state(),
        plates_within_s=None if recipe.quench is None else recipe.quench.within_s,
    )


def stands(found: AtTheFurnace) -> list[tuple[str | None, str]]:
    return [(piece.piece, piece.stands) for piece in found.pieces]


@pytest.mark.parametrize("at_s", [200.0, 900.0, 958.0, 962.0, 1400.0, 1800.0])
def test_not_before_and_not_after_stay_where_they_are(at_s: float) -> None:
    """Loaded at 60 s into a furnace in band: 900 s are over at 960, 1500 s at 1560, asked before and after that."""
    found = side(HOT, at_s, [LOAD])
    assert found.not_before_s == pytest.approx(960.0, abs=0.1)
    assert found.not_after_s == pytest.approx(1560.0, abs=0.1)
    assert found.expected.names == ("A",)
    assert found.slowest is not None
    assert found.slowest.soak is not None
    assert found.slowest.soak.soak_s == pytest.approx(at_s - 60.0, abs=0.1)
    assert found.slowest.soak.required_s == 900.0


def test_a_hold_that_others_follow_names_no_moment_for_the_pull() -> None:
    two = Recipe(
        "two", "C", (Ramp(1, 780.0), Hold(2, 780.0, 8.0, 8.0, 600.0), Ramp(3, 1050.0), replace(HOLD, number=4))
    )
    corners = ((0.0, 20.0), (1900.0, 780.0), (2600.0, 780.0), (4940.0, 1050.0), (9000.0, 1050.0))
    found = side(two, 2200.0, [], corners)
    assert (found.not_before_s, found.not_after_s) == (None, None)
    # Into 1044 at 2600 + 264/270 x 2340 = 4888 s: 900 s later it may come out.
    assert side(two, 5200.0, [], corners).not_before_s == pytest.approx(5788.0, abs=1.0)


def test_without_a_longest_soak_there_is_no_moment_that_is_too_late() -> None:
    endless = replace(HOT, steps=(replace(HOLD, at_most_s=None),))
    found = side(endless, 500.0, [LOAD])
    assert found.not_after_s is None
    assert found.not_before_s == pytest.approx(960.0, abs=0.1)


def test_the_slowest_is_the_one_furthest_from_its_soak() -> None:
    later = Mark(300.0, "load", ("C",), mark_id="bbbbbb")
    found = side(HOT, 600.0, [LOAD, later])
    assert found.slowest is not None
    assert found.slowest.piece == "C"  # complete at 300 + 900
    assert found.slowest.not_before_s == pytest.approx(1200.0, abs=0.1)
    assert found.not_before_s == pytest.approx(960.0, abs=0.1)  # of A, which is next


def test_a_slow_packet_moves_the_moment_that_is_sure() -> None:
    found = side(replace(HOT, packet=PacketSpec()), 600.0, [LOAD])
    soak = found.pieces[0].soak
    assert soak is not None
    assert soak.from_s is not None
    assert found.not_before_s == soak.sure_from_s
    assert soak.sure_from_s is not None
    assert soak.sure_from_s > soak.from_s + 10.0 > 970.0


def test_where_every_piece_is_from_waiting_to_hand_warm() -> None:
    known = (PieceInfo("A", charge="charge 1", place="2"), PieceInfo("B", charge="charge 1", place="slot 1"))
    load = Mark(60.0, "load", mark_id="aaaaaa")
    pull = Mark(1000.0, "pull", ("B",), mark_id="bbbbbb")
    plates = Mark(1012.0, "plates", ("B",), mark_id="cccccc")
    warm = Mark(1700.0, "hand-warm", ("B",), mark_id="dddddd")
    assert stands(side(HOT, 40.0, [], known=known)) == [("B", "waiting"), ("A", "waiting")]
    assert stands(side(HOT, 500.0, [load], known=known)) == [("B", "in"), ("A", "in")]
    out = side(HOT, 1010.0, [load, pull], known=known)
    assert stands(out) == [("B", "out"), ("A", "in")]
    assert (out.pulled_s, out.plates_within_s, out.expected.act, out.expected.names) == (1000.0, 30.0, "plates", ("B",))
    assert (out.not_before_s, out.not_after_s) == (None, None)  # the plates come first
    shut = side(HOT, 1020.0, [load, pull, plates], known=known)
    assert stands(shut) == [("B", "on the plates"), ("A", "in")]
    assert (shut.pulled_s, shut.expected.names) == (None, ("A",))
    assert stands(side(HOT, 1710.0, [load, pull, plates, warm], known=known)) == [("B", "hand-warm"), ("A", "in")]
    assert [(piece.slot, piece.charge) for piece in shut.pieces] == [(1, "charge 1"), (2, "charge 1")]


def test_a_second_charge_of_the_log_book_waits() -> None:
    known = (PieceInfo("A", charge="charge 1"), PieceInfo("C", charge="charge 2"))
    found = side(HOT, 500.0, [Mark(60.0, "load", mark_id="aaaaaa")], known=known)
    assert stands(found) == [("A", "in"), ("C", "waiting")]


def test_a_cold_furnace_before_the_load_mark_has_nothing_in_it() -> None:
    cold = replace(HOT, load="cold", load_at_c=None)
    known = (PieceInfo("A", charge="charge 1"),)
    room = ((0.0, 20.0), (3000.0, 21.0))
    assert stands(side(cold, 40.0, [], room, known)) == [("A", "waiting")]
    # Its look-alike: it heats, and nobody marked the load; they have ridden the ramp since the start.
    assert stands(side(cold, 400.0, [], ((0.0, 20.0), (400.0, 900.0)), known)) == [("A", "in")]


def test_a_charge_that_nobody_named_is_one_piece_without_a_name() -> None:
    found = side(HOT, 500.0, [Mark(60.0, "load", mark_id="aaaaaa")])
    assert stands(found) == [(None, "in")]
    assert found.not_before_s == pytest.approx(960.0, abs=0.1)
    assert found.expected.names == ()


def test_as_json_with_moments_of_the_clock_and_what_can_be_undone() -> None:
    marks = [LOAD, Mark(1000.0, "pull", ("A",), mark_id="bbbbbb", entered_t_s=1000.0, by="key")]
    found = at_the_furnace_state(side(HOT, 1010.0, marks), utc_s=UTC_S + 1010.0)
    assert found["next"] == {
        "act": "plates",
        "pieces": ["A"],
        "names": ["A"],
        "words": "plates of A",
        "not_before_ms": None,
        "not_after_ms": None,
    }
    assert found["pull"] == {
        "pieces": ["A"],
        "at_ms": round((UTC_S + 1000.0) * 1000),
        "ago_s": 10.0,
        "plates_within_s": 30.0,
    }
    (undo,) = found["undo"]
    assert (undo["id"], undo["words"], undo["by"]) == ("bbbbbb", "Pull of A", "key")
    assert undo["until_ms"] == round((UTC_S + 1120.0) * 1000)
    inside = found["pieces"][1]
    assert (inside["piece"], inside["stands"], inside["soak"]["complete"]) == ("B", "in", True)
    assert inside["soak"]["not_before_ms"] == pytest.approx((UTC_S + 960.0) * 1000, abs=100)
    assert found["slowest"] == 1
    nothing = at_the_furnace_state(side(HOT, 10.0, []), utc_s=UTC_S)
    assert (nothing["slowest"], nothing["pull"], nothing["undo"]) == (None, None, [])
