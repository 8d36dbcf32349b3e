"""The soak clock never says complete where ``verify`` of the record so far fails: the campaign's short form."""

from __future__ import annotations

import pytest

from tests.clock_agreement import tally_of
from tests.clock_runs import ClockRun, clock_run
from tests.named_cases import named_cases

RUNS = 60
MOST_ROWS = 3500  # a run of more takes the clock seconds
PARTS = 6


NAMED = ("sag_then_hotter", "frozen_reading", "loose_contact", "burnt_out_in_the_hold_60", "equalising_stands_at_1000")


@pytest.mark.parametrize("name", NAMED)
def test_runs_on_which_a_clock_was_wrong_once(name: str) -> None:
    case = named_cases()[name]
    tally = tally_of([ClockRun(0, (name,), case.run, case.recipe)])
    assert tally["complete although verify fails"] == []
    assert all(abs(off_s) <= 10.0 for off_s, *_ in tally["distances"]), tally["distances"]  # type: ignore[misc]


DRAWN = (
    6197,  # two charges without names, the first complete: the second is not, and named as not
    6112,  # a level without noise until the door, whose first reading is waited for
)


@pytest.mark.parametrize("seed", DRAWN)
def test_drawn_runs_on_which_the_two_differed_once(seed: int) -> None:
    tally = tally_of([clock_run(seed)])
    assert tally["complete told"]
    assert tally["complete although verify fails"] == []
    assert all(abs(off_s) <= 10.0 for off_s, *_ in tally["distances"]), tally["distances"]  # type: ignore[misc]


@pytest.mark.parametrize("part", range(PARTS))
def test_the_clock_and_verify_say_the_same(part: int) -> None:
    drawn = [run for seed in range(part, RUNS, PARTS) if (run := clock_run(seed)).run.t_s.size <= MOST_ROWS]
    tally = tally_of(drawn)
    assert tally["runs"]
    assert tally["complete although verify fails"] == []
    assert tally["never complete although verify passes"] == []
    assert tally["piece unknown to the clock"] == []
    assert all(abs(off_s) <= 60.0 for off_s, *_ in tally["distances"]), tally["distances"]  # type: ignore[misc]
