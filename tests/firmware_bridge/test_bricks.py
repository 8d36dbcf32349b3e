"""How hot the bricks can be at most, from the chamber's readings: never less than they are, and not much more."""

from __future__ import annotations

import math
import random

import pytest

from soakwitness.firmware_bridge.recording.bricks import ROOM_C, Bricks


def follow(chamber_c: list[float]) -> list[float]:
    """The bound minute by minute."""
    bricks, bounds = Bricks(chamber_c[0], chamber_c[0]), [chamber_c[0]]
    for k in range(1, len(chamber_c)):
        lately = [(60.0 * back, chamber_c[k - back]) for back in range(1, min(k, 10) + 1)]
        bricks = bricks.seen(chamber_c[k], lately)
        bounds.append(bricks.most_c)
    return bounds


def cooling(hot_c: float, hours: float, minutes: int) -> list[float]:
    return [ROOM_C + (hot_c - ROOM_C) * math.exp(-k / 60 / hours) for k in range(minutes)]


@pytest.mark.parametrize("hours", [2.0, 8.0, 20.0])
@pytest.mark.parametrize("left", [0.1, 0.4, 0.8])
@pytest.mark.parametrize("open_min", [5, 30, 90])
def test_what_comes_back_behind_a_door_stays_below_the_bound(hours: float, left: float, open_min: int) -> None:
    """An open door leaves the chamber such a share of the bricks' heat; shut again it comes back to theirs.

    The bricks lose their heat half as fast again while it is open. A minute takes the chamber where it goes.
    """
    bricks = cooling(400.0, hours, 120)
    opened = [ROOM_C + (bricks[-1] - ROOM_C) * math.exp(-1.5 * k / 60 / hours) for k in range(open_min)]
    shut = [ROOM_C + (opened[-1] - ROOM_C) * math.exp(-k / 60 / hours) for k in range(60)]
    bounds = follow(bricks + [ROOM_C + left * (c - ROOM_C) for c in opened] + shut)
    assert all(bound >= c - 2.0 for bound, c in zip(bounds, bricks + opened + shut, strict=True))
    assert bounds[120 + open_min + 20] <= 1.15 * max(opened) + 5.0


def test_shut_and_cooling_by_itself_the_bound_is_the_chamber_s_own_temperature() -> None:
    temps = cooling(400.0, 5.0, 300)
    assert follow(temps) == pytest.approx(temps, abs=0.01)


def test_noise_does_not_wear_the_bound_down() -> None:
    """Ten hours of one level that tumbles by a degree: the bound stays within its swing."""
    chance = random.Random(3)
    bounds = follow([200.0 + chance.gauss(0, 0.7) for _ in range(600)])
    assert min(bounds) >= 200.0 - 4 * 0.7


def test_what_was_heated_while_it_was_known_lifts_the_bound() -> None:
    assert Bricks(100.0, 100.0).heated(800.0) == Bricks(800.0, 100.0)
