"""Figures beside the soak: the three in-band times, and the chamber across an opened door for the estimate."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.verification import thinning
from soakwitness.analysis.verification.estimates import bridged_doors
from soakwitness.analysis.verification.model import Bounds
from soakwitness.analysis.verification.readings import Readings
from soakwitness.analysis.verification.report import as_json
from soakwitness.analysis.verification.verifying import verify
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

TEN = simple_recipe((1000, 10, 5))


def near(bounds: Bounds, low: float, best: float, high: float) -> bool:
    """In ``low`` and ``high`` a reading more or less at each edge, and the 0.05 K of rounding, make up to 5 s."""
    return (
        bounds.best == pytest.approx(best, abs=0.1)
        and low - 5.0 <= bounds.low <= low
        and high <= bounds.high <= high + 5.0
    )


@pytest.mark.parametrize(("u", "one", "other"), [(0.0, 0.0, 0.0), (2.0, 2.0, -2.0)])
def test_three_times_in_the_band(u: float, one: float, other: float) -> None:
    # In and out of 1000 +-5 at 0.5 K/s; a hump to 1008 at 1 K/s, flat for 20 s: over a level L for 20 + 2 (1008 - L) s.
    course = [(0, 20), (1960, 1000), (2400, 1000), (2408, 1008), (2428, 1008), (2436, 1000), (3160, 1000), (5000, 80)]
    t_s, temp_c = drawn(course)
    (hold,) = verify(make_run(t_s, {"furnace": temp_c}, columns=[sensor(expanded_uncertainty=u)]), TEN).holds
    assert hold.in_band_s is not None

    def figures(error_c: float) -> tuple[float, float, float]:
        """Continuous, cumulative, above the lower edge for a sensor that reads so much high."""
        came_s, went_s = 1950.0 + 2 * error_c, 3170.0 - 2 * error_c
        over_s = 20.0 + 2 * (1008.0 - 1005.0 - error_c)
        return went_s - 2436.0 + (5.0 + error_c), went_s - came_s - over_s, went_s - came_s

    read, plus, minus = figures(0.0), figures(one), figures(other)
    three = (hold.in_band_s.continuous, hold.in_band_s.cumulative, hold.in_band_s.above_lower_edge)
    for number, bounds in enumerate(three):
        every = (read[number], plus[number], minus[number])
        assert near(bounds, min(every), read[number], max(every)), (number, bounds, every)


def test_a_dip_parts_the_unbroken_time_and_counts_in_none() -> None:
    # 30 K in 20 s each way, 60 s at 970: out of the band from 2403.3 to 2496.7 s.
    course = [(0, 20), (1960, 1000), (2400, 1000), (2420, 970), (2480, 970), (2500, 1000), (3160, 1000), (5000, 80)]
    t_s, temp_c = drawn(course)
    (hold,) = verify(make_run(t_s, {"furnace": temp_c}), TEN).holds
    assert hold.in_band_s is not None
    assert hold.in_band_s.continuous.best == pytest.approx(3170.0 - 2496.67, abs=0.1)
    assert hold.in_band_s.cumulative.best == pytest.approx(1220.0 - 93.33, abs=0.1)
    assert hold.in_band_s.above_lower_edge.best == pytest.approx(1220.0 - 93.33, abs=0.1)


@pytest.mark.parametrize(("noise_c", "u", "load"), [(0.1, 2.0, False), (1.5, 0.5, False), (0.1, 2.0, True)])
def test_leaving_readings_out_changes_no_figure(
    noise_c: float, u: float, load: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Two hours at the target with a hump and a dip that cross each edge with every error within U, read every second.
    course = [(0, 20), (1960, 1000), (3000, 1000), (3200, 1006), (3400, 1000), (5000, 1000), (5200, 993), (5400, 1000)]
    t_s, temp_c = drawn([*course, (7000, 1002.5), (8600, 997.5), (9000, 1000), (10800, 80)], noise_c=noise_c)
    columns, values = [sensor(expanded_uncertainty=u)], {"furnace": temp_c}
    if load:
        columns.append(sensor("blade", "load", expanded_uncertainty=u))
        values["blade"] = np.round(np.interp(t_s - 100.0, t_s, temp_c), 1)
    run, recipe = make_run(t_s, values, columns=columns), simple_recipe((1000, 60, 5))
    thinned = as_json(verify(run, recipe))
    monkeypatch.setattr(thinning, "SMALL", t_s.size)
    assert as_json(verify(run, recipe)) == thinned


def trace(*points: tuple[float, float]) -> Readings:
    at, level = np.transpose(np.asarray(points, dtype=float))
    t_s = np.arange(at[0], at[-1] + 0.5)
    return Readings(t_s, np.interp(t_s, at, level), 0.1, 1.0)


# A slow climb; the door opens at 1000 s: down by 50 in 20 s, back on the same line 100 s after it opened.
OPENED = trace((0, 1000), (1000, 1001), (1020, 951), (1100, 1001.1), (3000, 1003))


def test_a_dip_that_begins_at_a_door_is_bridged_by_a_straight_line() -> None:
    bridged = bridged_doors(OPENED, (1000.0,))
    assert bridged is not None
    # From the hottest reading around the mark to the first that is back within 15 % of the fall: 0.85 x 50 K up of 50.1
    # in 80 s. On the line between them nothing is below the way that the walls kept.
    inside = (OPENED.t_s > 1000) & (OPENED.t_s < 1087)
    assert bridged.temp_c[inside].min() >= 1001.0 - 0.15 * 50.0
    assert np.all(np.abs(np.diff(bridged.temp_c[inside], 2)) < 1e-9)
    outside = (OPENED.t_s <= 1000) | (OPENED.t_s >= 1089)
    assert np.array_equal(bridged.temp_c[outside], OPENED.temp_c[outside])
    assert np.array_equal(bridged.t_s, OPENED.t_s)


@pytest.mark.parametrize("door_s", [945.0, 1000.0, 1055.0])
def test_a_mark_within_a_minute_of_its_begin_speaks_for_it(door_s: float) -> None:
    bridged = bridged_doors(OPENED, (200.0, door_s))
    assert bridged is not None
    assert bridged.temp_c[1020] > 990.0


@pytest.mark.parametrize("door_s", [200.0, 930.0, 1180.0])
def test_a_mark_elsewhere_does_not(door_s: float) -> None:
    assert bridged_doors(OPENED, (door_s,)) is None
    assert bridged_doors(OPENED, ()) is None


def test_what_is_slight_or_does_not_come_back_in_three_minutes_is_not_bridged() -> None:
    for depth_c, back_s, is_bridged in ((4.9, 80, False), (5.1, 80, True), (50, 175, True), (50, 200, False)):
        course = trace((0, 1000), (1000, 1000), (1020, 1000 - depth_c), (1020 + back_s, 1000), (3000, 1000))
        assert (bridged_doors(course, (1000.0,)) is not None) is is_bridged, (depth_c, back_s)


def test_two_doors_are_bridged_each() -> None:
    course = trace(
        (0, 1000), (1000, 1000), (1020, 950), (1100, 1000), (2000, 1000), (2020, 950), (2100, 1000), (3000, 1000)
    )
    bridged = bridged_doors(course, (1000.0, 2000.0))
    assert bridged is not None
    assert bridged.temp_c.min() > 990.0
    assert bridged_doors(course, (1000.0,)).temp_c[2020] == 950.0  # type: ignore[union-attr]
    assert course.temp_c[1020] == 950.0  # what was read stays as it was
