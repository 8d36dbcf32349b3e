"""A gap that was longer than it is on record: after it no soak is surely too short, and no longest soak surely kept."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.inputs.uncertain_gaps import UncertainGap, uncertain_gaps
from soakwitness.analysis.verification.results.report import as_json
from soakwitness.analysis.verification.results.verification import HoldResult, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Event
from tests.verification_runs import drawn, make_run, simple_recipe

# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s. Band +-5: in at 1950 s, out at 3170 s, soak 1220 s.
HOLD = [(0.0, 20.0), (1960.0, 1000.0), (3160.0, 1000.0), (5000.0, 80.0)]
TWENTY_FIVE = simple_recipe((1000, 25, 5))
# What the recorder writes where the clock of a computer without a battery stands before the last row.
LONGER = "gap 1.000 s, from {} to {} s; uncertain, and longer than that: the computer's clock stands 20 min before"
BY_CLOCK = "gap 1.000 s, from {} to {} s; uncertain, by the computer's clock"


def checked(at_s: float, detail: str = LONGER, recipe: Recipe = TWENTY_FIVE, *, lost_s: float = 1.0) -> Verification:
    """The run with a restart after the reading at ``at_s`` [s]; the next reading stands ``lost_s`` later [s]."""
    t_s, temp_c = drawn(HOLD)
    kept = (t_s <= at_s) | (t_s >= at_s + lost_s)
    events = [Event(at_s + lost_s, "", "resumed", detail.format(at_s, at_s + lost_s))]
    return verify(make_run(t_s[kept], {"furnace": temp_c[kept]}, events=events), recipe)


def only(found: Verification) -> HoldResult:
    (hold,) = found.holds
    return hold


def test_the_events_say_whether_a_gap_was_longer() -> None:
    t_s = np.array([0.0, 10.0, 20.0, 30.0])

    def gaps(detail: str) -> tuple[UncertainGap, ...]:
        return uncertain_gaps(make_run(t_s, {"pv": t_s}, events=[Event(20.0, "", "resumed", detail)]))

    assert gaps(LONGER) == (UncertainGap(10.0, 20.0, longer=True),)
    assert gaps(BY_CLOCK) == (UncertainGap(10.0, 20.0, longer=False),)
    assert gaps("gap 10.000 s; exact") == ()


def test_a_hold_with_such_a_gap_in_it_is_not_surely_too_short() -> None:
    found = checked(2500.0)
    hold = only(found)
    assert hold.verdict == "not proven"
    assert hold.soak_s is not None
    # The second of the gap is never certain, nor one at either edge, half a step of the reading away.
    assert (hold.soak_s.low, hold.soak_s.best) == (pytest.approx(1217, abs=0.5), pytest.approx(1220, abs=0.5))
    assert hold.soak_s.high == inf
    (short,) = (f for f in found.findings if f.code == "short soak")
    assert short.severity == "warn"
    assert "soaked 20.3 min (or longer) at the control sensor, 4.7 min short of 25 min" in str(short.says)
    assert "The computer was off for longer than is on record; the furnace may have held meanwhile." in str(short.says)
    assert (
        "The computer restarted within the run with its clock behind; that gap was longer than it is on record, nobody "
        "knows by how much, and it never counts as soak."
    ) in map(str, found.not_seen)


def test_a_gap_by_the_computers_clock_counts_at_most_as_recorded() -> None:
    hold = only(checked(2500.0, BY_CLOCK))
    assert hold.verdict == "fail"
    assert hold.soak_s is not None
    assert hold.soak_s.high == pytest.approx(1220, abs=2.0)


@pytest.mark.parametrize("at_s", [1000.0, 3600.0])
def test_where_the_furnace_was_below_the_band_it_counts_at_most_as_recorded(at_s: float) -> None:
    assert only(checked(at_s)).verdict == "fail"


@pytest.mark.parametrize(("at_s", "lost_s"), [(1900.0, 200.0), (3100.0, 300.0)])
def test_one_side_in_the_band_is_enough(at_s: float, lost_s: float) -> None:
    # It may have come before, or stood on until it was switched off.
    assert only(checked(at_s, lost_s=lost_s)).verdict == "not proven"
    assert only(checked(at_s, BY_CLOCK, lost_s=lost_s)).verdict == "fail"


def test_enough_soak_beside_the_gap_is_enough_but_nobody_knows_how_hot_it_was_meanwhile() -> None:
    hold = only(checked(2500.0, recipe=simple_recipe((1000, 10, 5))))
    assert hold.soak_s is not None
    assert hold.soak_s.low > 600.0
    assert (hold.verdict, hold.limits_verdict) == ("not proven", "not proven")
    assert only(checked(2500.0, BY_CLOCK, simple_recipe((1000, 10, 5)))).verdict == "pass"


def test_what_such_a_gap_hides_of_an_overshoot_has_no_bound() -> None:
    """By the recorded second it could not have gone 3 K up and back; it was longer, nobody knows by how much."""
    recipe = simple_recipe((1000, 10, 5), max_overshoot_c=3.0)
    by_clock, longer = only(checked(2500.0, BY_CLOCK, recipe)), only(checked(2500.0, LONGER, recipe))
    assert (by_clock.verdict, by_clock.overshoot_is_at_least) == ("pass", False)
    assert (longer.verdict, longer.overshoot_is_at_least) == ("not proven", True)


def test_such_a_gap_outside_the_hold_says_nothing_of_its_overshoot() -> None:
    recipe = simple_recipe((1000, 10, 5), max_overshoot_c=3.0)
    assert not only(checked(1000.0, LONGER, recipe)).overshoot_is_at_least


def test_a_longest_soak_is_not_surely_kept() -> None:
    recipe = simple_recipe((1000, 10, 5), at_most_s=1500.0)
    assert only(checked(2500.0, BY_CLOCK, recipe)).verdict == "pass"
    hold = only(checked(2500.0, LONGER, recipe))
    assert hold.verdict == "not proven"
    assert hold.longest_s is not None
    assert hold.longest_s.high == inf
    assert "Hold at 1000 °C: readings without the gaps in it." in map(str, hold.proves)
    # 1219 s are certain: over 1200 for sure.
    assert only(checked(2500.0, LONGER, simple_recipe((1000, 10, 5), at_most_s=1200.0))).verdict == "fail"


def test_a_hold_that_such_a_gap_may_hide_is_not_missing() -> None:
    # Straight on to 1000; 600 was to be held for 10 min, and the computer went off there for a recorded second.
    two = simple_recipe((600, 10, 5), (1000, 10, 5))
    assert checked(1160.0, BY_CLOCK, two).holds[0].verdict == "fail"
    first = checked(1160.0, LONGER, two).holds[0]
    assert (first.found, first.on_record, first.verdict) == (False, False, "not proven")


def test_as_json_a_bound_that_nobody_knows_is_null() -> None:
    found = replace(checked(2500.0), not_seen=())
    text = json.dumps(as_json(found), allow_nan=False)
    (step,) = (step for step in json.loads(text)["steps"] if "soak_s" in step)
    assert step["soak_s"]["high"] is None
    assert step["in_band_s"]["cumulative"]["high"] is None
