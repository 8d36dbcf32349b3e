"""Where a run begins and ends in furnaces whose hot bricks, doors and packets look like heat, or hide it."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from soakwitness.firmware_bridge.recording.when_heating_begins import Heating, HeatingDecision
from tests.firmware_bridge.test_heating import AJAR, feed, look_at, noisy, ramp
from tests.sure_runs import sure_runs


def between(temps_c: list[float], minutes: int) -> list[float]:
    """A line through what was read at every so many minutes."""
    return [a + (b - a) * k / minutes for a, b in pairwise(temps_c) for k in range(minutes)]


@pytest.mark.parametrize("every_s", [60.0, 300.0])
def test_bricks_that_fall_evenly_after_their_top_do_not_keep_a_run_open(every_s: float) -> None:
    """A fast forge off at 964, a door from 72 to 91 min after; back at 214, then 60 to 40 K/h. Next after 3 h 40 min.

    Every ten minutes of three bodies with 0.6 and 1.4 h, simulated.
    """
    off = [
        964.0,
        822,
        767,
        721,
        680,
        643,
        610,
        580,
        176,
        138,
        212,
        214,
        213,
        209,
        205,
        200,
        194,
        188,
        182,
        176,
        169,
        163,
    ]
    cools = between([*off, 156, 151, 146, 140, 133, 129, 124, 119, 114, 110], 10)
    temps = [20.0] * 60 + ramp(20, 964, 100) + cools + ramp(110, 230, 60) + [230.0] * 30
    acts = feed(Heating(), noisy(temps)[:: round(every_s / 60)], every_s=every_s)
    assert [decision.act for decision in acts] == ["begin", "end", "begin"]


def test_a_packet_that_plunges_is_not_heated_whatever_it_was_half_an_hour_ago() -> None:
    """It follows by 14 min, came up for 20 min and is let go: its half hours look level for 25 min more.

    The chamber every 15 min of three bodies with 0.4 and 1.8 h, simulated.
    """
    cools = between([916.0, 722, 625, 553, 498, 453, 415, 383, 354, 328, 305, 284, 265, 250], 15)
    chamber = [20.0] * 60 + ramp(20, 916, 80) + [916.0] * 5 + cools
    load = [20.0]
    for chamber_c in chamber[1:]:
        load.append(load[-1] + (chamber_c - load[-1]) / 14)
    temps: list[dict[str, float | None]] = [{"control": c, "load": d} for c, d in zip(chamber, load, strict=True)]
    off = 60 + 80 + 5
    begin, end = look_at(temps)
    assert (begin[0], end[0]) == ("begin", "end")
    assert end[1] <= off + 168 + 15  # two hours, 48 min more while over 100, and a quarter to see the fall


def test_bricks_that_came_back_are_waited_for_no_longer_than_two_hours() -> None:
    """A temper at 137, a door from 31 to 50 min after; back at 112, then 3 K/h down. The next one 3 h 5 min later."""
    back = [112 - 3 * k / 60 - 51 * math.exp(-k / 4) for k in range(185)]
    temps = ramp(20, 137, 60) + [137.0] * 70 + ramp(131, 127, 31) + ramp(70, 61, 19) + back
    temps += ramp(back[-1], back[-1] + 180, 180)
    acts = feed(Heating(), noisy([20.0] * 60 + temps, resolution=1.0))
    assert [decision.act for decision in acts] == ["begin", "end", "begin"]


def test_a_load_that_was_taken_out_hot_knows_nothing_of_the_bricks() -> None:
    """It was at 150 and lies on the bench for hours; the chamber fell to 69, and is at 116 for 54 min.

    Both every two minutes of a simulated temper with a door after 21 min and its controller off after 36.
    """
    falls = [20 + 200 * math.exp(-k / 430) for k in range(600)]
    hold = [69.0, 89, 110, 111, 112, 113, 114, 115, 115, 116, 116, 116, 91, 112, 117, 117, 117, 117, 117, 112, 103, 101]
    packet = [21.0, 24, 46, 63, 76, 86, 93, 99, 103, 107, 109, 111, 109, 105, 108, 110, 112, 113, 114, 115, 113, 110]
    control = falls + between([*hold, 100, 117, 117, 117, 117, 117, 117, 117, 114, 107, 105, 105], 2)
    load = falls[:120] + [20.0] * 480 + between([*packet, 107, 107, 110, 112, 113, 114, 115, 116, 98, 49, 31, 25], 2)
    temps: list[dict[str, float | None]] = [{"control": c, "load": d} for c, d in zip(control, load, strict=True)]
    assert [act for act, _ in look_at(temps)] == ["begin"]


@pytest.mark.parametrize("control", ["stuck", "reads the room"])
def test_a_cool_temper_soon_after_a_run_is_not_lost_where_the_chamber_s_own_sensor_is_broken(control: str) -> None:
    """A temper at 164 is over at 80; the fall is caught at 74 for 85 min: only 6 K for the sensor that feels it."""
    other = [20.0] * 60 + ramp(20, 164, 30) + [164.0] * 120 + [20 + 144 * math.exp(-k / 141) for k in range(138)]
    other += [other[-1]] * 85 + [20 + (other[-1] - 20) * math.exp(-k / 141) for k in range(120)]
    room = [24.0 + (control != "stuck") * 0.5 * (k % 3) for k in range(len(other))]
    heating, decided = Heating(), []
    for k, (room_c, other_c) in enumerate(zip(room, other, strict=True)):
        decision = heating.look(k * 60.0, {"control": room_c, "limiter": other_c})
        decided += [] if decision is None else [(decision.act, k)]
    assert [act for act, _ in decided] == ["begin", "end", "begin", "end"]
    assert decided[2][1] <= 348 + 45
    assert decided[3][1] >= 348 + 85


def in_a_program(outputs: list[float]) -> list[HeatingDecision]:
    """A furnace falls by itself from 230 by 60 K/h, the setpoint of its program with it; then these outputs."""
    heating = Heating()
    found = []
    for k in range(120 + len(outputs) + 60):
        output = outputs[k - 120] if 0 <= k - 120 < len(outputs) else 0.0
        decision = heating.look(k * 60.0, 280.0 - k, 281.0 - k, output)
        found += [(decision, k * 60.0)] if decision is not None else []
    return [decision for decision, _ in sure_runs(found)]


def test_an_output_that_is_on_while_a_program_runs_is_a_run_without_a_climb() -> None:
    """It only brakes the fall: 23 % down to 3 in a quarter of an hour."""
    (begin,) = in_a_program([23.0, 18, 14, 12, 11, 10, 9, 8, 7, 7, 6, 6, 5, 4, 3])
    assert str(begin.why) == "the output is on"


def test_an_output_that_is_on_for_as_long_as_a_door_is_no_run() -> None:
    assert in_a_program([100.0, 100.0, 60.0]) == []


def test_a_fall_that_stopped_where_hardly_anything_comes_out_is_no_sure_run() -> None:
    """From 300 by itself to a program's 178; one or two per cent for 28 minutes, then it falls on."""
    falls = [(20 + 280 * math.exp(-k / 420), 0.0) for k in range(240)]
    level_c = falls[-1][0]
    looks = falls + [(level_c, 1.0 + k % 2) for k in range(28)]
    looks += [(20 + (level_c - 20) * math.exp(-k / 420), 0.0) for k in range(200)]
    heating = Heating()
    found = [(d, 60.0 * k) for k, (c, output) in enumerate(looks) if (d := heating.look(60.0 * k, c, None, output))]
    assert sure_runs(found) == []


@pytest.mark.parametrize("minutes", [40, 100, 200, 300])
def test_a_level_after_a_sudden_fall_is_doubtful_however_long(minutes: int) -> None:
    """Hot bricks hold a furnace behind a door for a while, slow ones for hours: the readings do not tell."""
    heating = Heating()
    assert feed(heating, AJAR + [120.0] * minutes) == []
    assert heating.doubtful


def test_the_top_of_slow_bricks_is_no_sure_run_in_whole_degrees() -> None:
    """117 off, a door for an hour; 73 within 20 min, 73.6 at the best, 72.5 after 4.5 h: 2.9 and 16 h, simulated."""
    back = [41, 70.9, 72, 72.8, 73, 73.1, 73.3, 73.4, 73.45, 73.5, 73.55, 73.6, 73.6, 73.6, 73.6, 73.6, 73.55, 73.5]
    back += [73.45, 73.4, 73.3, 73.2, 73.1, 73.0, 72.9, 72.8, 72.6, 72.5]
    door = [54 + 61 * math.exp(-k / 4) for k in range(12)] + ramp(54, 41, 48)
    temps = [20 + 128 * math.exp(-k / 1400) for k in range(400)] + door + between(back, 10)
    heating = Heating()
    assert feed(heating, noisy(temps, noise_c=0.1, resolution=1.0)) == []
    assert heating.doubtful


def test_slow_bricks_that_still_come_back_after_four_hours_are_no_sure_run() -> None:
    """A door for 50 min, back at 73 within 20, then up to 80 in 4.5 h, 3 K below the most they can be: simulated."""
    falls = [310, 290, 272, 256, 242, 230, 218, 208, 199, 190, 183, 175, 169, 163, 157, 151, 146, 141, 136, 130.4]
    door = [117, 70.9, 61.7, 59.1, 57.6, 56.4, 55.3, 54.2, 53.2, 52.2, 51.2, 50.3, 49.4, 48.5, 47.6, 46.8, 46.0, 45.2]
    door += [44.4, 43.7, 43.0, 42.3, 41.7, 41.0, 40.4, 39.8, 39.2]
    back = [54.8, 63.4, 67.7, 69.9, 71.1, 71.7, 72.0, 72.3, 72.5, 72.6, 72.8, 72.9, 73.0, 73.1, 73.2]
    slow = [74.0, 74.8, 75.5, 76.1, 76.7, 77.2, 77.7, 78.1, 78.4, 78.7, 79.0, 79.2, 79.4, 79.6, 79.7, 79.8, 79.8]
    temps = between(falls, 60) + between(door + back, 2) + between(slow, 15)
    heating = Heating()
    assert feed(heating, noisy(temps, noise_c=0.2)) == []
    assert heating.doubtful
