"""The plan against blades that are solved as differential equations of their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.packet.piece import PacketModel, generic_packet
from soakwitness.analysis.planning.blades import entering
from soakwitness.analysis.planning.day import day_of, rounds_of
from soakwitness.analysis.planning.expected_chamber import OF_A_WAVE, ChamberCourse
from soakwitness.analysis.planning.furnace_known import FurnaceKnown, UsualArrival, WithSpread
from soakwitness.analysis.planning.learning import Learned
from soakwitness.analysis.planning.plan import PieceToPlan, Plan, PlanInputs, plan_to_dict
from soakwitness.analysis.planning.planning import NothingToPlan, as_if_measured, make_plan, out_times_s
from soakwitness.analysis.recipes.recipe import Hold, PacketSpec, Program, Ramp, Recipe
from tests.packet_oracle import TruePacket, shown_late, solve

KNOWN = FurnaceKnown(
    "shed",
    "log book",
    8,
    8,
    ((100.0, 1400.0), (700.0, 900.0), (1000.0, 500.0)),
    0.05,
    UsualArrival(WithSpread(40.0, 0.2), WithSpread(2.0, 1.0)),
)


def recipe(
    *, rate: float | None = 400.0, most_min: float | None = 40.0, hot: bool = False, below: float = 6.0
) -> Recipe:
    steps = (
        Ramp(1, 780.0),
        Hold(2, 780.0, 8.0, 8.0, 600.0, soak_from="control"),
        Ramp(3, 1040.0, rate),
        Hold(4, 1040.0, below, 6.0, 1500.0, at_most_s=None if most_min is None else most_min * 60.0),
    )
    made = Recipe("Chef's blades", "C", steps, steel="S44004")
    return replace(made, load="hot", load_at_c=780.0) if hot else made


def measured(mm: float = 3.0, **figures: float) -> PacketModel:
    return replace(
        as_if_measured(generic_packet(PacketSpec(mm), "S44004")), fitted=True, fitted_from="a run", **figures
    )


def planned(packet: PacketModel, asked: Recipe | None = None, **more: object) -> Plan:
    inputs = PlanInputs(asked or recipe(), (PieceToPlan("B-1", packet),), KNOWN)
    return make_plan(replace(inputs, **more))  # type: ignore[arg-type]


def soak_of(plan: Plan, true: TruePacket, *, rate_k_per_s: float, settles_s: float, lag_s: float = 0.1) -> float:
    """Soak of a true blade that comes out when the plan says [s]: the chamber rises, settles, and is held.

    The plan counts from when a sensor that lags by ``lag_s`` shows the chamber in the band.
    """

    def chamber(t: float) -> float:
        corner = (1040.0 - rate_k_per_s * settles_s - 20.0) / rate_k_per_s  # a first-order end without a corner
        return (
            20.0 + rate_k_per_s * t
            if t < corner
            else 1040.0 - rate_k_per_s * settles_s * np.exp(-(t - corner) / settles_s)
        )

    at = np.arange(0.0, 4 * 3600.0, 5.0)
    shown = shown_late(at, np.array([chamber(t) for t in at]), lag_s)
    enter_s = float(at[shown >= 1034.0][0])
    blade = solve(true, chamber, at)
    in_band_s = float(at[blade >= 1034.0][0])
    return enter_s + plan.last.pieces[0].out_s - in_band_s


@pytest.mark.parametrize(
    ("eps_o", "f_i", "gap_mm", "rate", "settles_s"),
    [(0.6, 0.19, 1.0, 0.11, 40.0), (0.5, 0.16, 1.5, 0.11, 60.0), (0.7, 0.22, 0.7, 0.13, 25.0)],
)
def test_a_measured_packet_gets_its_soak_and_little_more(
    eps_o: float, f_i: float, gap_mm: float, rate: float, settles_s: float
) -> None:
    """True packets within run-to-run scatter of the measured one (15 % of the emissivities, 30 % of the gap)."""
    plan = planned(measured())
    true = TruePacket(3.0, eps_o, f_i, gap_mm)
    soak_s = soak_of(plan, true, rate_k_per_s=rate, settles_s=settles_s)
    assert 1500.0 <= soak_s <= 1.15 * 1500.0
    assert plan.both


@pytest.mark.parametrize("gap_mm", [0.6, 2.2])
def test_generic_figures_take_longer_and_still_reach_it(gap_mm: float) -> None:
    generic = planned(generic_packet(PacketSpec(4.0), "S44004"))
    assert generic.last.typed_s > planned(measured(4.0)).last.typed_s
    soak_s = soak_of(generic, TruePacket(4.0, 0.55, 0.17, gap_mm), rate_k_per_s=0.11, settles_s=60.0)
    assert 1500.0 <= soak_s <= 2.0 * 1500.0
    assert not generic.measured


def test_the_least_and_the_most_that_cannot_both_be_are_said_and_the_most_is_kept() -> None:
    thick = generic_packet(PacketSpec(12.0), "S44004")
    plan = planned(thick, recipe(rate=None, most_min=26.0))
    one = plan.last.pieces[0]
    assert not plan.both
    assert one.out_s == one.latest_s
    assert one.soak.high_s <= 26.0 * 60.0 + 1e-6
    assert one.soak.low_s < 1500.0
    assert str(plan.says[0]).startswith("Not both can be sure (B-1): at least 25 min and at most 26 min.")


def test_thin_and_thick_ones_come_out_by_themselves_where_no_moment_suits_both() -> None:
    pieces = (PieceToPlan("thick", measured(10.0)), PieceToPlan("thin", measured(1.0)))
    plan = make_plan(PlanInputs(recipe(rate=None, most_min=38.0), pieces, KNOWN))
    thick, thin = plan.last.pieces
    assert plan.both
    assert thin.out_s < thick.out_s
    assert not plan.together
    assert plan.order == ("thin", "thick")
    assert thin.soak.high_s <= 38.0 * 60.0


def test_what_is_known_of_the_sensor_is_typed_and_a_deliberate_offset_does_not_count_twice() -> None:
    asked = replace(recipe(), program=Program(offset_c=4.0, extra_s=480.0))
    plain = planned(measured(), asked)
    known = planned(measured(), asked, set_to_c={4: 1046.4}, error_c={4: 2.0})
    assert plain.last.setpoint_c == 1044.0
    assert known.last.setpoint_c == 1046.4
    assert known.last.shown_c == pytest.approx(1040.4)  # 6 below the target, and the sensor shows 6.4 too much
    assert known.last.typed_s >= plain.last.typed_s  # U of the sensor is on the cold side too
    assert any("extra are not added" in str(says) for says in plain.says)
    assert any("would count twice" in str(says) for says in known.says)


def test_a_charge_for_the_hot_furnace_goes_in_once_it_has_stood_there() -> None:
    """Stands 5 min, is set back by the load, then has its ten minutes."""
    plan = planned(measured(), recipe(hot=True))
    first = plan.holds[0]
    assert plan.load is not None
    assert plan.load.best_s == pytest.approx(first.enter.best_s + 300.0, abs=10.0)
    assert first.loaded
    assert first.typed_s > 900.0


def test_a_blade_that_is_to_be_in_the_first_hold_too_is_waited_for_there() -> None:
    steps = recipe().steps
    own = replace(recipe(), steps=(steps[0], replace(steps[1], soak_from="work"), *steps[2:]))
    assert planned(measured(), own).holds[0].typed_s > planned(measured()).holds[0].typed_s + 60.0


def test_what_was_learned_moves_the_lag_and_draws_it_together() -> None:
    plain = planned(generic_packet(PacketSpec(3.0), "S44004"), recipe(rate=None))
    taught = planned(
        generic_packet(PacketSpec(3.0), "S44004"), recipe(rate=None), learned=Learned(runs=6, factor=1.2, spread=0.1)
    )
    few = planned(
        generic_packet(PacketSpec(3.0), "S44004"), recipe(rate=None), learned=Learned(runs=4, factor=1.2, spread=0.1)
    )
    before, after = plain.last.pieces[0].shown_lag, taught.last.pieces[0].shown_lag  # what a run shows it by
    assert after.best_s == pytest.approx(1.2 * before.best_s)
    assert after.high_s / after.best_s < before.high_s / before.best_s
    assert few.last.pieces[0].shown_lag == before


def test_the_day_after_follows_the_order_of_the_recipe() -> None:
    plan = planned(measured(), replace(recipe(), order=("harden", "cold treatment", "temper", "temper")))
    day = day_of(plan)
    assert day is not None
    kinds = [(step.kind, step.number) for step in day.steps]
    assert kinds == [("cold treatment", 0), ("temper", 1), ("temper", 2)]
    assert day.steps[1].by_s == pytest.approx(plan.out.best_s + 4 * 3600.0)  # SAE AMS 2759, from memory
    assert day.steps[0].by_s == pytest.approx(plan.out.best_s + 2 * 3600.0)  # itself and warming up again take two
    assert [a.ends_s <= b.begins_s for a, b in zip(day.steps, day.steps[1:], strict=False)] == [True, True]


def test_a_recipe_without_a_hold_has_nothing_to_plan() -> None:
    with pytest.raises(NothingToPlan, match="has no hold"):
        planned(measured(), Recipe("ramp", "C", (Ramp(1, 780.0),)))


def test_same_inputs_same_plan() -> None:
    assert plan_to_dict(planned(measured())) == plan_to_dict(planned(measured()))


def test_a_hold_below_another_is_entered_from_above() -> None:
    steps = (
        Ramp(1, 780.0, 300.0),
        Hold(2, 780.0, 10.0, 10.0, 3600.0),
        Ramp(3, 650.0, 60.0),
        Hold(4, 650.0, 10.0, 10.0, 1800.0, soak_from="control"),
    )
    plan = planned(measured(), Recipe("Anneal", "C", steps))
    assert plan.last.shown_c == 660.0
    assert day_of(plan) is None


def test_a_deliberate_offset_moves_the_chamber_where_nothing_is_known_of_the_sensor() -> None:
    """Set 4 K below its target in a band of 6, the blade is 2 K above the lower edge at last: it comes there later."""
    asked = recipe(most_min=None)
    low = replace(asked, program=Program(offset_c=-4.0))
    later, usual = (planned(measured(), one).last.pieces[0].lag for one in (low, asked))
    assert later.high_s > usual.high_s + 30.0


def test_rounds_follow_each_other_with_cooling_between() -> None:
    one = (Ramp(1, 200.0, 200.0), Hold(2, 200.0, 10.0, 10.0, 7200.0))
    two = tuple(replace(step, number=step.number + 2, cycle=2) for step in one)
    plan = planned(measured(), Recipe("Temper", "C", (*one, *two), repeat=2, cool_below_c=50.0))
    (again,) = rounds_of(plan)
    assert again.begins_s == pytest.approx(plan.out.best_s + 3600.0)
    assert again.ends_s - again.begins_s == pytest.approx(plan.out.best_s)
    assert day_of(plan) is None


@pytest.mark.parametrize(
    ("lag_s", "reads_low_c", "earlier_s"), [(0.0, 0.0, 0.0), (30.0, 0.0, 30.0), (-10.0, 2.0, 10.0)]
)
def test_the_chamber_is_in_the_band_before_its_display_shows_it(
    lag_s: float, reads_low_c: float, earlier_s: float
) -> None:
    """On a ramp a sensor of first order shows everything its lag later; 2 K are 20 s at 0.1 K/s."""
    t_s = 10.0 * np.arange(1300.0)
    course = ChamberCourse(t_s, 20.0 + 0.1 * t_s, {1: 9800.0}, {1: 9900.0}, None, reads_low_c)
    found = entering(course, Hold(1, 1006.0, 6.0, 6.0, 1500.0), np.array([lag_s]))
    assert found[0] == pytest.approx(9800.0 - earlier_s, abs=0.5)


@pytest.mark.parametrize("lag_s", [8.0, 40.0])
def test_a_slow_sensor_shows_part_of_the_lag_and_the_soak_is_met_all_the_same(lag_s: float) -> None:
    """Part of the blade's lag is over when the display shows the chamber in the band.

    Of what a run told of the sensor half is taken for its own lag, about 20 s, which grows as the ramp slows: 8 s are
    20 - 6 = 14, 40 s are 30.
    """
    plan = planned(measured(sensor_lag_s=lag_s, sensor_lag_spread_s=4.0))
    one = plan.last.pieces[0]
    assert one.lag.best_s - one.shown_lag.best_s == pytest.approx(14.0 if lag_s == 8.0 else 30.0, rel=0.35)
    soak_s = soak_of(plan, TruePacket(), rate_k_per_s=0.11, settles_s=40.0, lag_s=lag_s)
    assert 1500.0 <= soak_s <= 1.15 * 1500.0


def test_what_a_sensor_may_read_wrong_moves_the_chamber_beside_what_is_shown() -> None:
    """The display comes to what is set all the same: 4 K too much shown at 0.11 K/s is a blade half a minute later."""
    plain, wrong = (planned(measured(), error_c={4: expanded_c}) for expanded_c in (0.2, 8.0))
    assert wrong.last.enter.best_s == plain.last.enter.best_s
    assert wrong.last.pieces[0].shown_lag.high_s > plain.last.pieces[0].shown_lag.high_s + 10.0


@pytest.mark.parametrize(
    ("windows", "times"),
    [
        ([(100.0, 200.0), (120.0, 190.0), (110.0, None)], [120.0, 120.0, 120.0]),
        ([(100.0, 130.0)] * 2, [100.0, 100.0]),  # the second half a minute later, at 130
        ([(100.0, 150.0), (140.0, None), (100.0, 165.0)], [100.0, 160.0, 130.0]),
        ([(100.0, 120.0)] * 2, [90.0, 120.0]),  # the first too early: neither is to have too much
    ],
)
def test_one_hand_pulls_the_pieces_in_turn(windows: list[tuple[float, float | None]], times: list[float]) -> None:
    assert out_times_s(windows, 30.0) == times


def test_a_heavy_load_into_the_hot_furnace_is_waited_for_longer() -> None:
    asked, known = replace(recipe(most_min=None), load="hot", load_at_c=1040.0), WithSpread(450.0, 0.5)
    furnace = replace(KNOWN, recovery=known)
    one, six = (
        make_plan(PlanInputs(asked, tuple(PieceToPlan(f"B-{n}", measured()) for n in range(count)), furnace))
        for count in (1, 6)
    )
    assert six.last.pieces[0].lag.best_s > one.last.pieces[0].lag.best_s + 300.0


def swinging(packet: PacketModel, swing_c: float) -> Plan:
    """In a furnace that goes up and down every five minutes, and of which else all is known."""
    steady = UsualArrival(WithSpread(40.0, 0.2), WithSpread(0.0, 0.0), WithSpread(0.0, 0.0))
    furnace = replace(KNOWN, arrival=replace(steady, swing_c=swing_c, swing_s=300.0 if swing_c else None))
    known = {"furnace": furnace, "set_to_c": {4: 1040.0}, "error_c": {4: 0.01}}
    return planned(replace(packet, fitted=True), recipe(most_min=None), **known)


def test_a_thick_blade_in_foil_does_not_follow_a_swing() -> None:
    """It takes several minutes to follow the chamber: a swing of five leaves a tenth of itself, by hand."""
    plain, longer = (swinging(measured(8.0), swing_c) for swing_c in (0.0, 9.0))
    assert (
        longer.last.below_share < 0.05
    )  # but where sensor and place are at their worst, and it hardly reaches the edge
    assert longer.last.pieces[0].lag.best_s > plain.last.pieces[0].lag.best_s  # it is in the band after the first crest


def test_on_a_slow_ramp_a_swinging_chamber_is_in_the_band_long_before_the_blade() -> None:
    """The mean climbs 2 K a minute: a crest of 8.2 K as shown is in the band 246 s before it, by hand.

    The chamber's own crest is higher than what a sensor shows that lags by up to 31 s: 1.9 times in a swing of 120 s.
    """
    steady = UsualArrival(WithSpread(40.0, 0.2), WithSpread(0.0, 0.0), WithSpread(0.0, 0.0))
    plain, swings = (
        planned(measured(), recipe(rate=120.0, most_min=None), furnace=replace(KNOWN, arrival=one))
        for one in (steady, replace(steady, swing_c=9.0, swing_s=120.0))
    )
    longer_s = swings.last.pieces[0].lag.high_s - plain.last.pieces[0].lag.high_s
    assert 246.0 < longer_s < 1.9 * 246.0


def test_minutes_are_added_where_the_furnace_swings_out_of_the_band() -> None:
    """Half a swing of 8.2 K about 1040, band from 1034: a bare thin blade is below for acos(6 / 8.2) / pi, by hand."""
    plain, longer = (swinging(generic_packet(PacketSpec(1.5, foil=False), "S44004"), swing_c) for swing_c in (0.0, 9.0))
    share = np.arccos(6.0 / (OF_A_WAVE * 9.0)) / np.pi
    assert plain.last.below_share == 0.0
    assert longer.last.below_share >= 0.9 * share
    assert longer.last.pieces[0].earliest_s >= plain.last.pieces[0].earliest_s + 1500.0 / (1.0 - 0.9 * share) - 1500.0
    assert any("swings by" in str(says) for says in longer.says)
    assert not any("swings by" in str(says) for says in plain.says)


def test_a_furnace_that_nobody_saw_in_a_hold_may_swing() -> None:
    """Three of ten such do, by 7.3 K: of a band that begins 6 below, a thin blade is out for a fifth of a turn."""
    thin = generic_packet(PacketSpec(1.5, foil=False), "S44004")
    unseen = planned(thin, recipe(most_min=None), furnace=replace(KNOWN, arrivals=0))
    seen = planned(thin, recipe(most_min=None))
    assert seen.last.below_share == 0.0
    assert unseen.last.below_share >= 0.15
    assert any("No run tells whether the furnace swings" in str(says) for says in unseen.says)
