"""What the page says at the furnace: sentences and targets, moments by hand from the corners of straight courses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC
from typing import Any

import pytest

from soakwitness.analysis.live.at_the_furnace import AtTheFurnace
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.cli.words.turn_words import clock_time, done_words, turn_words
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.analysis.live.test_at_the_furnace import HOT, LOAD, side

START_S = 1.8e9 + 4 * 60.0  # 2027-01-15T08:04:00Z
HELD = ((0.0, 1050.0), (9000.0, 1050.0))
COOLS = ((0.0, 1050.0), (1200.0, 1050.0), (1800.0, 400.0), (9000.0, 60.0))


def said(found: AtTheFurnace, lead: str = "Step 1: as it stands") -> dict[str, Any]:
    return turn_words(found, utc_s=START_S + found.t_s, zone=UTC, unit="C", clock=None, lead=lead)


def at(t_s: float, *marks: Mark, corners: Sequence[tuple[float, float]] = HELD) -> dict[str, Any]:
    return said(side(HOT, t_s, [LOAD, *marks], corners))


def pull(t_s: float, *names: str) -> Mark:
    return Mark(t_s, "pull", names, mark_id=f"bb{int(t_s):04x}", entered_t_s=t_s)


def plates(t_s: float, *names: str) -> Mark:
    return Mark(t_s, "plates", names, mark_id=f"cc{int(t_s):04x}", entered_t_s=t_s)


def test_clock_times_are_never_earlier_than_not_before_nor_later_than_not_after() -> None:
    assert clock_time(START_S, UTC) == clock_time(START_S, UTC, up=True) == "08:04"
    assert clock_time(START_S + 1.0, UTC) == "08:04"
    assert clock_time(START_S + 1.0, UTC, up=True) == "08:05"


def test_it_leads_with_the_name_and_the_clock_time() -> None:
    """Loaded at 60 s into a furnace in band, 900 s asked: complete at 960 s, 08:04 + 16 min; too late after 1560 s."""
    words = at(600.0)
    assert words["says"] == "A comes out next, not before 08:20."
    assert words["more"] == ["A, the slowest, has had 9 of 15 min (at the control sensor)."]
    assert (words["tone"], words["at_hand"]) == ("wait", False)
    assert words["target"] == {"act": "pull", "names": ["A"], "says": "A is out"}
    assert words["bar"]["share"] == pytest.approx(540 / 900, abs=1e-3)
    assert (words["bar"]["had"], words["bar"]["asked"]) == ("9 min had", "15 min asked")


@pytest.mark.parametrize(
    ("t_s", "tone", "at_hand", "says"),
    [
        (838.0, "wait", False, "A comes out next, not before 08:20."),  # more than two minutes before
        (842.0, "wait", True, "A comes out next, not before 08:20."),
        (962.0, "now", True, "A comes out now, then B."),
        (1562.0, "late", True, "A comes out now: overdue, then B."),
    ],
)
def test_the_moment_of_pulling_has_its_window_and_nothing_else(t_s: float, tone: str, at_hand: bool, says: str) -> None:
    words = at(t_s)
    assert (words["tone"], words["at_hand"], words["says"]) == (tone, at_hand, says)
    if tone == "now":
        assert words["more"][1] == "Not before 08:20, not after 08:30."


def test_where_the_sure_moment_is_later_than_the_best_estimate_it_says_so() -> None:
    found = side(HOT, 962.0, [LOAD])  # complete since 960 s
    assert found.not_before_s is not None
    words = said(replace(found, not_before_s=found.not_before_s + 120.0))  # as with time that nothing was read
    assert words["says"] == "A comes out next, not before 08:22."
    assert any("the one that is sure" in line for line in words["more"])


def test_the_way_to_the_quench_is_the_pulled_pieces_alone() -> None:
    words = at(1000.0, pull(990.0, "A"))
    assert words["says"] == "A goes to the quench, within 30 s of the pull."
    assert words["target"] == {"act": "plates", "names": ["A"], "says": "A is on the plates"}
    assert words["at_hand"]
    assert words["where"] == ["out at 08:20", "in"]  # 990 s are 16.5 min after 08:04
    assert [tap["act"] for tap in words["taps"]] == ["plates", "pull"]
    words = at(1010.0, pull(990.0, "A"), plates(1000.0, "A"))
    assert words["says"] == "B comes out now."


def test_a_blade_that_has_cooled_in_the_furnace_is_not_told_to_come_out() -> None:
    """From 1200 s on it falls by 650 K in 600 s: 100 K below the band (944) at 1200 + 106/650 x 600 = 1298 s."""
    assert at(1250.0, corners=COOLS)["tone"] == "now"
    for t_s in (1400.0, 1700.0, 4000.0):
        words = at(t_s, corners=COOLS)
        assert words["tone"] == "wait", t_s
        assert not words["at_hand"], t_s
        assert "comes out now" not in words["says"], t_s
        assert words["bar"] is None, t_s


def test_without_a_recipe_the_living_sentence_leads() -> None:
    found = side(HOT, 100.0, [])
    words = said(replace(found, pieces=()), "1:40 into the run")
    assert (words["says"], words["more"]) == ("1:40 into the run.", [])
    assert words["target"]["says"] == "The charge is in"


def test_pieces_of_the_log_book_are_named_in_the_order_of_the_rack() -> None:
    known = [PieceInfo(name, charge="1", place=f"slot {k}") for k, name in enumerate(("C", "A", "B"), start=1)]
    words = said(side(HOT, 30.0, [], known=known))
    assert words["says"] == "C, A and B go in next."
    assert words["target"] == {"act": "load", "names": [], "says": "C, A and B are in"}


def test_what_a_mark_says_was_done() -> None:
    assert done_words(["A", "B"], "pull") == "A and B are out"
    assert done_words([], "plates") == "The charge is on the plates"
    assert done_words([], "door") == "The door was opened"
    assert done_words(["A"], "hand-warm") == "A is hand-warm"
