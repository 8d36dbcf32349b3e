"""Where a run begins and ends by what the controller says: an output that hardly works, a setpoint that was let go."""

from __future__ import annotations

import math

import pytest

from soakwitness.firmware_bridge.recording.when_heating_begins import Heating
from tests.firmware_bridge.test_heating import ramp

FALL_MIN = 360.0  # a furnace loses two thirds of its heat in so long


def falls_by_itself(from_c: float, minutes: int) -> list[float]:
    return [20 + (from_c - 20) * math.exp(-k / FALL_MIN) for k in range(minutes)]


def program_and_pause(ended_setpoint_c: float, pause_min: int) -> list[tuple[float, float]]:
    """(Degrees, setpoint) a minute: a hold at 560, its end, a pause, and a program that takes the furnace as it is."""
    hold = [(20.0, 18.0)] * 100 + [(c, c) for c in ramp(20, 560, 120)] + [(560.0, 560.0)] * 60
    pause = falls_by_itself(560.0, pause_min)
    again = falls_by_itself(pause[-1], 60)
    return hold + [(c, ended_setpoint_c) for c in pause] + [(c, c - 25.0) for c in again]


@pytest.mark.parametrize("resting_c", [0.0, 18.0])
@pytest.mark.parametrize("pause_min", [126, 119])
def test_a_setpoint_that_was_let_go_is_no_power_cut(resting_c: float, pause_min: int) -> None:
    """The next program's setpoint comes so long after the end, far below a furnace that still is over 300 degC."""
    heating, acts = Heating(), []
    for k, (temp_c, setpoint_c) in enumerate(program_and_pause(resting_c, pause_min)):
        decision = heating.look(k * 60.0, temp_c, setpoint_c)
        acts += [(decision.act, k)] if decision is not None else []
    assert [act for act, _ in acts[:2]] == ["begin", "end"]
    assert 280 + 120 <= acts[1][1] <= 280 + 120 + 20  # a fall is not told from a hold to the minute


def test_a_setpoint_that_never_asked_says_nothing_about_a_power_cut() -> None:
    """Switched by hand, the setpoint at 0 all day: the furnace is waited for as if none were read."""
    heating, acts = Heating(), []
    for k, (temp_c, _) in enumerate(program_and_pause(0.0, 150)):
        decision = heating.look(k * 60.0, temp_c, 0.0)
        acts += [(decision.act, k)] if decision is not None else []
    assert [act for act, _ in acts] == ["begin", "end"]
    assert acts[1][1] >= 280 + 120 + 48


@pytest.mark.parametrize(("output", "minutes"), [(2.0, 28), (1.0, 28), (2.0, 15), (0.0, 28)])
def test_an_output_that_hardly_works_may_be_a_heating_where_the_own_sensor_is_broken(
    output: float, minutes: int
) -> None:
    """Hot bricks carry a temper at 137: the fall slows down a little for 28 min; the own sensor reads the room."""
    load = falls_by_itself(230.0, 200)
    load += [load[-1] - 1.0 + math.exp(-k / 10) for k in range(minutes)]
    load += falls_by_itself(load[-1], 30)
    heating, found = Heating(), []
    for k, load_c in enumerate(load):
        works = output if 200 <= k < 200 + minutes else 0.0
        decision = heating.look(k * 60.0, {"control": 22.0 + 0.3 * (k % 3), "load": load_c}, None, works)
        found += [(decision, k)] if decision is not None else []
    enough = output >= 1.0 and minutes >= 20
    assert [(decision.act, decision.doubtful) for decision, _ in found] == [("begin", True)] * enough
    assert all(195 * 60 <= decision.from_s <= 205 * 60 and k <= 223 for decision, k in found)
