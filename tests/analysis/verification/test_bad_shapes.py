"""The shapes by which bad readings are told, each just within and just beyond its limit."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.runs import FloatArray, Run
from soakwitness.analysis.verification.bad_readings import BadReadings, bad_readings, without_bad
from soakwitness.firmware_bridge.runfolder.model import Column, Mark
from tests.verification_runs import drawn, make_run, sensor

# Up at 0.5 K/s to 1000, 30 min there, down at 0.5 K/s.
HOLD = [(0.0, 20.0), (1960.0, 1000.0), (3760.0, 1000.0), (5600.0, 80.0)]
T_S, LEVEL_C = drawn(HOLD)
NOISY_C = drawn(HOLD, noise_c=0.3)[1]
# The same with a hold that creeps by a step of the display every 20 s: nothing in it stands still.
CREEPING_C = drawn([*HOLD[:2], (3760.0, 1009.0), (5600.0, 80.0)])[1]


def run(
    temp_c: FloatArray,
    *signals: Column,
    role: str = "control",
    step_c: float = 0.1,
    t_s: FloatArray = T_S,
    marks: tuple[Mark, ...] = (),
    **values: FloatArray,
) -> Run:
    columns = [sensor("x", role, resolution=step_c), *signals]
    return make_run(t_s, {"x": temp_c, **values}, columns=columns, marks=marks)


def found(*args: object, **more: object) -> list[tuple[str, float, float]]:
    return [(b.kind, b.start_s, b.end_s) for b in bad_readings(run(*args, **more))]  # type: ignore[arg-type]


def between(begin_s: float, end_s: float, shown: float | FloatArray, temp_c: FloatArray = LEVEL_C) -> FloatArray:
    """Other readings from ``begin_s`` up to ``end_s``, that one not included."""
    return np.where((begin_s <= T_S) & (end_s > T_S), shown, temp_c)


def moves(by: float, unit: str, name: str) -> dict[str, object]:
    """A signal that moves so far at 2500 s."""
    return {name: np.where(T_S > 2500, 30.0 + by, 30.0)}


@pytest.mark.parametrize(
    ("name", "unit", "by", "stuck"),
    [
        ("output", "%", 26.0, True),
        ("output", "%", 25.0, False),
        ("power", "%", 26.0, True),
        ("output", "V", 26.0, True),
        ("power", "V", 26.0, False),
        ("setpoint", "C", 26.0, True),
        ("setpoint", "C", 25.0, False),
        ("target", "C", 26.0, True),
        ("target", "V", 26.0, False),
    ],
)
def test_what_moved_while_the_reading_stood(name: str, unit: str, by: float, stuck: bool) -> None:
    # 400 s at 1000.0 of a level that is as steady as its display: only the signal tells.
    signal = Column(name, "signal", unit)
    told = found(between(2300, 2700, 1000.0, NOISY_C), signal, **moves(by, unit, name))
    assert told == ([("stuck", 2300.0, 2699.0)] if stuck else [])


@pytest.mark.parametrize(("long_s", "told"), [(298.0, False), (301.0, True)])
def test_five_minutes_are_long(long_s: float, told: bool) -> None:
    still = between(2300, 2300 + long_s, 1000.0, NOISY_C)
    output = {"output": np.where(T_S > 2450, 100.0, 30.0)}
    assert bool(found(still, Column("output", "signal", "%"), **output)) is told


def test_a_signal_says_nothing_of_a_load_sensor_or_of_a_cold_reading() -> None:
    output = Column("output", "signal", "%")
    still = between(2300, 2700, 1000.0, NOISY_C)
    assert found(still, output, role="load", **moves(70.0, "%", "output")) == []
    assert found(still, output, role="recording", **moves(70.0, "%", "output")) != []
    cold = between(2300, 2700, 60.0, NOISY_C - 940.0)
    assert found(cold, output, **moves(70.0, "%", "output")) == []


def test_of_the_ambient_sensor_nothing_is_told() -> None:
    assert found(between(2600, 2615, 900.0, NOISY_C), role="ambient") == []
    assert found(between(2600, 2615, 900.0, NOISY_C)) == [("contact", 2600.0, 2614.0)]


@pytest.mark.parametrize(
    ("shown_c", "told"),
    # It stands at 1003.2: a fall of 20 K, and of eight times what its steps differ anyway (0.5 K up, none, 0.5 K down:
    # 1.48 x 0.5), and back as fast: 25.9 K.
    [(977.0, True), (978.0, False), (25.0, True), (1030.0, True), (1029.0, False)],
)
def test_a_step_that_no_furnace_makes_and_takes_back(shown_c: float, told: bool) -> None:
    assert found(between(2600, 2615, shown_c, CREEPING_C)) == ([("contact", 2600.0, 2614.0)] if told else [])


def test_a_step_is_measured_by_the_time_it_took() -> None:
    # A reading every 5 s: up to 50 K lie between two of them, and eight times 1.48 x 2.5 K, which they differ anyway.
    t_s, level = drawn(HOLD, every_s=5.0)
    for shown_c, told in ((921.0, False), (919.0, True)):
        temp_c = np.where((t_s >= 2600) & (t_s < 2640), shown_c, level)
        assert bool(found(temp_c, t_s=t_s)) is told


def test_noise_is_no_step() -> None:
    # Readings that scatter by 5 K differ by 7 K from one to the next: a step of 60 K is 8 of those, 90 K are more.
    noisy = drawn(HOLD, noise_c=5.0)[1]
    assert found(between(2600, 2615, 945.0, noisy)) == []
    assert found(between(2600, 2615, 880.0, noisy)) != []


@pytest.mark.parametrize(("long_s", "kind"), [(590.0, "contact"), (610.0, "broken")])
def test_a_contact_that_is_open_for_over_ten_minutes_is_a_broken_sensor(long_s: float, kind: str) -> None:
    assert [k for k, _, _ in found(between(2600, 2600 + long_s, 25.0))] == [kind]


def test_what_comes_back_slowly_is_no_contact() -> None:
    # A fall of 60 K at once that takes two minutes back is a door on a bare sensor.
    back = between(2600, 2720, 940.0 + (T_S - 2600) / 2.0)
    assert found(back) == []
    assert found(between(2600, 2720, 940.0)) != []


def test_what_comes_back_elsewhere_is_no_contact() -> None:
    # At 970 to 985, where a furnace that stood at 1000 cannot be after a minute: 10 K, or twice its own fastest rise.
    elsewhere = np.where(T_S >= 2660, LEVEL_C - 120.0, between(2600, 2660, 500.0))
    assert all(kind != "contact" for kind, _, _ in found(elsewhere))
    # A minute at up to 1 K/s (twice its fastest 0.5): 60 K and 10 more.
    near = np.where(T_S >= 2660, LEVEL_C - 60.0, between(2600, 2660, 500.0))
    assert [kind for kind, _, _ in found(near)] == ["contact"]


@pytest.mark.parametrize(
    ("shown_c", "told"),
    # A reading every 30 s shows no speed: what lost over 65 % of the heat above 20 and is back within two readings.
    [(76.0, True), (79.0, False)],
)
def test_a_slow_logger_is_told_by_the_heat_that_was_lost(shown_c: float, told: bool) -> None:
    t_s = np.arange(0.0, 6000.0, 30.0)
    level = np.interp(t_s, [0, 1800, 4800, 6000], [20, 185, 185, 120])
    one = level.copy()
    one[100] = shown_c
    assert found(np.round(one, 1), t_s=t_s) == ([("contact", 3000.0, 3000.0)] if told else [])
    three = level.copy()
    three[100:103] = shown_c
    assert found(np.round(three, 1), t_s=t_s) == []


def test_a_sensor_that_was_broken_for_a_while_is_not_broken_because_it_came_back() -> None:
    # To the digit where it stood before: no number that it jumped to.
    assert found(between(2600, 3300, 25.0)) == [("broken", 2600.0, 3299.0)]
    assert found(between(2600, 3300, 1372.0)) == [("broken", 2600.0, 3299.0)]


@pytest.mark.parametrize(
    ("to_c", "kind"),
    # Down from 1003.2 in a second and there for good: over 50 K, no furnace. Up to the highest of all: over 50 K.
    [(953.0, "broken"), (954.0, None), (1054.0, "broken"), (1053.0, None), (0.0, "broken")],
)
def test_a_number_that_was_jumped_to_for_good(to_c: float, kind: str | None) -> None:
    told = found(np.where(T_S >= 2600, to_c, CREEPING_C))
    assert told == ([] if kind is None else [(kind, 2600.0, 5600.0)])


@pytest.mark.parametrize(("lower_c", "told"), [(12.0, True), (3.0, False)])
def test_a_still_number_that_lies_clearly_apart_is_broken(lower_c: float, told: bool) -> None:
    # The ten readings before differ by about 1 K at most: five times that is clearly apart; for good, without noise.
    gone = np.where(T_S >= 2600, 1000.0 - lower_c, NOISY_C)
    assert ("broken" in [kind for kind, _, _ in found(gone)]) is told


def test_a_load_sensor_may_fall_in_one_step() -> None:
    # Pulled and quenched; zero and below is what a broken one shows, and so is a jump up.
    assert found(np.where(T_S >= 2600, 25.0, LEVEL_C), role="load") == []
    assert [k for k, _, _ in found(np.where(T_S >= 2600, 0.0, LEVEL_C), role="load")] == ["broken"]
    assert [k for k, _, _ in found(np.where(T_S >= 2600, 1372.0, LEVEL_C), role="load")] == ["broken"]


def test_a_cold_sensor_that_jumps_to_a_colder_number_shows_nothing() -> None:
    t_s, cool = drawn([(0, 20), (2000, 90), (6000, 90)])
    assert found(np.where(t_s >= 3000, 30.0, cool), t_s=t_s) == []


def test_after_a_silence_any_furnace_may_have_cooled() -> None:
    # No reading for 100 s, or for 130 s, and then 300 for good.
    for silent_s, told in ((100.0, True), (130.0, False)):
        temp_c = np.where(2600 + silent_s <= T_S, 300.0, LEVEL_C)
        temp_c[(T_S > 2600) & (2600 + silent_s > T_S)] = np.nan
        # Only the ten readings before are looked at: a slow logger.
        every = slice(None, None, 20)
        assert bool(found(temp_c[every], t_s=T_S[every])) is told


@pytest.mark.parametrize(("jump_c", "told"), [(0.2, False), (20.0, True), (-20.0, True)])
def test_a_reading_that_stood_without_its_noise_and_then_jumped(jump_c: float, told: bool) -> None:
    # 120 s at 1000.0, where readings scattered by 0.3 K before and after: a jump of 20 K is over five of those steps.
    temp_c = np.where(T_S >= 2420, NOISY_C + jump_c, between(2300, 2420, 1000.0, NOISY_C))
    assert found(temp_c) == ([("stuck", 2300.0, 2419.0)] if told else [])


def test_a_reading_that_stood_while_the_furnace_climbed() -> None:
    # For 100 s at 520 (30 s of a climb of 0.5 K/s do not show), and then where the climb is: 50 K up at once.
    course = between(1000, 1100, 520.0)
    course = np.where((T_S >= 900) & (T_S < 1000), np.round(470.0 + (T_S - 900) / 2.0, 1), course)
    assert found(course) == [("stuck", 1000.0, 1099.0)]


def test_a_fall_after_a_door_is_none() -> None:
    # A level to the digit for minutes, then 40 K down at once and back after a while, as behind an opened door; or with
    # a mark there, and for good.
    opened = np.where((T_S >= 2600) & (T_S < 2700), 960.0 + (T_S - 2600) * 0.39, LEVEL_C)
    assert found(opened) == []
    for_good = np.where(T_S >= 2600, LEVEL_C - 49.0, LEVEL_C)
    assert [k for k, _, _ in found(for_good)] != []
    assert found(for_good, marks=(Mark(2590.0, "door"),)) == []
    assert found(for_good, marks=(Mark(2590.0, "door", struck=True),)) != []
    assert found(for_good, marks=(Mark(2470.0, "door"),)) != []


def test_the_end_of_a_range_is_reached_while_still_climbing() -> None:
    noisy = drawn(HOLD, noise_c=0.5)[1]
    assert [k for k, _, _ in found(np.minimum(noisy, 980.0))] == ["end of range"]
    # A level that is reached gently is a good hold, however still it stands.
    t_s = np.arange(0.0, 6000.0)
    gentle = 1000.0 - 980.0 * np.exp(-t_s / 300.0)
    rough = np.random.default_rng(1).normal(0, 0.3, t_s.size) * (t_s < 2600)
    assert found(np.round(gentle + rough, 1), t_s=t_s) == []


def test_bad_readings_are_taken_out_of_their_own_trace_alone() -> None:
    made = make_run(T_S, {"x": LEVEL_C, "y": LEVEL_C}, columns=[sensor("x"), sensor("y", "recording")])
    bad = (BadReadings("y", "stuck", 100.0, 200.0, 70.0, why="so"),)  # type: ignore[arg-type]
    first, second = without_bad(made, bad).traces
    assert np.isfinite(first.temp_c).all()
    assert np.flatnonzero(np.isnan(second.temp_c)).tolist() == list(range(100, 201))
    assert without_bad(made, ()) is made
