"""Pieces in holds: which stay is judged where, whose figures are the hold's, and what is said of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.calibration.correction import Correction
from soakwitness.analysis.recipes.model import PacketSpec, Recipe
from soakwitness.analysis.verification.model import HoldResult, PieceInfo, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.model import Act, Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s. Band +-5: in at 1950 s, out at 3170 s.
HOLD = [(0.0, 20.0), (1960.0, 1000.0), (3160.0, 1000.0), (5000.0, 80.0)]
TEN = simple_recipe((1000, 10, 5))
HOT = replace(TEN, load="hot", load_at_c=1000.0)


def mark(t_s: float, act: Act, *pieces: str) -> Mark:
    return Mark(t_s, act, pieces)


def checked(
    recipe: Recipe,
    *marks: Mark,
    corners: Sequence[tuple[float, float]] = HOLD,
    loads: dict[str, float] | None = None,
    pieces: tuple[PieceInfo, ...] = (),
) -> Verification:
    """``loads``: load sensors that show so much more than the furnace where it is hot."""
    t_s, temp_c = drawn(corners)
    columns, values = [sensor(expanded_uncertainty=0.1)], {"furnace": temp_c}
    for name, more_c in (loads or {}).items():
        columns.append(sensor(name, "load", expanded_uncertainty=0.1))
        values[name] = np.where(temp_c > 900, temp_c + more_c, temp_c)
    return verify(make_run(t_s, values, columns=columns, marks=marks), recipe, pieces=pieces)


def soaks(hold: HoldResult) -> dict[str | None, float]:
    return {piece.piece: round(piece.soak_s.best) for piece in hold.pieces}


def test_a_piece_that_went_in_twice_is_judged_by_its_longer_stay() -> None:
    marks = (mark(2000, "load", "A"), mark(2300, "pull", "A"), mark(2400, "load", "A"), mark(3100, "pull", "A"))
    found = checked(HOT, *marks)
    assert soaks(found.holds[0]) == {"A": 700}
    assert found.verdict == "pass"
    # The other way round, too.
    marks = (mark(2000, "load", "A"), mark(2700, "pull", "A"), mark(2800, "load", "A"), mark(3100, "pull", "A"))
    assert soaks(checked(HOT, *marks).holds[0]) == {"A": 700}


def test_each_hold_is_judged_by_the_stay_that_lies_in_it() -> None:
    # Out between the rounds, from 5100 to 9100 s.
    recipe = simple_recipe((200, 60, 8), (200, 60, 8))
    twice = [(0, 20), (1000, 200), (5000, 200), (9000, 40), (9500, 200), (13500, 200), (19000, 60)]
    marks = (mark(0, "load", "A"), mark(5100, "pull", "A"), mark(9100, "load", "A"), mark(13000, "pull", "A"))
    first, second = checked(recipe, *marks, corners=twice).holds
    assert [(p.load_s, p.pull_s) for p in (*first.pieces, *second.pieces)] == [(0, 5100), (9100, 13000)]
    # In from 20 + 172 at 955.6 s to the pull; in from 40 + 152 at 9475 s to the pull.
    assert soaks(first) == {"A": 5100 - 956}
    assert soaks(second) == {"A": 13000 - 9475}


def test_the_hold_s_figures_are_those_of_the_worst_piece_and_the_longest_of_any() -> None:
    marks = (mark(0, "load", "A", "B", "C"), mark(2300, "pull", "A"), mark(2700, "pull", "B"), mark(3100, "pull", "C"))
    (hold,) = checked(simple_recipe((1000, 10, 5), at_most_s=1000.0), *marks).holds
    assert soaks(hold) == {"A": 350, "B": 750, "C": 1150}
    assert hold.soak_s is not None
    assert hold.longest_s is not None
    assert (round(hold.soak_s.best), round(hold.longest_s.best)) == (350, 1150)
    assert {p.piece: p.verdict for p in hold.pieces} == {"A": "fail", "B": "pass", "C": "fail"}
    assert {p.piece: p.unmet for p in hold.pieces} == {"A": ("soak",), "B": (), "C": ("longest soak",)}
    assert hold.unmet == ("soak", "longest soak")
    assert hold.all_out


def test_a_pull_after_the_record_is_none_that_was_seen() -> None:
    assert not checked(TEN).holds[0].all_out
    assert not checked(TEN, mark(0, "load", "A"), mark(6000, "pull", "A")).holds[0].all_out
    assert checked(TEN, mark(0, "load", "A"), mark(4900, "pull", "A")).holds[0].all_out


def test_the_temperature_at_the_pull_is_that_of_the_work_with_what_its_calibration_says() -> None:
    marks = (mark(0, "load", "A", "B"), mark(3000, "pull", "A"), mark(3200, "pull", "B"))
    # 40 s after 3160 s at 0.5 K/s down from 1000.
    (hold,) = checked(TEN, *marks).holds
    assert {p.piece: p.pull_c for p in hold.pieces} == {"A": pytest.approx(1000.0), "B": pytest.approx(980.0)}
    (by_load,) = checked(TEN, *marks, loads={"blade": -2.0}).holds
    assert {p.piece: p.pull_c for p in by_load.pieces} == {"A": pytest.approx(998.0), "B": pytest.approx(978.0)}
    t_s, temp_c = drawn(HOLD)
    table = ((700.0, 1100.0), (-3.0, -3.0), (1.0, 1.0))
    known = {"furnace": Correction("t", "furnace", "shift", "", (), *table, done_on="2026-05-01", due_on="2027-05-01")}
    (true,) = verify(make_run(t_s, {"furnace": temp_c}, marks=marks), TEN, corrections=known).holds
    assert {p.piece: p.pull_c for p in true.pieces} == {"A": pytest.approx(997.0), "B": pytest.approx(977.0)}
    assert true.level_c == pytest.approx(997.0)
    (late,) = checked(TEN, mark(0, "load", "A"), mark(6000, "pull", "A")).holds
    assert late.pieces[0].pull_c is None


def test_of_several_load_sensors_the_coldest_soaks_and_the_hottest_is_too_hot() -> None:
    # One 3 below the furnace, in the band 6 s later and out 6 s earlier; one 8 above it.
    (hold,) = checked(TEN, loads={"cold": -3.0, "hot": 8.0}).holds
    assert hold.measured_by == "cold"
    assert hold.level_c == pytest.approx(997.0)
    assert hold.soak_s is not None
    assert hold.soak_s.best == pytest.approx(1220.0 - 12.0, abs=0.5)
    assert "too hot" in hold.unmet
    assert hold.too_hot is not None
    assert hold.too_hot.by_c == pytest.approx(3.0, abs=0.05)
    assert hold.overshoot_c == pytest.approx(8.0, abs=0.05)


def test_pieces_alike_have_one_figure_and_different_packets_their_own() -> None:
    packed = replace(simple_recipe((1000, 5, 5)), packet=PacketSpec(3.0))
    pieces = (PieceInfo("thin", 2.0), PieceInfo("also thin", 2.0), PieceInfo("thick", 4.0))
    (hold,) = checked(packed, pieces=pieces).holds
    found = soaks(hold)
    assert found["thin"] == found["also thin"] > found["thick"]  # type: ignore[operator]
    assert hold.soak_s is not None
    assert round(hold.soak_s.best) == found["thick"]
    lags = {p.piece: p.lag_s.best for p in hold.pieces if p.lag_s is not None}
    assert lags["thin"] == lags["also thin"] < lags["thick"]


def test_a_charge_that_only_the_marks_know_is_named_by_its_charge() -> None:
    marks = (mark(0, "load"), mark(3000, "pull"), mark(3020, "plates"))
    (hold,) = checked(TEN, *marks).holds
    (piece,) = hold.pieces
    assert (piece.piece, piece.charge, piece.quench_delay_s) == ("charge 1", "charge 1", 20)
    (nobody,) = checked(TEN).holds
    assert nobody.pieces == ()


def test_a_piece_that_was_never_in_a_hold_fails_it_where_it_should_have_been() -> None:
    # Loaded when the hold is over: nothing of it soaked.
    (hold,) = checked(HOT, mark(3300, "load", "A"), mark(3900, "pull", "A")).holds
    assert soaks(hold) == {"A": 0}
    assert hold.verdict == "fail"


def test_the_sensor_s_error_that_all_pieces_stand_is_the_smallest() -> None:
    # A is pulled 690 s after the enter, 90 s more than asked: 45 K later or earlier at the enter alone; B has more.
    marks = (mark(0, "load", "A", "B"), mark(2554, "pull", "A"), mark(3100, "pull", "B"))
    (hold,) = checked(TEN, *marks).holds
    first, second = (p.error_it_stands_c for p in hold.pieces)
    assert first is not None
    assert second is not None
    # 2554 - 1950 = 604 s: 4 s more than asked are 2 K at 0.5 K/s, less what rounding hides and the last whole reading.
    assert 1.0 <= first[1] <= 2.0
    assert second[1] == pytest.approx(5.0, abs=0.2)
    assert hold.error_it_stands_c == (max(first[0], second[0]), min(first[1], second[1]))
