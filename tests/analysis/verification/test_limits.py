"""Which limit counts at each moment, from the first reading to the last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.holds.placed_sensors import place
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.run_as_read import RunKnowledge, read_run
from soakwitness.analysis.verification.measuring.intervals import Allowed
from soakwitness.analysis.verification.measuring.too_hot import Limit, hot_figures, hot_limit_c
from soakwitness.analysis.verification.sensors.hold_on_trace import HoldsOnTraces
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

Corners = Sequence[tuple[float, float]]
# 700 +-5 for 10 min, then 1000 +-8: in 700 from 1350 to 2410 s, in 1000 from 2984 to 4616 s.
TWO = simple_recipe((700, 10, 5), (1000, 10, 8))
COURSE = [(0.0, 20.0), (1360.0, 700.0), (2400.0, 700.0), (3000.0, 1000.0), (4600.0, 1000.0), (6440.0, 80.0)]


def limits(corners: Corners = COURSE, recipe: Recipe = TWO) -> list[tuple[float, float, float, int]]:
    t_s, temp_c = drawn(corners)
    run = make_run(t_s, {"furnace": temp_c}, columns=[sensor()])
    placed = place(read_run(run, RunKnowledge()), recipe)
    found = HoldsOnTraces(placed).limits(placed.chamber, 0.0, placed.chamber.placed)
    return [(round(one.start_s), round(one.end_s), one.limit_c, one.number) for one in found]


def test_a_limit_is_the_upper_edge_or_a_stated_overshoot_where_that_is_more() -> None:
    hold = TWO.holds[0]
    assert hot_limit_c(hold) == 705.0
    assert hot_limit_c(replace(hold, max_overshoot_c=3.0)) == 705.0
    assert hot_limit_c(replace(hold, max_overshoot_c=12.0)) == 712.0
    # A swinging oven is judged by its mean: 15 K more.
    assert hot_limit_c(replace(hold, judge_by="mean")) == 720.0
    assert hot_limit_c(replace(hold, judge_by="mean", max_overshoot_c=12.0)) == 712.0


def test_a_climb_belongs_to_the_hotter_hold() -> None:
    # Until the climb out of it begins, at 2400 s, the first hold's own limit counts.
    assert limits() == [
        (0, 1350, 705.0, 0),
        (1350, 2400, 705.0, 0),
        (2400, 2984, 1008.0, 1),
        (2984, 4616, 1008.0, 1),
        (4616, 6440, 1008.0, 1),
    ]


def test_a_colder_hold_is_reached_from_the_hotter_one() -> None:
    down = simple_recipe((1000, 10, 8), (700, 10, 5))
    # Down at 0.5 K/s from 2500 s: out of 1000 at 2516 s; through 705 at 3090 s, level from 3100 s on, out at 4010 s.
    course = [(0.0, 20.0), (1960.0, 1000.0), (2500.0, 1000.0), (3100.0, 700.0), (4000.0, 700.0), (5240.0, 80.0)]
    found = limits(course, down)
    assert [(limit_c, number) for _, _, limit_c, number in found] == [
        (1008.0, 0), (1008.0, 0), (1008.0, 0), (705.0, 1), (705.0, 1),
    ]  # fmt: skip
    assert [start for start, _, _, _ in found] == pytest.approx([0, 1944, 2516, 3100, 4010], abs=2)


def test_between_two_holds_the_hottest_on_the_way_counts_even_if_it_was_not_found() -> None:
    # 500 between the two is never held, and colder; 900 is not held either, and hotter.
    three = simple_recipe((700, 10, 5), (900, 10, 5), (700, 10, 5))
    course = [
        (0.0, 20.0),
        (1360.0, 700.0),
        (2400.0, 700.0),
        (3000.0, 650.0),
        (3100.0, 700.0),
        (4400.0, 700.0),
        (5600.0, 80.0),
    ]
    found = [limit_c for _, _, limit_c, _ in limits(course, three)]
    assert 905.0 in found


def test_after_the_last_hold_the_hottest_that_is_still_to_come_counts() -> None:
    # The record goes on to 800 and ends there: the hold at 1000 was on its way.
    ends = [*COURSE[:3], (2600.0, 800.0)]
    assert limits(ends)[-1] == (2400, 2600, 1008.0, 1)


def test_a_level_part_near_a_hold_that_was_not_found_keeps_its_limit() -> None:
    # 700 was asked for after 1000; it stood 20 min at 780, which is nearer to 700 than to 1000 (850 lies between).
    down = simple_recipe((1000, 10, 8), (700, 10, 5))

    def missing(level_c: float) -> list[tuple[float, float]]:
        low = [(2500.0 + (1000.0 - level_c) / 0.5, level_c), (4100.0, level_c), (5400.0, 80.0)]
        found = limits([(0.0, 20.0), (1960.0, 1000.0), (2500.0, 1000.0), *low], down)
        return [(start, end) for start, end, limit_c, number in found if (limit_c, number) == (705.0, 1)]

    assert missing(780.0) == [(pytest.approx(2940.0, abs=60.0), pytest.approx(4100.0, abs=60.0))]
    assert missing(870.0) == []


def test_an_attempt_that_went_cold_is_judged_by_the_hottest() -> None:
    # To 1000 and down to 100, then the run: below 20 + 0.4 x 980 = 412 it began anew, at the coldest.
    cold = [(0.0, 20.0), (1960.0, 1000.0), (3760.0, 100.0), *((t + 4000.0, c) for t, c in COURSE[1:])]
    first, second, *_ = limits(cold)
    assert first == (0, 3760, 1008.0, 1)
    assert (second[0], second[2]) == (3760, 705.0)
    warm = [(0.0, 20.0), (1960.0, 1000.0), (3000.0, 480.0), *((t + 4000.0, c) for t, c in COURSE[1:])]
    assert limits(warm)[0][2] == 705.0


LIMIT = (Limit(0.0, 1000.0, 1005.0, 0),)
SURE = Allowed(0.0, 0.5, 0.5)


def trace(*points: tuple[float, float]) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + 0.5)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, 1.0)


# 40 s at 1009, up and down at 1 K/s: over 1005 from 404 to 452 s.
HUMP = trace((0, 1000), (400, 1000), (409, 1009), (449, 1009), (458, 1000), (1000, 1000))


def hot(
    inside_s: tuple[float, float] = (-np.inf, np.inf),
    *,
    on: Readings = HUMP,
    limits: tuple[Limit, ...] = LIMIT,
    bare_s: float | None = None,
    allowed: Allowed = SURE,
    number: int = 0,
) -> tuple[float, float] | None:
    found = hot_figures(on, limits, number, inside_s, bare_s=bare_s, allowed=allowed, lower_c=995.0, correction_c=0.0)
    return None if found is None else (round(found.by_c, 1), round(found.most_c, 1))


def test_known_work_counts_after_half_a_minute_and_a_bare_chamber_after_its_own_time() -> None:
    assert hot() == (4.0, 4.0)
    # 60 s: at a level L it is above for 40 + 2 (1009 - L), which is 60 at 999: below the level, so the level itself.
    assert hot(bare_s=60.0) == (-5.0, -5.0)
    assert hot(bare_s=44.0) == (2.0, 2.0)


def test_only_the_time_inside_and_of_this_hold_counts() -> None:
    assert hot((430.0, np.inf)) is not None
    # 22 s at 1009 are left, and down at 1 K/s: 30 s at 1009 - 11.
    assert hot((430.0, np.inf)) == (pytest.approx(-5.0, abs=0.1), pytest.approx(-5.0, abs=0.1))
    assert hot((-np.inf, 439.0)) == (pytest.approx(4.0), pytest.approx(4.0))
    assert hot((2000.0, np.inf)) is None
    assert hot(number=1) is None


def test_a_bare_chamber_settles_for_ten_minutes_after_the_load() -> None:
    before = (replace(LIMIT[0], before_first=True),)
    assert hot((0.0, np.inf), limits=before, bare_s=44.0) == (pytest.approx(-5.0), pytest.approx(-5.0))
    assert hot((-200.0, np.inf), limits=before, bare_s=44.0) == (2.0, 2.0)
    # Work that is known has no empty furnace before it.
    assert hot((0.0, np.inf), limits=before) == (4.0, 4.0)


def test_without_a_pull_the_work_counts_until_it_fell_below_its_band() -> None:
    late = trace((0, 1000), (300, 1000), (310, 990), (400, 990), (419, 1009), (600, 1009), (1000, 1000))
    after = (replace(LIMIT[0], after_last=True),)
    assert hot(on=late, limits=after) == (pytest.approx(-5.0), pytest.approx(-5.0))
    assert hot((-np.inf, 900.0), on=late, limits=after) == (4.0, 4.0)
    assert hot(on=late, limits=LIMIT) == (4.0, 4.0)


def test_a_gap_may_hide_heat() -> None:
    flat = trace((0, 1000), (1000, 1000))
    kept = (flat.t_s <= 400) | (flat.t_s >= 470)
    gap = Readings(flat.t_s[kept], flat.temp_c[kept], 0.1, 1.0)
    # Of 70 s 40 are more than half a minute: up and down at 0.5 K/s is 10 K in 20 s.
    assert hot(on=gap) == (-5.0, 5.0)
    assert hot(on=gap, bare_s=60.0) == (-5.0, -2.5)


def test_what_is_shown_of_it() -> None:
    found = hot_figures(HUMP, LIMIT, 0, (-np.inf, np.inf), bare_s=None, allowed=SURE, lower_c=995.0, correction_c=-2.0)
    assert found is not None
    assert found.shown is not None
    # As the sensor shows it, with its correction taken off again: 1003 and 1007.
    assert (found.shown.limit_c, found.shown.reached_c) == (1003.0, pytest.approx(1007.0, abs=0.02))
    assert found.shown.at_s == pytest.approx(409.0, abs=0.1)
    # The readings from 406 to 452 s: 1005 itself is not over it.
    assert found.shown.over_s == pytest.approx(46.0)
    below = hot_figures(
        HUMP,
        (replace(LIMIT[0], limit_c=1010.0),),
        0,
        (-np.inf, np.inf),
        bare_s=None,
        allowed=SURE,
        lower_c=995.0,
        correction_c=0.0,
    )
    assert below is not None
    assert below.shown is None
