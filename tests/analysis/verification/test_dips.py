"""Dips below a band, and which cause their shape and the furnace's own cooling speak for.

The furnace loses a two thousandth of its heat a second: 0.49 K/s at 1000 degC.
"""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.dips import OwnCooling, dips_of, door_dips, own_cooling
from soakwitness.analysis.verification.measuring.intervals import Allowed
from soakwitness.analysis.verification.results.verification import Dip
from soakwitness.analysis.verification.rules.edges import Edges

HOLD = Hold(2, 1000.0, 5.0, 5.0, 600.0, dip_s=120.0)
COOLING = OwnCooling(1.0 / 2000.0)
END_S = 6000.0


def trace(*points: tuple[float, float], every_s: float = 1.0) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + every_s / 2, every_s)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, every_s)


def dips(
    on: Readings, *, hold: Hold = HOLD, noise_c: float = 0.05, doors_s: tuple[float, ...] = (), enter_s: float = 0.0,
    cooling: OwnCooling = COOLING, level_c: float = 1000.0,
) -> tuple[Dip, ...]:  # fmt: skip
    allowed = Allowed(noise_c, 0.5, 0.5)
    return dips_of(on, hold, Edges(enter_s, END_S), level_c, allowed, doors_s=doors_s, cooling=cooling)


def looks(on: Readings, **more: object) -> list[str]:
    return [dip.looks_like for dip in dips(on, **more)]  # type: ignore[arg-type]


def fall(depth_c: float, fall_s: float, back_s: float, bottom_s: float = 0.0, at_s: float = 2000.0) -> Readings:
    """One dip from 1000: straight down, a while at the bottom, straight up."""
    low = 1000.0 - depth_c
    turns = (at_s + fall_s, at_s + fall_s + bottom_s, at_s + fall_s + bottom_s + back_s)
    return trace((0, 1000), (at_s, 1000), (turns[0], low), (turns[1], low), (turns[2], 1000), (END_S, 1000))


def test_where_a_dip_begins_and_ends_and_how_low_it_goes() -> None:
    # 50 K in 20 s, 100 s at the bottom, back in 40 s: out of the band at 2002, in at 2120 + 36 s.
    (dip,) = dips(fall(50, 20, 40, 100))
    assert (dip.start_s, dip.end_s, dip.lowest_c) == (pytest.approx(2002.0), pytest.approx(2156.0), 950.0)
    assert dip.effect == "new start"
    assert dips(fall(50, 20, 40, 60))[0].effect == "pause"


@pytest.mark.parametrize(
    ("depth_c", "noise_c", "seen"), [(5.9, 0.05, False), (6.2, 0.05, True), (6.9, 2.0, False), (7.2, 2.0, True)]
)
def test_what_is_within_a_kelvin_or_the_noise_is_no_dip(depth_c: float, noise_c: float, seen: bool) -> None:
    assert bool(dips(fall(depth_c, 20, 40, 60), noise_c=noise_c)) is seen


def test_a_swinging_oven_has_no_dips() -> None:
    assert dips(fall(50, 20, 40), hold=Hold(2, 1000.0, 5.0, 5.0, 600.0, judge_by="mean")) == ()


@pytest.mark.parametrize(
    ("depth_c", "fall_s", "back_s", "bottom_s", "look"),
    [
        # A door: three times as fast as the furnace cools (1.47 K/s), down within 2 min and back within 7 min.
        (50, 20, 200, 0, "door"),
        (50, 33, 200, 0, "door"),
        (50, 36, 200, 0, "not told"),
        (50, 20, 427, 0, "door"),
        (50, 20, 430, 0, "not told"),
        (50, 20, 100, 330, "not told"),
        # A power cut: 0.4 to 1.6 times as fast as it cools (0.196 to 0.784 K/s) for three minutes and more.
        (98, 200, 300, 0, "power"),
        (98, 130, 300, 0, "not told"),
        (90, 179, 300, 0, "not told"),
        (90, 183, 300, 0, "power"),
        (150, 200, 300, 0, "power"),
        (160, 200, 300, 0, "not told"),
        (60, 300, 300, 0, "power"),
        (57, 300, 300, 0, "not told"),
    ],
)
def test_a_cause_by_the_rate_of_the_fall(
    depth_c: float, fall_s: float, back_s: float, bottom_s: float, look: str
) -> None:
    # It begins with the last reading within 1 K of the level, and is back with the first.
    assert looks(fall(depth_c, fall_s, back_s, bottom_s)) == [look]


def test_a_door_that_takes_long_to_fall_is_none() -> None:
    # 60 K in 20 s, which is fast, and then 10 K more in so many seconds.
    def sinking(long_s: float) -> Readings:
        return trace((0, 1000), (2000, 1000), (2020, 940), (2020 + long_s, 930), (2300, 1000), (END_S, 1000))

    assert looks(sinking(99.0)) == ["door"]
    assert looks(sinking(105.0)) == ["not told"]


def test_a_fall_that_is_not_straight_is_no_power_cut() -> None:
    # 100 K in 200 s on average: evenly, or 80 of them in the first 60 s, 60 K below the straight line there.
    even = trace((0, 1000), (2000, 1000), (2200, 900), (2500, 1000), (END_S, 1000))
    bent = trace((0, 1000), (2000, 1000), (2060, 920), (2200, 900), (2500, 1000), (END_S, 1000))
    assert looks(even) == ["power"]
    assert looks(bent) == ["not told"]


def test_without_its_own_cooling_on_record_no_cause_is_told() -> None:
    unknown = OwnCooling()
    assert looks(fall(50, 20, 200), cooling=unknown) == ["not told"]
    assert looks(fall(98, 200, 300), cooling=unknown) == ["not told"]


@pytest.mark.parametrize(
    ("door_s", "look"),
    # The fall begins at 2000 s, the last reading within 1 K of the level; in the band again 9/10 of 200 s after 2020 s.
    [
        (1939.0, "door"),
        (1941.0, "marked"),
        (2059.0, "marked"),
        (2150.0, "marked"),
        (2199.0, "marked"),
        (2201.0, "door"),
    ],
)
def test_a_mark_within_a_minute_of_the_begin_or_in_the_dip_explains_it(door_s: float, look: str) -> None:
    assert looks(fall(50, 20, 200), doors_s=(100.0, door_s)) == [look]


def test_readings_that_are_missing_in_the_fall_may_have_made_it() -> None:
    door = fall(50, 20, 200)
    lost = (door.t_s > 2004) & (door.t_s < 2016)
    assert looks(Readings(door.t_s[~lost], door.temp_c[~lost], 0.1, 1.0)) == ["gap"]
    later = (door.t_s > 2100) & (door.t_s < 2112)
    assert looks(Readings(door.t_s[~later], door.temp_c[~later], 0.1, 1.0)) == ["door"]


def test_what_the_readings_scatter_anyway_is_noise() -> None:
    # 7 K below the level and 2 below the band: of readings that are unsure by 1 K no cause can be told.
    assert looks(fall(7, 4, 40), noise_c=1.0) == ["noise"]
    assert looks(fall(7, 4, 40), noise_c=0.1) == ["door"]
    # Six times 1.6 are 9.6: with 9.5 K it is noise, 4.5 below the band, no more than three times 1.6, however long;
    # with 9.7 K it is that where it is over in a minute.
    assert looks(fall(9.5, 4, 40, 100), noise_c=1.6) == ["noise"]
    assert looks(fall(9.7, 4, 40), noise_c=1.6) == ["noise"]
    assert looks(fall(9.7, 4, 40, 100), noise_c=1.6) == ["door"]
    # 4 K of depth at least: 3.9 of them, 2.9 below a narrow band, tell no cause.
    narrow = Hold(2, 1000.0, 1.0, 1.0, 600.0, dip_s=120.0)
    assert looks(fall(3.9, 2, 40, 100), hold=narrow) == ["not told"]
    assert looks(fall(4.1, 2, 40, 100), hold=narrow) == ["door"]


def swinging(size_c: float, period_s: float, *, last: float = 1.0) -> Readings:
    """About the level all the time; the last half in swings so much longer."""
    t_s = np.arange(0.0, END_S + 1)
    phase = np.where(t_s < END_S / 2, t_s, END_S / 2 + (t_s - END_S / 2) / last)
    return Readings(t_s, 1000.0 - size_c * np.sin(2 * np.pi * phase / period_s), 0.1, 1.0)


def test_swings_of_like_length_and_size_are_cycling() -> None:
    assert set(looks(swinging(8.0, 300.0))) == {"cycling"}
    # Swings that are twice as long later are not alike.
    assert "cycling" not in looks(swinging(8.0, 300.0, last=2.5))

    # A controller that switches on and off around a mean stands level at its tops.
    assert set(looks(swinging(8.0, 300.0), level_c=1007.0)) == {"cycling"}


def test_few_swings_are_no_cycling() -> None:
    t_s = np.arange(0.0, END_S + 1)
    three = np.where(t_s < 900, 8.0 * np.sin(2 * np.pi * t_s / 300), 0.0)
    assert "cycling" not in looks(Readings(t_s, 1000.0 - three, 0.1, 1.0))


def ringing(over_c: float, under_c: float, at_s: float = 300.0) -> Readings:
    """Over the level, and then under it, slowly."""
    return trace((0, 1000), (at_s, 1000 + over_c), (at_s + 300, 1000 - under_c), (at_s + 700, 1000), (END_S, 1000))


def test_what_follows_an_overshoot_and_is_no_deeper_is_the_controller_s() -> None:
    # 12 over and 8 under in 300 s: far slower than 0.196 K/s.
    assert looks(ringing(12, 8)) == ["undershoot"]
    assert looks(ringing(7, 8)) == ["not told"]
    # A quarter of an hour after the enter it has swung in.
    assert looks(ringing(12, 8, 850.0)) == ["not told"]
    assert looks(ringing(12, 8, 700.0)) == ["undershoot"]
    # A controller swings in once.
    twice = trace((0, 1000), (100, 1012), (300, 992), (450, 1012), (700, 992), (900, 1000), (END_S, 1000))
    assert looks(twice) == ["not told", "not told"]


def cooled(tau_s: float, seconds: float, from_c: float = 1000.0) -> Readings:
    t_s = np.arange(0.0, seconds + 1)
    return Readings(t_s, 20.0 + (from_c - 20.0) * np.exp(-t_s / tau_s), 0.1, 1.0)


def test_the_furnace_s_own_cooling_is_the_share_it_loses() -> None:
    found = own_cooling(cooled(2000.0, 3000.0), 0.0)
    assert found.loss_per_s == pytest.approx(1 / 2000.0, rel=1e-3)
    assert found.rate_c_per_s(1020.0) == pytest.approx(0.5, rel=1e-3)
    assert found.rate_c_per_s(10.0) == 0.0
    assert OwnCooling().rate_c_per_s(1000.0) is None


def test_only_an_unbroken_fall_of_minutes_shows_it() -> None:
    assert own_cooling(cooled(2000.0, 299.0), 0.0) == OwnCooling()
    assert own_cooling(cooled(2000.0, 301.0), 0.0).loss_per_s is not None
    # Heated again after 1000 s: what comes before counts, half of the heat and more.
    falling = cooled(2000.0, 3000.0)
    again = Readings(falling.t_s, np.where(falling.t_s > 1000, 990.0, falling.temp_c), 0.1, 1.0)
    assert own_cooling(again, 0.0).loss_per_s == pytest.approx(1 / 2000.0, rel=1e-3)
    soon = Readings(falling.t_s, np.where(falling.t_s > 100, 990.0, falling.temp_c), 0.1, 1.0)
    assert own_cooling(soon, 0.0) == OwnCooling()
    rising = Readings(falling.t_s, 500.0 + falling.t_s / 10.0, 0.1, 1.0)
    assert own_cooling(rising, 0.0) == OwnCooling()
    # Below half of its heat another surrounding counts: faster there, it is left out.
    bent = np.where(falling.temp_c > 510, falling.temp_c, falling.temp_c - 200.0)
    assert own_cooling(Readings(falling.t_s, np.minimum.accumulate(bent), 0.1, 1.0), 0.0).loss_per_s == pytest.approx(
        1 / 2000.0, rel=1e-2
    )


def test_a_marked_dip_of_at_most_three_minutes_leaves_the_walls_hot() -> None:
    marked = Dip(100.0, 280.0, 950.0, "new start", "marked")
    longer = Dip(500.0, 681.0, 950.0, "new start", "marked")
    door = Dip(800.0, 820.0, 950.0, "pause", "door")
    assert door_dips((marked, longer, door), (90.0,)) == ((100.0, 280.0),)
