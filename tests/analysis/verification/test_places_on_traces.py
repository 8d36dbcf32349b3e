"""Where holds are on a trace, and on a load sensor that lags behind the chamber."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from soakwitness.analysis.recipes.model import Recipe
from soakwitness.analysis.verification.placing import Placed, place_again, place_holds
from soakwitness.analysis.verification.readings import Readings
from tests.verification_runs import drawn, simple_recipe

Corners = Sequence[tuple[float, float]]
TEN = simple_recipe((1000, 10, 5))
TWO = simple_recipe((700, 10, 5), (1000, 10, 5))
# In 700 +-5 from 1350 to 2410 s, in 1000 +-5 from 2990 to 4610 s (0.5 K/s).
COURSE = [(0.0, 20.0), (1360.0, 700.0), (2400.0, 700.0), (3000.0, 1000.0), (4600.0, 1000.0), (6440.0, 80.0)]


def readings(corners: Corners, until_s: float = np.inf) -> Readings:
    t_s, temp_c = drawn(corners)
    kept = t_s <= until_s
    return Readings(t_s[kept], temp_c[kept], 0.1, 1.0)


def later(corners: Corners, by_s: float, less_c: float = 0.0) -> Readings:
    """What follows the course so much later."""
    t_s, temp_c = drawn(corners)
    return Readings(t_s, np.interp(t_s - by_s, t_s, temp_c) - less_c, 0.1, 1.0)


def edges(placed: Placed | None) -> tuple[float, float] | None:
    if placed is None or placed.edges is None:
        return None
    return round(placed.edges.enter_s), round(placed.edges.leave_s)


@pytest.mark.parametrize(
    ("level_c", "reach_c", "beside"),
    # Two bands of 10 K beside the target, or as far as the sensor may be off.
    [(981.0, 0.0, True), (979.0, 0.0, False), (979.0, 25.0, True), (974.0, 25.0, False), (1019.0, 0.0, True)],
)
def test_a_long_level_near_its_band_is_the_hold(level_c: float, reach_c: float, beside: bool) -> None:
    up_s = (level_c - 20.0) / 0.5
    course = [(0.0, 20.0), (up_s, level_c), (up_s + 1200.0, level_c), (up_s + 3000.0, 80.0)]
    (placed,) = place_holds(readings(course), TEN, reach_c=reach_c)
    if not beside:
        assert placed is None
    elif level_c < 995.0:
        assert placed is not None
        assert placed.edges is None
        assert placed.stays[0].start_s == pytest.approx(up_s, abs=130.0)
        assert placed.stays[-1].end_s == pytest.approx(up_s + 1200.0, abs=130.0)
    else:
        assert placed is not None


def test_a_short_level_beside_its_band_is_none() -> None:
    # Five minutes make a level.
    for long_s, found in ((120.0, False), (600.0, True)):
        course = [(0.0, 20.0), (1930.0, 985.0), (1930.0 + long_s, 985.0), (3700.0 + long_s, 100.0)]
        (placed,) = place_holds(readings(course), TEN)
        assert (placed is not None) is found


def test_rounds_at_one_temperature_without_leaving_it_are_one() -> None:
    twice = simple_recipe((200, 20, 8), (200, 20, 8))
    stays = [(0.0, 20.0), (1000.0, 200.0), (5000.0, 200.0), (8000.0, 50.0)]
    first, second = place_holds(readings(stays), twice)
    assert edges(first) is not None
    assert second is None
    # Half a K below the band is none that was left; a fall to 150 is.
    dips = [(0, 20), (1000, 200), (3000, 200), (3050, 191.5), (3100, 200), (5000, 200), (8000, 50)]
    assert place_holds(readings(dips), twice)[1] is None
    apart = [(0, 20), (1000, 200), (3000, 200), (4500, 100), (5500, 200), (7500, 200), (9500, 50)]
    one, other = place_holds(readings(apart), twice)
    assert one is not None
    assert other is not None
    # Down 100 K in 1500 s: 8 K are 120 s; up in 1000 s: in 80 s before the level.
    assert edges(one) == pytest.approx((956, 3120), abs=1)
    assert edges(other) == pytest.approx((5420, 7607), abs=1)


CHAMBER = place_holds(readings(COURSE), TWO)


def test_the_chamber_s_own_places() -> None:
    assert [edges(placed) for placed in CHAMBER] == [(1350, 2410), (2990, 4610)]
    # The way to a hold begins where the one before was left, and to the first where it was coldest.
    assert [placed.window_s for placed in CHAMBER if placed] == [0.0, 2410.0]


def test_a_load_sensor_enters_and_leaves_by_itself() -> None:
    # 60 s later all the time: in before the chamber leaves, and out after it at its own crossings.
    placed = place_again(later(COURSE, 60.0), TWO, CHAMBER, 6440.0)
    assert [edges(one) for one in placed] == [(1410, 2470), (3050, 4670)]
    # One that comes 1100 s later is below 700 until the chamber is on its way to 1000.
    late = place_again(later(COURSE, 1100.0), TWO, CHAMBER, 6440.0)
    assert edges(late[0]) is None
    assert late[0] is not None
    assert edges(late[1]) == (2990 + 1100, 4610 + 1100)


def test_a_load_sensor_beside_the_band_has_no_edges_there() -> None:
    placed = place_again(later(COURSE, 10.0, less_c=20.0), TWO, CHAMBER, 6440.0)
    assert [edges(one) for one in placed] == [None, None]


def test_a_hold_that_the_chamber_lacks_the_load_sensor_has_not() -> None:
    straight = [(0.0, 20.0), (1960.0, 1000.0), (4600.0, 1000.0), (6440.0, 80.0)]
    chamber = place_holds(readings(straight), TWO)
    assert chamber[0] is None
    placed = place_again(later(straight, 60.0), TWO, chamber, 6440.0)
    assert placed[0] is None
    assert edges(placed[1]) == (1950 + 60, 4610 + 60)


def test_where_the_chamber_s_readings_end_the_load_sensor_s_own_hold_counts() -> None:
    # The chamber is read until 4000 s, in its second hold; the load sensor to the end.
    chamber = place_holds(readings(COURSE, 4000.0), TWO)
    assert edges(chamber[1]) == (2990, 4000)
    placed = place_again(later(COURSE, 60.0), TWO, chamber, 4000.0)
    assert [edges(one) for one in placed] == [(1410, 2470), (3050, 4670)]
    # As far as both were read it is the chamber's leave that ends it.
    short = Readings(*(part[:4001] for part in (later(COURSE, 60.0).t_s, later(COURSE, 60.0).temp_c)), 0.1, 1.0)
    assert edges(place_again(short, TWO, chamber, 4000.0)[1]) == (3050, 4000)


def test_a_colder_hold_is_reached_by_the_load_sensor_from_above() -> None:
    down: Recipe = simple_recipe((1000, 10, 5), (700, 10, 5))
    course = [(0.0, 20.0), (1960.0, 1000.0), (3000.0, 1000.0), (3600.0, 700.0), (5000.0, 700.0), (6240.0, 80.0)]
    chamber = place_holds(readings(course), down)
    assert [edges(one) for one in chamber] == [(1950, 3010), (3590, 5010)]
    placed = place_again(later(course, 60.0), down, chamber, 6240.0)
    assert [edges(one) for one in placed] == [(2010, 3070), (3650, 5070)]
    assert placed[1] is not None
    assert placed[1].edges is not None
    assert placed[1].edges.from_above
