"""What is known of a furnace before a run."""

from __future__ import annotations

import pytest

from soakwitness.analysis.evidence.arrival import Arrival
from soakwitness.analysis.planning.furnace_known import (
    Climb,
    FiguresError,
    Recovery,
    by_hand,
    from_runs,
    generic_furnace,
)


def test_figures_by_hand_are_temperatures_with_their_minutes() -> None:
    """From 20 to 600 degC in 20 min is 580 K in a third of an hour, 1740 K/h; 300 K in 25 min are 720 K/h."""
    known = by_hand("600:20, 900:45", unit="C", name="shed")
    assert known.climb == ((20.0, pytest.approx(1740.0)), (600.0, pytest.approx(720.0)))
    assert (known.source, known.name) == ("by hand", "shed")
    assert known.rate_c_per_h(300.0) == pytest.approx(1740.0)
    assert known.rate_c_per_h(850.0) == pytest.approx(720.0)
    assert known.rate_c_per_h(1050.0) < 720.0  # nothing is known up there, and no furnace gets faster


def test_figures_by_hand_in_fahrenheit() -> None:
    """1112 degF are 600 degC."""
    assert by_hand("1112:20", unit="F").climb[0][1] == pytest.approx(1740.0)


@pytest.mark.parametrize("text", ["600", "600:20,500:30", "600:20,900:20", "hot:20", "600:20;900:45", "0600:-2"])
def test_figures_that_cannot_be_are_refused_with_an_example(text: str) -> None:
    with pytest.raises(FiguresError, match=r"600:20,900:45|above the one before"):
        by_hand(text, unit="C")


def test_runs_tell_the_middle_of_each_window_and_how_far_they_differ() -> None:
    climbs = [{"100": 1000.0, "200": 800.0}, {"100": 1100.0, "200": 880.0}, {"100": 900.0, "200": 720.0}]
    known = from_runs("shed", [Climb(one) for one in climbs], ())
    assert known.climb == ((100.0, 1000.0), (200.0, 800.0))
    assert known.source == "log book"
    assert known.runs == 3
    # ln 1.1 = 0.0953 is the middle size; 1.4826 of it are 0.141, and a guess of 0.12 counts as three runs more
    assert known.climb_spread == pytest.approx(0.131, abs=0.001)


def test_one_run_does_not_put_the_guess_aside() -> None:
    """One arrival with no overshoot and the guess of 2 K weigh the same; three put it aside."""
    one, three = (from_runs("shed", (), [Arrival(1040.0, 60.0, 0.0, None)] * n) for n in (1, 3))
    assert one.arrival.overshoot.value == pytest.approx(1.0)
    assert three.arrival.overshoot.value == 0.0
    assert three.arrival.settle.value == pytest.approx(60.0)
    assert three.arrival.settle.spread < generic_furnace().arrival.settle.spread


def test_a_run_that_climbed_faster_than_another_at_full_power_shows_what_the_furnace_can() -> None:
    """One weak run was at full power with 148 K/h; seven followed 400 K/h and had power left. A hold slows a window."""
    weak = Climb({"700": 900.0, "900": 148.0}, {"700": 900.0, "900": 148.0})
    usual = Climb({"700": 950.0}, {"700": 950.0, "900": 400.0})
    slow = Climb({}, {"700": 90.0})
    known = from_runs("shed", [weak, *[usual] * 7, slow], ())
    assert known.rate_c_per_h(950.0) == 400.0
    assert known.rate_c_per_h(750.0) == 950.0


def test_a_window_with_a_hold_in_it_is_not_taken_for_slow() -> None:
    """Full power is known up to 700 only; 100 K in a quarter of an hour is the hold at 780: 0.85 of 1000 is guessed."""
    known = from_runs("shed", [Climb({"600": 1000.0}, {"600": 1000.0, "700": 400.0})] * 3, ())
    assert known.rate_c_per_h(750.0) == pytest.approx(850.0)


def test_a_hold_is_reached_as_others_near_its_target_were() -> None:
    """After full power the chamber creeps into 780, after a slow ramp it turns sharply into 1040."""
    creeps, turns = Arrival(780.0, 170.0, 0.0, 0.6), Arrival(1040.0, 28.0, 1.6, 0.6)
    known = from_runs("shed", (), [creeps, turns] * 4)
    assert known.arrival_at(790.0).settle.value == pytest.approx(170.0)
    assert known.arrival_at(1055.0).settle.value == pytest.approx(28.0)
    assert known.arrival_at(1200.0) == known.arrival


def test_one_run_in_which_something_broke_leaves_the_spread_as_it_was() -> None:
    usual = [Arrival(1040.0, 28.0, 1.6, 0.6)] * 7
    odd = from_runs("shed", (), [*usual, Arrival(1040.0, 28.0, 22.7, 0.2)])
    assert odd.arrival.overshoot.value == pytest.approx(1.6)
    assert odd.arrival.overshoot.spread < 1.5


def test_a_load_takes_as_long_as_its_steel_is_much() -> None:
    """6 mm took 165 s, 45 of them the open door: 20 s a mm, so 24 mm take 45 + 480."""
    known = from_runs("shed", (), (), [Recovery(165.0, 6.0), Recovery(285.0, 12.0), Recovery(45.0 + 9 * 20.0, 9.0)])
    assert known.recovery_s(24.0) == pytest.approx(525.0)
    assert known.recovery_s(3.0) == pytest.approx(105.0)


def test_a_load_of_which_nobody_wrote_what_it_was_says_less_and_nothing_of_smaller_ones() -> None:
    written = from_runs("shed", (), (), [Recovery(225.0, 9.0)] * 3)
    unwritten = from_runs("shed", (), (), [Recovery(225.0)] * 3)
    assert written.recovery_s(18.0) == pytest.approx(45.0 + 180.0 * 2.0)
    assert unwritten.recovery_s(18.0) == pytest.approx(45.0 + 180.0 * 2.0**0.5)
    assert unwritten.recovery_s(3.0) == pytest.approx(225.0)
    assert written.recovery_s(3.0) == pytest.approx(45.0 + 180.0 / 3.0)
    assert unwritten.recovery.spread > written.recovery.spread + 0.2


def test_runs_with_pieces_on_record_put_those_without_aside() -> None:
    known = from_runs("shed", (), (), [Recovery(225.0, 9.0)] * 3 + [Recovery(2000.0)] * 5)
    assert known.recovery_s(9.0) == pytest.approx(225.0)


def test_a_furnace_with_little_to_spare_takes_longer_for_a_load_that_nobody_saw() -> None:
    """160 K/h from 900 degC on, where 450 are usual: it has so much less to spare, and takes longer for the steel."""
    slow = by_hand("900:60,1000:97.5", unit="C")
    assert slow.climb[-1] == pytest.approx((900.0, 160.0))
    usual_s = generic_furnace().recovery_s(9.0) - 45.0
    assert slow.recovery_s(9.0) == pytest.approx(45.0 + usual_s * 450.0 / 160.0)
    seen = from_runs("shed", (Climb({"900": 160.0}),), (), [Recovery(450.0, 9.0)] * 3)
    assert seen.recovery_s(9.0) == pytest.approx(450.0)  # what was seen needs no guess
