"""Packets side by side in a verdict: places on record, places that are not, and runs that say nothing of a rack."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.results.verification import PieceInfo, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

RECIPE = replace(simple_recipe((1000, 20, 8)), packet=PacketSpec(3.0), steel="1095")
T_S, TEMP_C = drawn([(0.0, 20.0), (3000.0, 1000.0), (5000.0, 1000.0), (8000.0, 80.0)], every_s=5.0)
RACK = '\n[rack]\nslots = 6\nspacing_mm = 12\nstands_on = "floor"\n'


def run(rack: str | None = RACK, marks: tuple[Mark, ...] = ()) -> Run:
    made = make_run(T_S, {"pv": TEMP_C}, columns=(sensor("pv"),), marks=marks)
    return replace(made, header=replace(made.header, furnace_file=rack))


def charge(places: tuple[str | None, ...], **more: object) -> tuple[PieceInfo, ...]:
    return tuple(
        PieceInfo(f"P-{n}", 3.0, charge="one", place=place, **more)  # type: ignore[arg-type]
        for n, place in enumerate(places, 1)
    )


def soak_s(found: Verification) -> float:
    """The hold's soak by the best estimate of the piece that got the least."""
    soak = found.holds[0].soak_s
    assert soak is not None
    assert soak.best is not None
    return soak.best


def unseen(found: Verification) -> str:
    return " ".join(str(says) for says in found.not_seen)


LONE = verify(run(None), RECIPE, pieces=charge((None,)))


def test_alone_in_the_rack_is_as_without_one() -> None:
    for places in (("3",), (None,)):
        found = verify(run(), RECIPE, pieces=charge(places))
        assert soak_s(found) == soak_s(LONE)
        assert unseen(found) == unseen(LONE)


def test_neighbours_in_known_slots_take_of_the_soak() -> None:
    ends = verify(run(), RECIPE, pieces=charge(("1", "6")))
    close = verify(run(), RECIPE, pieces=charge(("1", "2")))
    row = verify(run(), RECIPE, pieces=charge(("1", "2", "3", "4", "5", "6")))
    assert soak_s(LONE) > soak_s(ends) > soak_s(close) > soak_s(row)
    assert "rack" not in unseen(row)


def test_the_worst_place_is_judged_and_it_is_said_where_places_are_not_known() -> None:
    known = verify(run(), RECIPE, pieces=charge(("1", "2", "3")))
    unknown = verify(run(), RECIPE, pieces=charge(("1", None, "front")))
    assert soak_s(unknown) == pytest.approx(soak_s(known), abs=1.0)  # the middle of three
    assert "places in the rack are not all on record (P-1, P-2, P-3)" in unseen(unknown)


def test_a_charge_of_which_nothing_is_known_is_the_middle_of_a_full_rack() -> None:
    found = verify(run(), RECIPE)
    row = verify(run(), RECIPE, pieces=charge(("1", "2", "3", "4", "5", "6")))
    assert soak_s(found) == pytest.approx(soak_s(row), abs=1.0)
    assert "a full rack" in unseen(found)


def test_without_a_rack_several_together_are_said_to_be_taken_alone() -> None:
    found = verify(run(None), RECIPE, pieces=charge((None, None)))
    assert soak_s(found) == soak_s(LONE)
    assert "no [rack] in the furnace file" in unseen(found)
    assert "[rack]" not in unseen(LONE)
    assert "[rack]" not in unseen(verify(run(None), RECIPE))


def test_packets_that_lie_on_the_hearth_are_in_no_rack() -> None:
    lying = verify(run(), RECIPE, pieces=charge(("1", "2"), heated_faces=1))
    alone = verify(run(None), RECIPE, pieces=charge(("1",), heated_faces=1))
    assert soak_s(lying) == soak_s(alone)


def test_those_that_went_in_later_are_no_neighbours() -> None:
    marks = (Mark(0.0, "load", ("P-1",), mark_id="a"), Mark(600.0, "load", ("P-2",), mark_id="b"))
    found = verify(run(marks=marks), RECIPE, pieces=charge(("1", "2")))
    assert "rack" not in unseen(found)
    assert soak_s(found) == pytest.approx(soak_s(LONE), rel=0.02)


def test_a_furnace_file_that_nobody_can_read_says_nothing_of_a_rack() -> None:
    found = verify(run("[rack]\nslots = many\n"), RECIPE, pieces=charge((None, None)))
    assert "no [rack]" in unseen(found)


def test_the_hottest_of_a_piece_with_an_unknown_place_is_that_at_the_end_of_the_row() -> None:
    unknown = verify(run(), RECIPE, pieces=charge((None, None, None)))
    assert unknown.work is not None
    assert LONE.work is not None
    assert np.all(unknown.work.high_c >= LONE.work.high_c - 1e-6)
    assert np.any(unknown.work.low_c < LONE.work.low_c - 1.0)


def test_the_short_verdict_names_neighbours_among_what_is_not_known() -> None:
    def not_known(found: Verification) -> list[str]:
        return [str(says) for says in found.in_short.not_known]

    beside = "what stood beside each packet"
    assert beside in not_known(verify(run(), RECIPE, pieces=charge(("1", None))))
    assert beside in not_known(verify(run(None), RECIPE, pieces=charge((None, None))))
    assert beside not in not_known(verify(run(), RECIPE, pieces=charge(("1", "2"))))
    assert beside not in not_known(LONE)
