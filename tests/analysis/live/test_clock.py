"""The soak clock on runs whose truth is written down here, by hand from the corners of the trace."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.counting import count_soak
from soakwitness.analysis.live.followed_sensors import LiveSensor
from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.live.living_sentence import sentence
from soakwitness.analysis.live.state import ClockState
from soakwitness.analysis.packet.estimate import estimate
from soakwitness.analysis.packet.piece import generic_packet
from soakwitness.analysis.recipes.recipe import Hold, PacketSpec, Ramp, Recipe
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.clock_agreement import soaks_of

TWO_HOLDS = Recipe(
    "two holds",
    "C",
    (
        Ramp(1, 780.0),
        Hold(2, 780.0, 8.0, 8.0, 600.0, dip_s=120.0),
        Ramp(3, 1040.0, 400.0),
        Hold(4, 1040.0, 6.0, 6.0, 1500.0, dip_s=120.0),
    ),
)
IN_FOIL = replace(TWO_HOLDS, packet=PacketSpec())
ONE_HOT = Recipe("hot", "C", (Hold(1, 1050.0, 6.0, 6.0, 900.0, dip_s=120.0),), load="hot", load_at_c=1050.0)
TEMPER = Recipe(
    "double temper",
    "C",
    (
        Ramp(1, 200.0),
        Hold(2, 200.0, 5.0, 5.0, 7200.0, dip_s=120.0),
        Ramp(3, 200.0, cycle=2),
        Hold(4, 200.0, 5.0, 5.0, 7200.0, dip_s=120.0, cycle=2),
    ),
    cool_below_c=50.0,
)
WITH_LOAD = (LiveSensor("control", "control"), LiveSensor("load", "load", 3.0))
Corners = tuple[tuple[float, float], ...]
COURSE: Corners = ((0, 20), (1900, 780), (2600, 780), (4940, 1040), (6740, 1040), (7000, 700))


def run(
    clock: SoakClock,
    corners: Corners,
    *,
    every_s: float = 1.0,
    until_s: float | None = None,
    marks: Iterable[Mark] = (),
    load: Callable[[float], float | None] = lambda t: None,
) -> ClockState:
    """Feed a course of straight lines; marks are heard from their time of entry on."""
    times, temps = zip(*corners, strict=True)
    everything = tuple(marks)
    for t in np.arange(times[0], (until_s or times[-1]) + 1e-9, every_s):
        heard = tuple(m for m in everything if (m.entered_t_s if m.entered_t_s is not None else m.t_s) <= t)
        seen = {"control": float(np.interp(t, times, temps)), "load": load(float(t))}
        clock.read(float(t), seen, marks=heard)
    state = clock.state()
    assert state is not None
    return state


def test_a_count_pauses_in_a_short_dip_and_starts_again_after_a_long_one() -> None:
    hold, work = Hold(1, 105.0, 5.0, 5.0, 600.0, dip_s=120.0), KeptReadings(every_s=200.0, resolution_c=0.0)
    # From 90 to 110 in 60 s: half of it above 100. Then 100 s in, below for 20 + 90 + 10 = 120 s, a pause; 10 + 20 s
    # in, below for 20 + 91 + 10 = 121 s, and 10 s.
    for t, c in ((0, 90), (60, 110), (160, 110), (200, 90), (290, 90), (310, 110)):
        work.add(t, c)
    assert count_soak(work, hold, 0.0, 310.0, 0.0).soak_s == pytest.approx(30 + 100 + 20 + 10)
    for t, c in ((350, 90), (441, 90), (461, 110)):
        work.add(t, c)
    count = count_soak(work, hold, 0.0, 461.0, 0.0)
    assert count.soak_s == pytest.approx(10)
    assert count.longest_s == pytest.approx(180)


def test_without_a_packet_the_control_sensor_counts() -> None:
    # Enter at 780 - 8: 1900 x 752/760 = 1880 s; so 120 s of soak at 2000 s.
    state = run(SoakClock(TWO_HOLDS), COURSE, until_s=2000)
    assert (state.hold, state.step, state.phase) == (1, 2, "in")
    (piece,) = state.pieces
    assert piece.source == "control"
    assert piece.soak_s == pytest.approx(2000 - 1880, abs=0.01)
    assert piece.left_s == pytest.approx(600 - 120, abs=0.01)
    assert sentence(state) == "Step 2: blade in band 2:00 of 10:00, complete in 8:00 (at the control sensor)"


def test_between_the_holds_it_says_how_far_to_go() -> None:
    state = run(SoakClock(TWO_HOLDS), COURSE, until_s=4040)  # 100 K below 1040
    assert (state.hold, state.phase) == (2, "before")
    assert sentence(state).startswith("Step 4: chamber at 940 °C, 94 °C to go to the band")
    assert "202 °F" not in sentence(state, "F")
    assert "169.2 °F to go" in sentence(state, "F")  # a difference: x 1.8, never + 32


def test_the_last_hold_says_when_to_take_out() -> None:
    # Enter at 1034: 2600 + 2340 x 254/260 = 4886 s
    state = run(SoakClock(TWO_HOLDS), COURSE, until_s=6006)
    assert sentence(state) == "Step 4: blade in band 18:40 of 25:00, take out in 6:20 (at the control sensor)"
    done = run(SoakClock(TWO_HOLDS), COURSE, until_s=6400)
    assert done.complete
    assert not done.overdue
    assert sentence(done).startswith("Step 4: blade in band 25:14 of 25:00, soak complete: take out")


def test_overdue_at_the_longest_soak_of_the_recipe() -> None:
    hold = replace(TWO_HOLDS.holds[1], at_most_s=1620.0)
    recipe = replace(TWO_HOLDS, steps=(*TWO_HOLDS.steps[:3], hold))
    assert not run(SoakClock(recipe), COURSE, until_s=4886 + 1615).overdue
    late = run(SoakClock(recipe), COURSE, until_s=4886 + 1625)
    assert late.overdue
    assert "overdue" in sentence(late)


def test_the_packet_estimate_counts_where_the_recipe_has_a_packet() -> None:
    t = np.arange(0.0, 7001.0)
    c = np.interp(t, *zip(*COURSE, strict=True))
    work = estimate(t, c, packet=generic_packet(PacketSpec()), draws=2)
    for until_s in (2300.0, 6006.0):
        state = run(SoakClock(IN_FOIL), COURSE, until_s=until_s)
        lower, since = (772.0, 1880.0) if until_s < 3000 else (1034.0, 4886.0)
        crossed = work.lag_s(lower, since).best_s
        assert crossed is not None
        (piece,) = state.pieces
        assert piece.source == "packet estimate"
        assert piece.soak_s == pytest.approx(max(until_s - since - crossed, 0.0), abs=3.0)
    assert "(estimated in the packet)" in sentence(state)


def test_while_the_blade_is_short_of_the_band_it_says_when_it_will_be_there() -> None:
    state = run(SoakClock(IN_FOIL), ((0, 20), (1900, 780), (4000, 780)), until_s=1960)
    (piece,) = state.pieces
    assert not piece.in_band
    assert piece.left_s is not None
    told_s = 1960 + piece.left_s
    clock, when = SoakClock(IN_FOIL), None
    for t in range(0, 4000):
        clock.read(float(t), {"control": float(np.interp(t, [0, 1900, 4000], [20, 780, 780]))})
        now = clock.state()
        if when is None and now is not None and now.pieces and now.pieces[0].complete:
            when = t
    assert when == pytest.approx(told_s, abs=10)
    assert "below the band, soak 0:00 of 10:00, complete in" in sentence(state)


def test_the_slow_end_of_the_estimate_comes_later() -> None:
    (piece,) = run(SoakClock(IN_FOIL), COURSE, until_s=6006).pieces
    assert piece.left_s is not None
    assert piece.sure_in_s is not None
    assert piece.sure_in_s > piece.left_s


def test_time_without_a_reading_counts_but_nobody_can_be_sure_of_it() -> None:
    # 380 K/1,000 s up to 780 degC at 2,000 s: in the band (772) from 1,978.9 s on; 600 s of soak are asked for, so the
    # best is complete at 2,578.9 s. Nothing is read from 2,100 to 2,340 s: without these 240 s it is at 2,818.9 s.
    clock = SoakClock(Recipe("one", "C", (Ramp(1, 780.0), Hold(2, 780.0, 8.0, 8.0, 600.0, dip_s=120.0))), every_s=2.0)
    told = {}
    for t in (*range(0, 2101, 2), *range(2340, 2900, 2)):
        clock.read(float(t), {"control": float(np.interp(t, [0, 2000, 4000], [20, 780, 780]))})
        told[t] = sentence(clock.state())
    assert "take out in 7:58 (" in told[2100]
    assert "take out in 3:58, to be sure in 7:58" in told[2340]
    assert "soak complete, to be sure in 2:58: take out" in told[2640]
    assert "soak complete: take out" in told[2820]


def test_complete_by_the_best_estimate_still_says_when_it_is_sure() -> None:
    short = replace(
        IN_FOIL, steps=(*IN_FOIL.steps[:1], replace(IN_FOIL.holds[0], required_s=240.0), *IN_FOIL.steps[2:])
    )
    words = sentence(run(SoakClock(short), COURSE, until_s=6500))
    assert words.startswith("Step 4: blade in band 25:42 of 25:00, soak complete, to be sure in 1:")
    assert words.endswith(": take out, gloves and face shield on (estimated in the packet)")


def test_a_first_hold_that_was_too_short_for_the_packet_is_never_complete() -> None:
    """The blade is 5:11 in the first hold, of 10:00: ``verify`` fails that, whatever comes after."""
    state = run(SoakClock(IN_FOIL), COURSE, until_s=6500)
    assert state.pieces[0].complete
    assert not state.complete
    assert sentence(state) == (
        "Step 4: blade in band 25:42 of 25:00, the soak is over, but not to the recipe: 5:11 of 10:00 in step 2 "
        "(estimated in the packet)"
    )


def test_a_load_sensor_goes_before_the_estimate_up_to_its_thickness() -> None:
    def lagging(t: float) -> float:
        return float(np.interp(t - 300, *zip(*COURSE, strict=True)))

    (piece,) = run(SoakClock(IN_FOIL, sensors=WITH_LOAD), COURSE, until_s=6006, load=lagging).pieces
    assert piece.source == "load"
    assert piece.soak_s == pytest.approx(6006 - 4886 - 300, abs=0.01)
    thick = generic_packet(PacketSpec(thickness_mm=5))
    (piece,) = run(
        SoakClock(IN_FOIL, packet=thick, sensors=WITH_LOAD, known=[PieceInfo("B", thickness_mm=5.0)]),
        COURSE,
        until_s=6006,
        load=lagging,
    ).pieces
    assert piece.source == "packet estimate"


def test_soak_from_control_overrides_the_packet() -> None:
    steps = tuple(replace(s, soak_from="control") if isinstance(s, Hold) else s for s in IN_FOIL.steps)
    (piece,) = run(SoakClock(replace(IN_FOIL, steps=steps)), COURSE, until_s=6006).pieces
    assert (piece.source, round(piece.soak_s)) == ("control", 1120)


DIP: Corners = (*COURSE[:4], (5500, 1040), (5510, 1000), (5570, 1000), (5580, 1040), (6740, 1040))


def test_a_short_dip_pauses_and_a_long_one_starts_again() -> None:
    # Below 1034 from 5501.5 to 5578.5: 77 s
    state = run(SoakClock(TWO_HOLDS), DIP, until_s=6000)
    assert state.pieces[0].soak_s == pytest.approx(6000 - 4886 - 77, abs=0.1)
    strict = replace(TWO_HOLDS, steps=(*TWO_HOLDS.steps[:3], replace(TWO_HOLDS.holds[1], dip_s=60.0)))
    state = run(SoakClock(strict), DIP, until_s=6000)
    assert state.pieces[0].soak_s == pytest.approx(6000 - 5578.5, abs=0.1)
    paused = run(SoakClock(TWO_HOLDS), DIP, until_s=5560)
    assert sentence(paused).startswith("Step 4: blade 34 °C below the band since 0:58, soak stands at 10:15 of 25:00")


def test_a_door_dip_of_the_control_sensor_is_no_dip_of_the_blade() -> None:
    quick: Corners = (*COURSE[:4], (6000, 1040), (6008, 1020), (6020, 1040), (6740, 1040))
    with_dip = run(SoakClock(IN_FOIL), quick, until_s=6500).pieces[0]
    without = run(SoakClock(IN_FOIL), COURSE, until_s=6500).pieces[0]
    assert with_dip.soak_s == pytest.approx(without.soak_s, abs=0.5)


def test_overshoot_above_the_first_hold_is_not_the_climb() -> None:
    over: Corners = ((0, 20), (1900, 780), (1960, 795), (2060, 775), (2600, 780), (4940, 1040), (6740, 1040))
    state = run(SoakClock(TWO_HOLDS), over, until_s=2400)
    assert (state.hold, state.phase) == (1, "in")
    assert state.pieces[0].soak_s == pytest.approx(2400 - 1880, abs=0.1)
    assert run(SoakClock(TWO_HOLDS), over, until_s=6000).hold == 2


def test_the_climb_away_does_not_count_for_the_hold_before() -> None:
    climbing = run(SoakClock(TWO_HOLDS), COURSE, until_s=3000)
    assert (climbing.hold, climbing.phase) == (2, "before")
    assert climbing.pieces[0].soak_s == 0.0


def test_a_hold_that_was_left_out_is_passed_over() -> None:
    state = run(SoakClock(TWO_HOLDS), ((0, 20), (3000, 1040), (5000, 1040)), until_s=4000)
    assert (state.hold, state.phase) == (2, "in")
    # Enter at 1034: 3000 x 1014/1020
    assert state.pieces[0].soak_s == pytest.approx(4000 - 3000 * 1014 / 1020, abs=0.1)


def test_holds_twenty_degrees_apart() -> None:
    near = Recipe(
        "near",
        "C",
        (Hold(1, 800.0, 5.0, 5.0, 600.0, dip_s=120.0), Hold(2, 820.0, 5.0, 5.0, 600.0, dip_s=120.0)),
    )
    state = run(SoakClock(near), ((0, 20), (1000, 800), (1700, 800), (1820, 820), (3000, 820)), until_s=2500)
    assert state.hold == 2
    assert state.pieces[0].soak_s == pytest.approx(2500 - (1700 + 120 * 15 / 20), abs=0.1)


def test_a_restart_in_the_hold_starts_the_soak_again() -> None:
    cut: Corners = (*COURSE[:4], (5500, 1040), (6100, 800), (7000, 1040), (9000, 1040))
    state = run(SoakClock(TWO_HOLDS), cut, until_s=8000)
    assert (state.hold, state.phase) == (2, "in")
    assert state.pieces[0].soak_s == pytest.approx(8000 - (6100 + 900 * 234 / 240), abs=0.1)


def test_a_restart_from_cold_begins_with_the_first_hold() -> None:
    cold: Corners = (*COURSE[:4], (5200, 1040), (9000, 100), (11000, 780), (11400, 780))
    state = run(SoakClock(TWO_HOLDS), cold, until_s=11200)
    assert (state.hold, state.phase) == (1, "in")
    assert state.pieces[0].soak_s == pytest.approx(11200 - (9000 + 2000 * 672 / 680), abs=0.1)


def test_a_double_temper_with_cooling_between() -> None:
    twice: Corners = ((0, 20), (1000, 200), (8300, 200), (11000, 40), (12000, 200), (20000, 200))
    first = run(SoakClock(TEMPER), twice, until_s=5000)
    assert (first.hold, first.take_out) == (1, True)
    # 40 to 195 of 160 degC in 1000 s
    second = run(SoakClock(TEMPER), twice, until_s=13000)
    assert (second.hold, second.step) == (2, 4)
    assert second.pieces[0].soak_s == pytest.approx(13000 - (11000 + 1000 * 155 / 160), abs=0.1)


def test_a_double_temper_in_a_furnace_that_stays_hot() -> None:
    marks = (Mark(0.0, "load", ("A",)), Mark(8300.0, "pull", ("A",)), Mark(10000.0, "load", ("A",)))
    hot: Corners = ((0, 20), (1000, 200), (30000, 200))
    state = run(SoakClock(TEMPER), hot, until_s=12000, every_s=2.0, marks=marks)
    assert state.hold == 2
    assert state.pieces[0].pieces == ("A",)


def test_loaded_hot_each_charge_counts_from_its_own_mark() -> None:
    hot = replace(ONE_HOT, packet=PacketSpec())
    packets = {"A": generic_packet(PacketSpec(thickness_mm=2)), "B": generic_packet(PacketSpec(thickness_mm=6))}
    marks = (Mark(600.0, "load", ("A", "B")), Mark(900.0, "load", ("C",)), Mark(1800.0, "pull", ("A",)))
    level: Corners = ((0, 1050), (4000, 1050))
    clock = SoakClock(hot, packets=packets)
    state = run(clock, level, until_s=1700, marks=marks)
    by_name = {piece.pieces: piece for piece in state.pieces}
    assert set(by_name) == {("A",), ("B",), ("C",)}
    for name, mm, load_s in ((("A",), 2, 600.0), (("B",), 6, 600.0), (("C",), 3, 900.0)):
        packet = generic_packet(PacketSpec(thickness_mm=mm))
        t = np.arange(0.0, 4001.0)
        lag = estimate(t, np.full(t.size, 1050.0), packet=packet, load_t_s=load_s, draws=2).lag_s(1044.0, load_s)
        assert lag.best_s is not None
        assert by_name[name].soak_s == pytest.approx(max(1700 - load_s - lag.best_s, 0.0), abs=2.0)
    words = sentence(state)
    assert "charge 1 (A) in band" in words
    assert "charge 2 (C) in band" in words
    later = run(SoakClock(hot, packets=packets), level, until_s=1900, marks=marks)
    assert {piece.pieces for piece in later.pieces} == {("B",), ("C",)}


def test_loaded_hot_without_a_mark_asks_for_it() -> None:
    state = run(SoakClock(ONE_HOT), ((0, 1000), (100, 1050), (1000, 1050)), until_s=700)
    assert not state.loaded
    assert not state.complete
    # In from 1044: 100 x 44/50 = 88 s
    assert sentence(state) == "Step 1: chamber in band for 10:12, no load mark: the soak counts from loading, mark it"


def test_a_mark_entered_later_counts_as_if_it_had_been_there() -> None:
    hot = replace(ONE_HOT, packet=PacketSpec())
    level: Corners = ((0, 1050), (4000, 1050))
    late = Mark(600.0, "load", entered_t_s=1500.0, entered_later=True)
    then = run(SoakClock(hot), level, until_s=1600, marks=(late,)).pieces[0]
    there = run(SoakClock(hot), level, until_s=1600, marks=(Mark(600.0, "load"),)).pieces[0]
    assert then.soak_s == pytest.approx(there.soak_s, abs=1.0)
    struck = replace(late, struck=True)
    assert run(SoakClock(hot), level, until_s=1600, marks=(struck,)).pieces == ()


def test_a_pull_entered_later_ends_the_soak_when_it_was() -> None:
    late = Mark(5900.0, "pull", ("A",), entered_t_s=6400.0, entered_later=True)
    clock = SoakClock(TWO_HOLDS)
    run(clock, COURSE, until_s=6500, marks=(Mark(0.0, "load", ("A",)), late))
    assert soaks_of(clock)[2] == {"A": pytest.approx(5900 - 4886, abs=5.0)}


def test_when_all_are_out_it_says_so() -> None:
    marks = (Mark(0.0, "load", ("A",)), Mark(6500.0, "pull"))
    state = run(SoakClock(TWO_HOLDS), COURSE, until_s=6600, marks=marks)
    assert state.all_out
    assert not state.complete
    assert sentence(state) == "Step 4: all pieces are out, chamber at 1040 °C"


def test_a_pull_without_names_takes_out_whatever_is_in() -> None:
    marks = (Mark(0.0, "load"), Mark(6500.0, "pull"))
    assert run(SoakClock(TWO_HOLDS), COURSE, until_s=6600, marks=marks).all_out


def test_pieces_of_an_unnamed_charge_pulled_by_their_names_are_out() -> None:
    marks = (Mark(600.0, "load"), Mark(1600.0, "pull", ("A",)), Mark(1630.0, "pull", ("B",)))
    state = run(SoakClock(ONE_HOT), ((0, 1050), (6000, 1050)), until_s=4600, marks=marks)
    assert (state.all_out, state.overdue, state.complete) == (True, False, False)
    assert sentence(state) == "Step 1: all pieces are out, chamber at 1050 °C"


def test_of_two_pieces_that_nobody_named_the_one_that_came_out_first_tells_the_soak() -> None:
    marks = (Mark(600.0, "load"), Mark(1200.0, "pull"), Mark(1500.0, "pull"))
    clock = SoakClock(ONE_HOT)
    run(clock, ((0, 1050), (6000, 1050)), until_s=3000, marks=marks)
    assert soaks_of(clock)[1] == {None: pytest.approx(600.0, abs=1.0)}


def test_missing_readings_are_bridged_by_the_next() -> None:
    clock = SoakClock(TWO_HOLDS)
    for t in range(0, 6007):
        c = float(np.interp(t, *zip(*COURSE, strict=True)))
        clock.read(float(t), {"control": None if 5200 < t < 5300 else c})
    state = clock.state()
    assert state is not None
    assert state.pieces[0].soak_s == pytest.approx(6006 - 4886, abs=0.01)


def test_before_the_first_reading() -> None:
    clock = SoakClock(TWO_HOLDS)
    clock.read(0.0, {"control": None})
    assert clock.state() is None
    assert sentence(clock.state()) == "No reading of the chamber yet"


def test_cooling_to_a_hold_below_counts_only_once_the_chamber_is_down() -> None:
    down = Recipe(
        "down",
        "C",
        (Hold(1, 850.0, 5.0, 5.0, 600.0, dip_s=120.0), Hold(2, 700.0, 5.0, 5.0, 600.0, dip_s=120.0)),
    )
    course: Corners = ((0, 20), (1000, 850), (1700, 850), (3200, 700), (5000, 700))
    falling = run(SoakClock(down), course, until_s=3000)
    assert (falling.hold, falling.phase) == (2, "before")
    assert falling.pieces[0].soak_s == 0.0
    level = run(SoakClock(down), course, until_s=4000)
    assert (level.hold, level.phase) == (2, "in")
    assert level.pieces[0].soak_s == pytest.approx(4000 - (1700 + 1500 * 145 / 150), abs=1.1)


def test_sampling_each_minute_agrees_with_each_second() -> None:
    fine = run(SoakClock(IN_FOIL), COURSE, until_s=6000).pieces[0]
    coarse = run(SoakClock(IN_FOIL), COURSE, until_s=6000, every_s=60.0).pieces[0]
    assert coarse.soak_s == pytest.approx(fine.soak_s, abs=30.0)
