"""When a run begins and ends: 200 days in a shed with sun, space heater and open doors, and single cases."""

from __future__ import annotations

import random
from dataclasses import dataclass

import pytest

from soakwitness.firmware_bridge.recording.heating import Decision, Heating, HeatingSettings
from tests.shed import Heat, ShedReading, Truth, live, plan


@dataclass(frozen=True)
class Span:
    """One run as it would be recorded."""

    from_s: float
    begun_s: float
    end_s: float
    why_end: str


def spans_of(decisions: list[tuple[Decision, float]]) -> list[Span]:
    """Begins and ends in pairs; the last run may still be open."""
    begins = [pair for pair in decisions if pair[0].act == "begin"]
    ends: list[tuple[Decision, float]] = [pair for pair in decisions if pair[0].act == "end"]
    open_end = (Decision("end", "", float("inf")), float("inf"))
    assert [pair[0].act for pair in decisions] == (["begin", "end"] * len(begins))[: len(decisions)]
    pairs = zip(begins, [*ends, open_end], strict=False)
    return [Span(begin.from_s, begun_s, end_s, str(end.why)) for (begin, begun_s), (end, end_s) in pairs]


def watch(
    days: int, seed: int, *, setpoint: bool, output: bool, resolution: float
) -> tuple[Truth, list[Span], dict[float, float]]:
    """Live through the days with the decision logic that runs for real."""
    chance = random.Random(seed)
    truth = plan(days, chance)
    heating = Heating()
    decisions: list[tuple[Decision, float]] = []
    temps: dict[float, float] = {}
    reading: ShedReading
    for reading in live(truth, days, chance, step_s=60.0, resolution=resolution):
        decision = heating.look(
            reading.t_s,
            reading.temp_c,
            reading.setpoint_c if setpoint else None,
            reading.output if output else None,
        )
        if decision is not None:
            decisions.append((decision, reading.t_s))
            temps[reading.t_s] = reading.temp_c
    return truth, spans_of(decisions), temps


def holder(heat: Heat, spans: list[Span]) -> Span:
    """The span in which a heating was recorded to its end."""
    inside = [span for span in spans if span.from_s <= heat.end_s <= span.end_s]
    assert len(inside) == 1, f"the heating at {heat.start_s} s is in {len(inside)} runs"
    return inside[0]


@pytest.mark.parametrize(
    ("days", "seed", "setpoint", "output", "resolution"),
    [(200, 11, True, True, 0.1), (200, 12, False, False, 0.1), (60, 13, True, False, 1.0), (60, 14, False, True, 1.0)],
)
def test_nothing_is_missed_and_nothing_invented(
    days: int, seed: int, setpoint: bool, output: bool, resolution: float
) -> None:
    truth, spans, temps = watch(days, seed, setpoint=setpoint, output=output, resolution=resolution)
    done = [heat for heat in truth.heats if heat.end_s]
    assert len(done) > 0.6 * days
    assert any(heat.peak_c < 230 for heat in done)
    held = {id(heat): holder(heat, spans) for heat in done}
    for heat in done:
        # Cold: recorded from before its start. Warm still, and nothing but a temperature to go by: within half an hour.
        late_s = 1800.0 if heat.start_c > 45 and not (setpoint or output) else 0.0
        assert held[id(heat)].from_s <= heat.start_s + late_s, heat
    for span in spans:
        mine = [heat for heat in done if held[id(heat)] is span]
        unfinished = [heat for heat in truth.heats if not heat.end_s and heat.start_s >= span.from_s - 1]
        assert mine or unfinished, f"a run was invented at {span.from_s} s"
        if mine and span.end_s < float("inf"):
            after_s = span.end_s - max(heat.end_s for heat in mine)
            assert after_s <= 3.5 * 3600, "it went on for too long"
            assert span.why_end == "not heated for 2 h" or temps[span.end_s] <= 50


def feed(heating: Heating, temps_c: list[float], *, start_s: float = 0.0, every_s: float = 60.0) -> list[Decision]:
    found = []
    for k, temp_c in enumerate(temps_c):
        decision = heating.look(start_s + k * every_s, temp_c)
        found += [decision] if decision is not None else []
    return found


def ramp(start_c: float, stop_c: float, minutes: int) -> list[float]:
    return [start_c + (stop_c - start_c) * k / minutes for k in range(minutes)]


def test_a_run_is_recorded_from_five_minutes_before_its_climb() -> None:
    (begin,) = feed(Heating(), [20.0] * 600 + ramp(20, 800, 40))
    assert begin.act == "begin"
    climb_s = 600 * 60.0
    assert climb_s - 300 - 120 <= begin.from_s <= climb_s - 300 + 120


def test_a_slow_ramp_is_recorded_from_its_start() -> None:
    """50 C an hour, temperature alone."""
    (begin,) = feed(Heating(), [20.0] * 600 + ramp(20, 220, 240))
    assert begin.from_s <= 600 * 60.0


def test_a_watch_that_begins_in_a_hold_notices_it() -> None:
    (begin,) = feed(Heating(), [1040.0 + (k % 5) * 0.5 for k in range(150)])
    assert begin.why.text("C") == "held above 80 °C"
    assert begin.why.text("F") == "held above 176 °F"  # 80 x 1.8 + 32


def test_a_watch_that_begins_while_the_furnace_cools_notices_nothing() -> None:
    assert feed(Heating(), [20 + 900 * 0.99**k for k in range(600)]) == []


@pytest.mark.parametrize("peak_c", [28.0, 38.0, 44.0])
def test_sun_on_the_furnace_is_no_run(peak_c: float) -> None:
    day = [18.0] * 300 + ramp(18, peak_c, 90) + [peak_c] * 120 + ramp(peak_c, 18, 200)
    assert feed(Heating(), day * 3) == []


def test_a_door_closed_again_on_hot_bricks_is_no_run() -> None:
    cooling = [20 + 480 * 0.995**k for k in range(200)]
    level = cooling[-1]
    dip = [60.0] * 20
    back = [60 + (level * 0.8 - 60) * (1 - 0.7**k) for k in range(1, 20)]
    after = [back[-1] * 0.995**k for k in range(300)]
    assert feed(Heating(), cooling + dip + back + after) == []


# Unheated, the door ajar: hot bricks keep it at 120 for 45 min, then the door is closed.
AJAR = ramp(400, 120, 20) + [120.0] * 45


@pytest.mark.parametrize(("jump_c", "held"), [(0, True), (9, True), (11, False)])
def test_a_level_that_jumped_is_no_furnace_that_is_held(jump_c: int, held: bool) -> None:
    """From minute 76 on the medians of the half hours are 120, 120, and 120 with the jump: over 10 K more is a door.

    11 K are no climb of 12. In minute 90 the second half hour has jumped, too.
    """
    begun = feed(Heating(), AJAR + [120.0 + jump_c] * 43)
    assert [str(decision.why) for decision in begun] == ["held above 80 °C"] * held


def test_a_door_closed_again_on_a_level_furnace_is_no_run() -> None:
    assert feed(Heating(), AJAR + [150.0] * 20 + ramp(150, 60, 120)) == []


def test_an_interruption_of_half_an_hour_does_not_end_a_run() -> None:
    heating = Heating()
    run = ramp(20, 1040, 60) + [1040.0] * 10 + ramp(1040, 850, 30) + ramp(850, 1040, 20) + [1040.0] * 25
    assert [decision.act for decision in feed(heating, [20.0] * 400 + run)] == ["begin"]


def test_a_run_ends_cold_and_then_another_begins() -> None:
    once = ramp(20, 180, 10) + [180.0] * 120 + ramp(180, 22, 90) + [22.0] * 60
    acts = feed(Heating(), [20.0] * 400 + once + once)
    assert [decision.act for decision in acts] == ["begin", "end", "begin", "end"]
    assert str(acts[1].why) == "cold"


def test_two_hours_without_heating_end_a_run_though_it_is_warm() -> None:
    cooling = [20 + 1020 * 0.995**k for k in range(300)]
    acts = feed(Heating(), [20.0] * 400 + ramp(20, 1040, 60) + [1040.0] * 25 + cooling)
    assert str(acts[1].why) == "not heated for 2 h"


def test_silence_for_two_hours_ends_a_run() -> None:
    heating = Heating()
    assert len(feed(heating, [20.0] * 400 + ramp(20, 1040, 60))) == 1
    ends = [heating.look(460 * 60.0 + k * 60.0, None) for k in range(130)]
    (end,) = [decision for decision in ends if decision is not None]
    assert str(end.why) == "no reading for 2 h"


def test_one_hour_is_said_in_the_singular() -> None:
    heating = Heating(HeatingSettings(idle_s=3600.0))
    feed(heating, [20.0] * 400 + ramp(20, 1040, 60))
    (end,) = [d for k in range(70) if (d := heating.look(460 * 60.0 + k * 60.0, None)) is not None]
    assert str(end.why) == "no reading for 60 min"


def test_single_wrong_readings_do_nothing() -> None:
    temps = [20.0] * 6000
    temps[3000] = 1300.0
    temps[3900] = -100.0
    assert feed(Heating(), temps, every_s=1.0) == []


def test_settings_move_the_thresholds() -> None:
    day = [20.0] * 400 + ramp(20, 45, 12) + [45.0] * 60
    assert feed(Heating(), day) == []
    low = HeatingSettings(warm_c=40.0, cold_c=30.0)
    assert [decision.act for decision in feed(Heating(low), day)] == ["begin"]
