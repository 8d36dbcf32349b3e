"""Several heats by the same recipe in one record: each charge by its own, and what nobody marked is said."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.verification.heats import Heat, heats_of
from soakwitness.analysis.verification.model import Verification
from soakwitness.analysis.verification.readings import Readings
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.model import Act, Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

FIFTEEN = simple_recipe((1000, 15, 5))
DAY_S = 20_000.0


def two_heats(first_min: float, second_min: float, level_c: float = 1000.0) -> list[tuple[float, float]]:
    """Up at 0.5 K/s, so long at the level, cold in five hours, and the same once more with 1000."""
    corners: list[tuple[float, float]] = [(0, 20)]
    for begin, minutes, level in ((0.0, first_min, level_c), (DAY_S, second_min, 1000.0)):
        arrives = begin + (level - 20.0) * 2.0
        corners += [
            (arrives, level),
            (arrives + minutes * 60.0, level),
            (begin + 15_000.0, 30.0),
            (begin + DAY_S, 20.0),
        ]
    return corners


def verified(corners: list[tuple[float, float]], *marks: tuple[float, Act, str]) -> Verification:
    t_s, temp_c = drawn(corners, every_s=5.0)
    given = tuple(Mark(t, act, (name,)) for t, act, name in marks)
    return verify(make_run(t_s, {"furnace": temp_c}, columns=[sensor()], marks=given), FIFTEEN)


def test_a_record_is_parted_where_the_furnace_was_cold_between_two_such_heats():
    t_s, temp_c = drawn(two_heats(18, 18), every_s=5.0)
    trace = Readings(t_s, temp_c, 0.1, 5.0)
    first, second = heats_of(trace, FIFTEEN)
    assert (first.start_s, second.end_s) == (-float("inf"), float("inf"))
    assert first.end_s == second.start_s == pytest.approx(DAY_S, abs=30.0)
    # Hardening and temper in one record are one heat of one recipe; the rounds of a double temper too.
    assert heats_of(trace, simple_recipe((1000, 15, 5), (200, 60, 5))) == heats_of(trace, FIFTEEN)
    assert heats_of(trace, replace(FIFTEEN, repeat=2)) == (Heat(),)
    # Two tempers written out, cold between them, are one heat as well.
    assert heats_of(trace, simple_recipe((1000, 15, 5), (1000, 30, 5))) == (Heat(),)


@pytest.mark.parametrize(("first", "second", "fails"), [(18, 9, "B2"), (9, 18, "B1"), (18, 18, None)])
def test_each_piece_is_judged_by_the_heat_that_it_was_in(first: float, second: float, fails: str | None):
    ends = [1960 + first * 60, DAY_S + 1960 + second * 60]
    found = verified(
        two_heats(first, second),
        (0, "load", "B1"), (ends[0] - 5, "pull", "B1"), (DAY_S, "load", "B2"), (ends[1] - 5, "pull", "B2"),
    )  # fmt: skip
    pieces = {p.piece: p for p in found.holds[0].pieces}
    # In the band 10 s before it is at 1000, until the pull 5 s before it leaves.
    assert pieces["B1"].soak_s.best == pytest.approx(first * 60 + 5, abs=5.0)
    assert pieces["B2"].soak_s.best == pytest.approx(second * 60 + 5, abs=5.0)
    assert [name for name, p in pieces.items() if p.verdict == "fail"] == ([fails] if fails else [])
    assert found.verdict == ("fail" if fails else "pass")


@pytest.mark.parametrize(("first", "second"), [(18, 9), (9, 18), (18, 18)])
def test_without_marks_a_soak_once_met_stays_met_and_the_other_heat_is_named(first: float, second: float):
    found = verified(two_heats(first, second))
    assert found.verdict == "pass"
    (says,) = (str(f.says) for f in found.findings if f.code == "not on record")
    assert "2 heats" in says
    assert "5:3" in says  # the second began at 20,000 s


def test_without_marks_a_heat_that_was_too_hot_is_not_made_good_by_the_next():
    assert verified(two_heats(18, 18, level_c=1030.0)).verdict == "fail"


def test_a_heat_without_marks_beside_one_with_them_is_said():
    found = verified(two_heats(18, 9), (0, "load", "B1"), (3035, "pull", "B1"))
    assert found.verdict == "pass"
    assert any("has no marks" in str(f.says) for f in found.findings)


def test_a_load_mark_while_the_furnace_is_still_cooling_is_for_the_next_heat():
    # Marked in the evening at 16,000 s, four thousand seconds before the furnace was coldest and lit again.
    found = verified(
        two_heats(18, 18),
        (0, "load", "B1"), (3035, "pull", "B1"), (16_000, "load", "B2"), (DAY_S + 3035, "pull", "B2"),
    )  # fmt: skip
    assert {p.piece: p.verdict for p in found.holds[0].pieces} == {"B1": "pass", "B2": "pass"}


def test_a_cold_charge_into_a_warm_furnace_begins_no_second_heat():
    # At 185 of 185 +-8 the furnace falls to 60 in the minute after the load, and is back in four.
    corners = [(0, 185), (280, 185), (340, 60), (580, 185), (5800, 185), (9000, 60)]
    t_s, temp_c = drawn(corners, every_s=10.0)
    temper = simple_recipe((185, 70, 8))
    assert heats_of(Readings(t_s, temp_c, 0.1, 10.0), temper) == (Heat(),)
    marks = (Mark(275, "load", ("B1",)), Mark(5805, "pull", ("B1",)))
    found = verify(make_run(t_s, {"furnace": temp_c}, columns=[sensor()], marks=marks), temper)
    (piece,) = found.holds[0].pieces
    # Back above 177 within 240 s of 125 K, 15.4 s before it is at 185; out with the pull.
    assert piece.soak_s.best == pytest.approx(5805 - 564.6, abs=5.0)
