"""Soak of one piece: dips that pause, dips that start it again, marks that begin and end it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.verification.intervals import Allowed
from soakwitness.analysis.verification.readings import Readings
from soakwitness.analysis.verification.soak import Window, soak

HOLD = Hold(2, 1000.0, 5.0, 5.0, 600.0, dip_s=120.0)
SURE = Allowed(0.0, 0.5, 0.25)


def trace(*points: tuple[float, float]) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + 0.5)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, 1.0)


def window(on: Readings, **changes: object) -> Window:
    end = float(on.t_s[-1])
    plain = Window(0.0, 0.0, 0.0, end, end, end, from_above=False, left_upward=False, pull_s=None, edges_on=on)
    return replace(plain, **changes)  # type: ignore[arg-type]


def best(on: Readings, hold: Hold = HOLD, error_c: float = 0.0, mode: str = "best", **changes: object) -> float:
    found = soak(on, hold, window(on, **changes), error_c=error_c, mode=mode, allowed=SURE)  # type: ignore[arg-type]
    return found.soak_s


# 95 K up in 100 s reaches 995 at 100 s; down through 995 at 1110 s.
UP = (0, 900), (100, 995), (110, 1000)
PLAIN = trace(*UP, (1100, 1000), (1110, 995), (1300, 700))


def test_time_at_or_above_the_lower_edge():
    assert best(PLAIN) == pytest.approx(1010)


def test_a_short_dip_pauses_and_a_long_one_starts_again():
    # Each dip goes down through 995 in 10 s, stays at 990, and comes back in 10 s.
    def dipped(long_s: float) -> Readings:
        return trace(
            *UP,
            (500, 1000),
            (520, 990),
            (500 + long_s, 990),
            (520 + long_s, 1000),
            (1100, 1000),
            (1110, 995),
            (1300, 700),
        )

    # Out of the band from 510 to 510 + long.
    assert best(dipped(100)) == pytest.approx(1010 - 100)
    assert best(dipped(200)) == pytest.approx(510 - 100)  # 410 before the dip, 1110 - 710 = 400 after
    assert best(dipped(150)) == pytest.approx(1110 - 660)
    # A dip of exactly dip_seconds still pauses (DESIGN.md 4.4: at most); a second more starts again at 631 s.
    assert best(dipped(120)) == pytest.approx(1010 - 120)
    assert best(dipped(121)) == pytest.approx(1110 - 631)


def test_the_longest_stretch_counts_so_that_a_late_dip_takes_nothing_away():
    late = trace(*UP, (900, 1000), (920, 980), (1080, 980), (1100, 1000), (1110, 995), (1300, 700))
    assert best(late) == pytest.approx(905 - 100)


def test_nothing_counts_before_the_load_mark_or_after_the_pull():
    assert best(PLAIN, start_s=400.0) == pytest.approx(710)
    assert best(PLAIN, pull_s=700.0) == pytest.approx(600)
    assert best(PLAIN, start_s=400.0, pull_s=700.0) == pytest.approx(300)
    assert best(PLAIN, start_s=1200.0) == 0


def test_a_climb_ends_it_at_the_upper_edge():
    # From 1100 s up at 0.5 K/s: through 1005 at 1110 s; a sensor that reads 3 high is through 1008 at 1116 s.
    climbing = trace(*UP, (1100, 1000), (1200, 1050))
    ends = {"left_upward": True, "level_end_s": 1100.0, "leave_s": 1110.0}
    assert best(climbing, **ends) == pytest.approx(1010)
    # ... and was through 998 only at 100 + 10 x 3/5 s.
    assert best(climbing, error_c=3.0, **ends) == pytest.approx(1116 - 106)


def test_reached_from_above_it_begins_at_the_upper_edge():
    # Down from 1100 at 0.1 K/s: through 1005 at 950 s.
    falling = trace((0, 1100), (1000, 1000), (2000, 1000), (2010, 990), (2100, 800))
    assert best(falling, from_above=True, level_start_s=1000.0) == pytest.approx(2005 - 950)


def test_low_and_high_enclose_it():
    assert best(PLAIN, mode="low") <= best(PLAIN) <= best(PLAIN, mode="high")
    rough = replace(SURE, noise_c=0.5)
    low = soak(PLAIN, HOLD, window(PLAIN), error_c=0.0, mode="low", allowed=rough)
    assert low.soak_s < 1010


def test_a_dip_within_the_noise_starts_nothing_again():
    # 0.3 below the edge for 300 s, noise 0.5: out, but nobody can say it was a dip.
    slight = trace(*UP, (500, 1000), (510, 994.7), (810, 994.7), (820, 1000), (1110, 995), (1300, 700))
    sure = soak(slight, HOLD, window(slight), error_c=0.0, mode="best", allowed=SURE).soak_s
    unsure = soak(slight, HOLD, window(slight), error_c=0.0, mode="best", allowed=replace(SURE, noise_c=0.5)).soak_s
    assert sure < 420
    assert unsure == pytest.approx(1010 - 300, abs=3)


def test_a_swinging_oven_counts_from_its_first_to_its_last_time_there():
    t_s = np.arange(0.0, 7201.0)
    swing = Readings(t_s, 1000 + 10 * np.sin(2 * np.pi * t_s / 900), 0.1, 1.0)
    by_mean = replace(HOLD, judge_by="mean")
    # In the band at 0; the eighth swing's last return above 995 is the end of the record.
    assert best(swing, by_mean) == pytest.approx(7200, abs=1)
    assert best(swing, HOLD) < 900
