"""Where a run begins and ends by what the controller says: an output that hardly works."""

from __future__ import annotations

import math

import pytest

from soakwitness.firmware_bridge.recording.when_heating_begins import Heating

FALL_MIN = 360.0  # a furnace loses two thirds of its heat in so long


def falls_by_itself(from_c: float, minutes: int) -> list[float]:
    return [20 + (from_c - 20) * math.exp(-k / FALL_MIN) for k in range(minutes)]


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
