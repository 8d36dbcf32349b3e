"""When the time that can count as soak begins and ends: for certain (low), as read (best), perhaps (high).

A reading a second and 1 K of noise; times follow from the lines' equations.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.intervals import Allowed, Mode
from soakwitness.analysis.verification.readings import Readings
from soakwitness.analysis.verification.soak import Window, soak, window_limits

HOLD = Hold(2, 1000.0, 5.0, 5.0, 600.0, dip_s=120.0)
NOISE_C = 1.0
# Level until 1100 s, then up at 0.4 K/s, through 1005 at 1112.5 s, or down at 0.5 K/s, through 995 at 1110 s.
UPWARD = ((0, 1000), (1100, 1000), (1350, 1100))
DOWNWARD = ((0, 1000), (1100, 1000), (1300, 900))


def trace(*points: tuple[float, float]) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + 0.5)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, 1.0)


def window(on: Readings, **changes: object) -> Window:
    end_s = float(on.t_s[-1])
    plain = Window(0.0, 0.0, 0.0, 1100.0, 1110.0, end_s, from_above=False, left_upward=False, pull_s=None, edges_on=on)
    return replace(plain, **changes)  # type: ignore[arg-type]


def begin(on: Readings, mode: Mode, error_c: float = 0.0, **changes: object) -> float:
    return window_limits(window(on, **changes), HOLD, error_c, mode, NOISE_C)[0]


def end(on: Readings, mode: Mode, error_c: float = 0.0, **changes: object) -> float:
    return window_limits(window(on, **changes), HOLD, error_c, mode, NOISE_C)[1]


@pytest.mark.parametrize(
    ("mode", "error_c", "end_s"),
    [
        ("best", 0.0, 1112.5),
        # A sensor that reads 2 K high is at 1005 when it shows 1007.
        ("best", 2.0, 1117.5),
        ("best", -2.0, 1107.5),
        # The last reading that is sure to be below 1005 shows at most 1004: that of 1110 s.
        ("low", 0.0, 1110.0),
        # The first that is sure to be above it shows over 1006: that of 1116 s.
        ("high", 0.0, 1116.0),
    ],
)
def test_a_climb_out_of_the_band(mode: Mode, error_c: float, end_s: float) -> None:
    assert end(trace(*UPWARD), mode, error_c, left_upward=True) == pytest.approx(end_s)


def test_a_climb_that_came_back_before_it_was_a_band_s_width_above_goes_on() -> None:
    # Up to 1010 at 1120 s, back in at 1130 s, out for good at 1210 s; or to 1016, which is gone.
    near = trace((0, 1000), (1100, 1000), (1120, 1010), (1140, 1000), (1200, 1000), (1300, 1050))
    assert end(near, "best", left_upward=True) == pytest.approx(1210.0)
    far = trace((0, 1000), (1100, 1000), (1132, 1016), (1164, 1000), (1200, 1000), (1300, 1050))
    assert end(far, "best", left_upward=True) == pytest.approx(1110.0)


def test_a_climb_that_never_leaves_the_band_ends_at_the_limit() -> None:
    slow = trace((0, 1000), (1100, 1000), (1300, 1003))
    assert end(slow, "best", left_upward=True, limit_s=1250.0) == 1250.0
    assert end(slow, "low", left_upward=True, limit_s=1250.0) == 1250.0
    # Nothing of it inside: it ends where the level did.
    assert end(trace((0, 1000), (1099, 1000), (1100, 1009), (1300, 1100)), "best", left_upward=True) == 1100.0


@pytest.mark.parametrize(
    ("mode", "error_c", "end_s"),
    # The reading after the last at or above the edge: 995 at 1110 s, 994 at 1112 s with the noise.
    [("best", 0.0, 1111.0), ("low", 0.0, 1111.0), ("high", 0.0, 1113.0), ("best", -2.0, 1115.0), ("best", 2.0, 1110.0)],
)
def test_a_fall_out_of_the_band(mode: Mode, error_c: float, end_s: float) -> None:
    assert end(trace(*DOWNWARD), mode, error_c) == pytest.approx(end_s)


@pytest.mark.parametrize(("away_s", "end_s"), [(100.0, 1261.0), (130.0, 1111.0)])
def test_what_comes_back_within_two_minutes_belongs_to_it(away_s: float, end_s: float) -> None:
    # Out at 1110 s, in again so much later, out for good at 1250 and 10 s.
    back = trace(
        (0, 1000), (1100, 1000), (1114, 993), (1106 + away_s, 993), (1120 + away_s, 1000), (1250, 1000), (1300, 975)
    )
    assert end(back, "best") == pytest.approx(end_s)


def test_what_comes_back_hotter_does_not() -> None:
    # Down to 993, and up through 1007, beyond the upper edge and the noise: another heat.
    hotter = trace((0, 1000), (1100, 1000), (1114, 993), (1142, 1007), (1200, 1007), (1224, 995), (1300, 900))
    assert end(hotter, "best") == pytest.approx(1140.0, abs=2.0)


def test_a_record_that_ends_in_the_band_ends_it() -> None:
    level = trace((0, 1000), (1200, 1000))
    assert end(level, "best", leave_s=1200.0, limit_s=1200.0) == 1200.0


@pytest.mark.parametrize(
    ("course", "mode", "error_c", "end_s"),
    [
        # A load sensor leaves the band by itself after the chamber did, at 1000 s: at its first reading below the band,
        # or where the line to the first above it crosses its edge.
        (DOWNWARD, "best", 0.0, 1111.0),
        (DOWNWARD, "low", 0.0, 1109.0),
        (DOWNWARD, "high", 0.0, 1113.0),
        (DOWNWARD, "best", 2.0, 1107.0),
        (DOWNWARD, "best", -2.0, 1115.0),
        (UPWARD, "best", 0.0, 1112.5),
        (UPWARD, "low", 0.0, 1110.0),
        (UPWARD, "high", 0.0, 1116.0),
        (UPWARD, "best", 2.0, 1117.5),
        (UPWARD, "best", -2.0, 1107.5),
    ],
)
def test_a_load_sensor_goes_on_after_the_chamber(
    course: tuple[tuple[float, float], ...], mode: Mode, error_c: float, end_s: float
) -> None:
    after = {"chamber_leaves_s": 1000.0, "leave_s": 1110.0}
    assert end(trace(*course), mode, error_c, **after) == pytest.approx(end_s)


def test_a_load_sensor_that_stops_climbing_above_its_band() -> None:
    course = trace((0, 1000), (1100, 1000), (1112, 1004.8), (1114, 1006), (1300, 1006))
    assert end(course, "best", chamber_leaves_s=1000.0, leave_s=1110.0) == pytest.approx(1112 + 2 * 0.2 / 1.2)
    # Where the chamber leaves after the load came down again, the way before does not count.
    hump = trace((0, 1000), (500, 1000), (520, 1010), (540, 1000), (1100, 1000), (1300, 900))
    assert end(hump, "best", chamber_leaves_s=1000.0, leave_s=1110.0) == pytest.approx(1111.0)


def test_a_load_sensor_that_is_out_when_the_chamber_leaves() -> None:
    below = trace((0, 980), (1100, 980), (1300, 1080))
    assert end(below, "best", chamber_leaves_s=1000.0, leave_s=1000.0) == 1000.0
    # From above the band it leaves when it comes down through the lower edge.
    above = trace((0, 1010), (1100, 1010), (1300, 910))
    assert end(above, "best", chamber_leaves_s=1000.0, leave_s=1130.0) == pytest.approx(1131.0)
    # Still inside when the record ends.
    assert end(trace((0, 1000), (1300, 1000)), "best", chamber_leaves_s=1000.0, leave_s=1300.0) == 1300.0


def test_an_estimate_goes_on_by_itself_after_the_chamber() -> None:
    # The blade falls out of the band 50 s after the chamber; the pull ends it all the same.
    chamber, blade = trace(*DOWNWARD), trace((0, 1000), (1150, 1000), (1350, 900))
    follows = {"low": blade, "best": blade, "high": blade}
    assert end(chamber, "best", follows=follows) == pytest.approx(1161.0)
    assert end(chamber, "best", follows=follows, pull_s=1140.0) == 1140.0
    # One that has fallen out before ends with the chamber.
    early = trace((0, 1000), (1000, 1000), (1200, 900))
    assert end(chamber, "best", follows={"low": early, "best": early, "high": early}) == pytest.approx(1111.0)


@pytest.mark.parametrize(
    ("mode", "error_c", "begin_s"),
    # Down from 1020 at 0.1 K/s: through 1005 at 150 s. Surely in from the reading after the last over 1004, at 159 s;
    # perhaps since the one before the first at or under 1006, at 140 s.
    [("best", 0.0, 150.0), ("best", 2.0, 130.0), ("low", 0.0, 160.0), ("high", 0.0, 139.0)],
)
def test_coming_down_into_the_band(mode: Mode, error_c: float, begin_s: float) -> None:
    falling = trace((0, 1020), (200, 1000), (1100, 1000), (1300, 900))
    found = begin(falling, mode, error_c, from_above=True, level_start_s=200.0)
    assert found == pytest.approx(begin_s, abs=1e-6)


def test_before_the_enter_nothing_counts_as_read() -> None:
    level = trace(*DOWNWARD)
    assert begin(level, "best", enter_s=80.0) == 80.0
    assert begin(level, "low", enter_s=80.0) == 0.0
    assert begin(level, "best", enter_s=80.0, start_s=400.0) == 400.0
    # The enter is that of the reading as it is: nothing is known of it where the sensor is off.
    assert begin(level, "best", error_c=1.0, enter_s=80.0) == 0.0


def test_what_never_was_above_its_band_counts_from_the_start() -> None:
    inside = trace((0, 1004), (200, 1000), (1100, 1000), (1300, 900))
    for mode in ("best", "high"):
        assert begin(inside, mode, from_above=True, level_start_s=200.0) == 0.0  # type: ignore[arg-type]
    # Over 1004, 1 K below the edge, is not surely inside.
    near = trace((0, 1004.5), (200, 1000), (1100, 1000), (1300, 900))
    assert begin(near, "low", from_above=True, level_start_s=200.0) == pytest.approx(23.0)


def test_a_door_in_high_is_bridged() -> None:
    # Out from 505 to 645 s, over two minutes: it starts again, unless a door tells that the walls stayed hot.
    dipped = trace((0, 1000), (500, 1000), (510, 990), (640, 990), (650, 1000), (1100, 1000), (1300, 900))
    sure = Allowed(0.0, 0.5, 0.5)

    def high(**changes: object) -> float:
        return soak(dipped, HOLD, window(dipped, **changes), error_c=0.0, mode="high", allowed=sure).soak_s

    # In high whole intervals count that touch the edge: to 506, and to 1111 s.
    assert high(doors=((505.0, 645.0),)) == pytest.approx(1111.0)
    assert high() == pytest.approx(506.0)
    assert high(doors=((200.0, 340.0),)) == pytest.approx(506.0)
