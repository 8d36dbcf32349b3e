"""Stays that are none, on traces drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.passing import (
    began_anew_c,
    earlier_stay,
    later_stay,
    longer_than_passing_s,
    only_passes,
    passes_through,
    standing,
)
from soakwitness.analysis.verification.rules.states import BandStay

HOLD = Hold(2, 1000.0, 5.0, 5.0, 600.0)


def trace(*points: tuple[float, float]) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + 0.5)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, 1.0)


@pytest.mark.parametrize(
    ("stop_s", "passing"),
    # 10 K at 0.2 K/s before and after the stop: 50 s expected without one, 1.6 x that is 80 s.
    [(0, True), (20, True), (40, False), (600, False)],
)
def test_a_short_stay_is_only_passing_through(stop_s: float, passing: bool):
    course = trace((0, 900), (500, 1000), (500 + stop_s, 1000), (1000 + stop_s, 1100))
    there = Edges(475, 525 + stop_s, left_upward=True)
    assert passes_through(course, HOLD, there) is passing


@pytest.mark.parametrize(("stop_s", "passing"), [(0, True), (120, False)])
def test_a_short_hold_between_slow_ramps_is_one_where_it_stops(stop_s: float, passing: bool):
    # 10 K at 0.02 K/s take 500 s, and 1.6 x that are 800 s: a stop of 120 s is short of it.
    rng = np.random.default_rng(1)
    course = trace((0, 900), (5000, 1000), (5000 + stop_s, 1000), (10_000 + stop_s, 1100))
    noisy = Readings(course.t_s, course.temp_c + rng.normal(0, 0.2, course.t_s.size), 0.1, 1.0)
    assert passes_through(noisy, HOLD, Edges(4750, 5250 + stop_s, left_upward=True)) is passing


def test_turning_round_in_the_band_is_not_passing_through():
    course = trace((0, 900), (500, 1000), (1000, 900))
    assert not passes_through(course, HOLD, Edges(475, 525))


def test_the_rest_of_a_hold_after_a_cut_is_found_while_the_furnace_keeps_two_fifths_of_its_heat():
    course = trace((0, 1000), (500, 1000), (1000, 900), (1500, 1000), (2500, 1000), (3000, 900))
    assert later_stay(course, HOLD, Edges(0, 525), 3000) == BandStay(1475, 2525)
    cold = trace((0, 1000), (500, 1000), (2500, 390), (4500, 1000), (5500, 1000), (6000, 900))
    assert later_stay(cold, HOLD, Edges(0, 517), 6000) is None


def test_a_first_stand_before_a_cut_belongs_to_the_hold_too():
    # 500 s at the target, a power cut down to 700, then 1000 s: 500 s are over a quarter of the 600 s asked.
    course = trace((0, 900), (200, 1000), (700, 1000), (1600, 700), (2600, 1000), (3600, 1000), (3800, 800))
    found = earlier_stay(course, HOLD, BandStay(2590, 3600), 0.0)
    assert found is not None
    # In the band from 190 s on (995 at 0.5 K/s), out at 715 s (5 K at 1/3 K/s).
    assert (found.start_s, found.end_s) == (190, 715)
    # With a tenth of what is asked it was no hold yet; from hotter it is another hold's.
    assert earlier_stay(course, Hold(2, 1000.0, 5.0, 5.0, 6000.0), BandStay(2590, 3600), 0.0) is None
    hotter = trace(
        (0, 900), (200, 1000), (700, 1000), (1000, 1100), (1600, 900), (2600, 1000), (3600, 1000), (3800, 800)
    )
    assert earlier_stay(hotter, HOLD, BandStay(2590, 3600), 0.0) is None


def test_a_quench_passes_through_however_much_slower_it_gets():
    # 20 K/s before the band, 0.5 K/s after it.
    course = trace((0, 1040), (40, 240), (42, 200), (142, 150), (400, 40))
    assert passes_through(course, Hold(2, 200.0, 5.0, 5.0, 3600.0), Edges(41.75, 52.0))


def test_a_climb_that_slows_to_a_drift_behind_the_band_had_arrived():
    # 0.2 K/s up to 1000, then 0.02 K/s through the upper edge: 250 s in the upper half of the band.
    course = trace((0, 900), (500, 1000), (2500, 1040))
    assert not passes_through(course, HOLD, Edges(475, 750, left_upward=True))


def test_a_furnace_that_kept_two_fifths_of_its_heat_has_not_begun_anew():
    # 20 + 0.4 x 980
    assert began_anew_c(1000.0) == pytest.approx(412.0)


def test_slowing_down_behind_the_band_is_arriving():
    # 0.2 K/s before, and a tenth of that after the band: it had arrived, and drifted on; at half the speed it passes.
    for after_c_per_s, passing in ((0.02, False), (0.1, True)):
        course = trace((0, 900), (525, 1005), (1525, 1005 + 1000 * after_c_per_s))
        assert passes_through(course, HOLD, Edges(475, 525, left_upward=True)) is passing


def test_what_was_not_seen_to_enter_or_leave_is_no_passing():
    course = trace((0, 900), (500, 1000), (1000, 1100))
    assert passes_through(course, HOLD, Edges(475, 525, left_upward=True))
    assert not passes_through(course, HOLD, Edges(475, 525, entered=False, left_upward=True))
    assert not passes_through(course, HOLD, Edges(475, 525, left=False, left_upward=True))
    assert not passes_through(course, HOLD, Edges(475, 525, left_upward=False))
    falling = trace((0, 1100), (500, 1000), (1000, 900))
    assert passes_through(falling, HOLD, Edges(475, 525))


def test_speeds_are_taken_between_the_holds_around():
    # From a level at 988 at 0.2 K/s to the band, through it at half of that in 100 s, at 0.2 K/s on to a level at 1010.
    course = trace((0, 988), (440, 988), (475, 995), (575, 1005), (600, 1010), (1000, 1010))
    slowly = Edges(475, 575, left_upward=True)
    # 1.6 x 10 K at 0.2 K/s are 80 s: it lingered. Over two minutes either way, the levels in them, that would not show.
    assert not passes_through(course, HOLD, slowly, after_s=440.0, before_s=600.0)
    assert passes_through(course, HOLD, slowly)


def test_how_much_longer_than_its_speed_explains():
    # 10 K at 0.2 K/s are 50 s; a stop of 40 s in it is what is more.
    course = trace((0, 900), (500, 1000), (540, 1000), (1040, 1100))
    assert longer_than_passing_s(course, HOLD, 0, 1040) == pytest.approx(40.0, abs=2.0)
    assert longer_than_passing_s(trace((0, 900), (500, 1000), (1000, 1100)), HOLD, 0, 1000) == pytest.approx(0, abs=2)
    # Turned round in the band, or never in it.
    assert longer_than_passing_s(trace((0, 900), (500, 1000), (1000, 900)), HOLD, 0, 1000) == 0.0
    assert longer_than_passing_s(trace((0, 900), (500, 990), (1000, 900)), HOLD, 0, 1000) == 0.0


def test_the_longest_stand_in_the_band_is_found():
    # A hundred seconds, and later three hundred: 600 are asked for, a quarter of them is a hold.
    course = trace((0, 900), (200, 1000), (300, 1000), (500, 960), (700, 1000), (1000, 1000), (1300, 850))
    found = standing(course, HOLD, -np.inf, np.inf)
    assert found is not None
    # In from 675 (995 at 0.2 K/s) to 1010 s.
    assert (found.start_s, found.end_s) == (675.0, 1010.0)
    assert standing(course, HOLD, -np.inf, 600.0) is None
    short = trace((0, 900), (200, 1000), (330, 1000), (600, 850))
    # 150 s are a quarter: from 190 to 339 s are 149 s, to 341 s 151 s.
    assert standing(short, HOLD, -np.inf, np.inf) is None
    longer = trace((0, 900), (200, 1000), (333, 1000), (603, 850))
    assert standing(longer, HOLD, -np.inf, np.inf) is not None


def test_breaks_of_two_minutes_part_no_stand():
    def broken(break_s: float) -> Readings:
        return trace(
            (0, 900), (200, 1000), (300, 1000), (305, 990), (295 + break_s, 990), (300 + break_s, 1000),
            (400 + break_s, 1000), (700, 850),
        )  # fmt: skip

    assert standing(broken(115.0), HOLD, -np.inf, np.inf) is not None
    assert standing(broken(135.0), HOLD, -np.inf, np.inf) is None


def test_a_record_that_ends_in_a_stand_shows_it_however_short():
    for until_s, found in ((232.0, BandStay(190.0, 232.0)), (218.0, None)):
        assert standing(trace((0, 900), (200, 1000), (until_s, 1000)), HOLD, -np.inf, np.inf) == found


def test_a_trace_that_turned_round_above_its_limit_was_never_meant_for_more():
    # 500 s at 1009, 4 above the band, from and to below; some of it lies inside the band.
    beside = trace((0, 900), (200, 1004), (220, 1009), (700, 1009), (900, 850))
    assert standing(beside, HOLD, -np.inf, np.inf) is not None
    # Where it went on to more than a band's width above, that was another hold's climb.
    on = trace((0, 900), (200, 1004), (220, 1009), (700, 1009), (800, 1100), (1200, 850))
    found = standing(on, HOLD, -np.inf, np.inf)
    assert found is None


def test_a_further_stay_that_only_falls_through_is_none():
    # Out upwards to 1020, and down through the band at 0.2 K/s without a stop, or with one of 10 min.
    falling = trace((0, 1000), (500, 1000), (600, 1020), (850, 970))
    assert only_passes(falling, HOLD, BandStay(675, 725), 850.0)
    stopped = trace((0, 1000), (500, 1000), (600, 1020), (700, 1000), (1300, 1000), (1450, 970))
    assert not only_passes(stopped, HOLD, BandStay(675, 1325), 1450.0)
    # On the way up it may be the rest of the hold; without a reading inside it is none.
    rising = trace((0, 1000), (500, 1000), (600, 970), (750, 1000), (800, 1010), (900, 1030))
    assert not only_passes(rising, HOLD, BandStay(725, 775), 900.0)
    assert only_passes(falling, HOLD, BandStay(590, 610), 850.0)


def test_a_later_stay_is_no_passing_and_not_the_next_hold_s():
    course = trace((0, 1000), (500, 1000), (1000, 900), (1500, 1000), (2500, 1000), (3000, 900))
    # In again from 1475 s on: what goes on beyond the begin of the next hold is that one's.
    assert later_stay(course, HOLD, Edges(0, 525), 2400.0) is None
    # Less than 30 s in the band are no rest of a hold.
    for level_s, found in ((18.0, False), (24.0, True)):  # 5 K at 1 K/s before it and some 4 s after it
        spike = trace((0, 1000), (500, 1000), (600, 900), (700, 1000), (700 + level_s, 1000), (800, 900), (3000, 800))
        stay = later_stay(spike, HOLD, Edges(0, 505), 3000.0)
        assert (stay is not None) is found, stay


def test_an_earlier_stand_that_touches_the_record_s_begin_is_none():
    # It began inside the band: what came before is not known.
    course = trace((0, 1000), (500, 1000), (1600, 700), (2600, 1000), (3600, 1000), (3800, 800))
    assert earlier_stay(course, HOLD, BandStay(2590, 3600), 0.0) is None
    # A quarter of 600 s is 150 s: 10 s before the level and some 20 s after it count.
    for level_s, found in ((110.0, False), (130.0, True)):
        shown = trace(
            (0, 900), (200, 1000), (200 + level_s, 1000), (1600, 700), (2600, 1000), (3600, 1000), (3800, 800)
        )
        stay = earlier_stay(shown, HOLD, BandStay(2590, 3600), 0.0)
        assert (stay is not None) is found, stay
