"""Each trouble of a real log once, drawn by hand with its truth, then random ones against the generator's truth."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.holds import assignment
from soakwitness.analysis.verification.holds.placing import Placed, place_holds
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.rules.states import slope_reference
from tests.synthetic import KINDS, assignment_case, wrong_holds
from tests.verification_runs import drawn, make_run, simple_recipe

# Up in 30 min to 780, 15 min there, in 10 min to 1040, 30 min there, then cooling. Band +-8 and +-6.
TWO = simple_recipe((780, 10, 8), (1040, 25, 6))
RISE = (780 - 20) / 1800  # K/s
CLIMB = (1040 - 780) / 600
COOL = (1040 - 400) / 3600
PLAIN = [(0, 20), (1800, 780), (2700, 780), (3300, 1040), (5100, 1040), (8700, 400)]
# Crossings of the lower edge up, of the upper edge before the climb, of the lower edge down, from the lines' equations.
FIRST = (1800 - 8 / RISE, 2700 + 8 / CLIMB)
SECOND = (3300 - 6 / CLIMB, 5100 + 6 / COOL)


def placed(t_s: FloatArray, temp_c: FloatArray, recipe: Recipe = TWO, **options: object) -> tuple[Placed | None, ...]:
    run = make_run(t_s, {"furnace": temp_c})
    trace = run.traces[0]
    seen = np.isfinite(trace.temp_c)
    readings = Readings(trace.t_s[seen], trace.temp_c[seen], trace.resolution_c, trace.period_s)
    return place_holds(readings, recipe, **options)  # type: ignore[arg-type]


def edges(found: Placed | None) -> tuple[float, float]:
    assert found is not None
    assert found.edges is not None
    return found.edges.enter_s, found.edges.leave_s


def test_plain_run():
    first, second = placed(*drawn(PLAIN))
    assert edges(first) == pytest.approx(FIRST, abs=0.5)
    assert edges(second) == pytest.approx(SECOND, abs=0.5)


def test_late_start():
    late = [(0.0, 20.0), *((t + 7200, c) for t, c in PLAIN)]
    first, second = placed(*drawn(late, noise_c=0.3))
    assert edges(first) == pytest.approx([t + 7200 for t in FIRST], abs=3)
    assert edges(second) == pytest.approx([t + 7200 for t in SECOND], abs=5)


def test_aborted_run_has_the_first_hold_only():
    aborted = [*PLAIN[:3], (2940, 780 + 240 * CLIMB), (6000, 200)]
    first, second = placed(*drawn(aborted))
    assert edges(first) == pytest.approx(FIRST, abs=0.5)
    assert second is None


def test_recipe_with_one_hold_missing():
    straight = [(0, 20), (3300, 1040), (5100, 1040), (8700, 400)]
    first, second = placed(*drawn(straight, noise_c=0.2))
    assert first is None
    assert edges(second)[1] == pytest.approx(SECOND[1], abs=5)


def test_two_holds_20_degrees_apart():
    close = simple_recipe((1020, 15, 6), (1040, 25, 6))
    # Climb of 20 K in 40 s: the first band is left 12 s, the second entered 28 s after the climb begins.
    course = [(0, 20), (3000, 1020), (4200, 1020), (4240, 1040), (6000, 1040), (9600, 400)]
    first, second = placed(*drawn(course, noise_c=0.2), close)
    assert edges(first) == pytest.approx((3000 - 6 / (1000 / 3000), 4212), abs=3)
    assert edges(second) == pytest.approx((4228, 6000 + 6 / COOL), abs=5)


def test_repeated_holds_at_one_target():
    twice = simple_recipe((200, 60, 8), (200, 60, 8))
    one = [(0, 20), (1200, 200), (5100, 200), (9000, 40)]
    course = [*one, *((t + 9600, c) for t, c in one[1:])]
    first, second = placed(*drawn(course, every_s=5, noise_c=0.2), twice)
    up, down = 1200 - 8 / (180 / 1200), 5100 + 8 / (160 / 3900)
    assert edges(first) == pytest.approx((up, down), abs=12)
    assert edges(second)[1] == pytest.approx(down + 9600, abs=12)
    # The second climb begins at 40 at t = 9000 and reaches 200 at 10800.
    assert edges(second)[0] == pytest.approx(10800 - 8 / (160 / 1800), abs=12)


def test_full_power_of_unknown_rate_that_fades():
    t_s = np.arange(0, 6000.0)
    rising = 1060 - 1040 * np.exp(-t_s / 1000)  # reaches 1040 at 1000 ln(52) s
    reaches = 1000 * np.log(1040 / 20)
    temp_c = np.where(t_s < reaches, rising, 1040.0)
    temp_c = np.where(t_s > 5500, 1040 - 0.2 * (t_s - 5500), temp_c)
    (hold,) = placed(t_s, np.round(temp_c, 1), simple_recipe((1040, 20, 6)))
    # 26 K below 1060 it climbs 0.026 K/s: half a step of 0.1 is 2 s.
    assert edges(hold) == pytest.approx((1000 * np.log(1040 / 26), 5500 + 6 / 0.2), abs=3)


def test_restart_after_a_power_cut_in_mid_hold_is_one_hold():
    # Cut off after 10 min, down to 940 in 10 min, back at 1040 after another 5 min, then 20 min more.
    cut = [*PLAIN[:4], (3900, 1040), (4500, 940), (4800, 1040), (6000, 1040), (9600, 400)]
    _, second = placed(*drawn(cut, noise_c=0.2))
    assert second is not None
    assert edges(second) == pytest.approx((SECOND[0], 6000 + 6 / COOL), abs=5)
    assert len(second.stays) == 2


def test_restart_from_cold_counts_the_last_attempt():
    again = [(0, 20), (1800, 780), (2100, 780), (7000, 100), *((t + 7600, c) for t, c in PLAIN[1:])]
    first, _ = placed(*drawn(again, noise_c=0.2))
    # The second climb goes from 100 at 7000 to 780 at 9400.
    assert edges(first) == pytest.approx((9400 - 8 / (680 / 2400), FIRST[1] + 7600), abs=5)


def test_door_opened_in_a_hold():
    t_s, temp_c = drawn(PLAIN, noise_c=0.2)
    since = t_s - 4000
    dip = np.where(
        (since > 0) & (since < 20), 55 * since / 20, np.where(since >= 20, 55 * np.exp(-(since - 20) / 30), 0)
    )
    first, second = placed(t_s, np.round(temp_c - dip, 1))
    assert edges(first) == pytest.approx(FIRST, abs=3)
    assert edges(second) == pytest.approx(SECOND, abs=5)


def test_readings_of_one_degree():
    first, second = placed(*drawn(PLAIN, noise_c=0.3, step_c=1.0))
    assert edges(first) == pytest.approx(FIRST, abs=3)
    assert edges(second) == pytest.approx(SECOND, abs=8)


def test_one_reading_a_minute():
    first, second = placed(*drawn(PLAIN, every_s=60, noise_c=0.3))
    assert edges(first) == pytest.approx(FIRST, abs=60)
    assert edges(second) == pytest.approx(SECOND, abs=60)


def test_dropouts_and_spikes():
    t_s, temp_c = drawn(PLAIN, noise_c=0.2)
    rng = np.random.default_rng(3)
    temp_c[rng.integers(0, t_s.size, 40)] += 300
    for start in (1000, 2100, 3000, 4300):
        temp_c[start : start + 150] = np.nan
    first, second = placed(t_s, temp_c)
    assert edges(first) == pytest.approx(FIRST, abs=3)
    assert edges(second) == pytest.approx(SECOND, abs=5)


def test_a_level_stretch_beside_the_band_is_the_hold_out_of_its_band():
    _, second = placed(*drawn([*PLAIN[:3], (3300, 1030), (5100, 1030), (8700, 400)], noise_c=0.2))
    assert second is not None
    assert second.edges is None
    assert second.stays[0].start_s < 3600
    assert second.stays[-1].end_s > 5000


def test_nothing_but_room_temperature():
    assert placed(*drawn([(0, 20), (3600, 21)], noise_c=0.2)) == (None, None)


def test_holds_of_many_hours_stretch_the_blocks():
    # The same ramps around holds of 10 and 30 h.
    stretched = [(0, 20), (1800, 780), (37_800, 780), (38_400, 1040), (146_400, 1040), (150_000, 400)]
    t_s, temp_c = drawn(stretched, every_s=2)
    assert assignment.block_medians(t_s, temp_c, 2.0).t_s.size <= assignment.MOST_POINTS
    first, second = placed(t_s, temp_c)
    assert edges(first) == pytest.approx((FIRST[0], 37_800 + 8 / CLIMB), abs=2)
    assert edges(second) == pytest.approx((38_400 - 6 / CLIMB, 146_400 + 6 / COOL), abs=2)


def test_a_colder_hold_is_reached_from_above_though_the_hotter_one_before_it_is_not_found():
    """The climb through its band on the way to the hotter hold is none of its time."""
    down = simple_recipe((1000, 20, 5), (900, 20, 10))
    # Only touched at the top, so the first hold is not found; down at 0.5 K/s, 30 min at 900.
    t_s, temp_c = drawn([(0, 20), (1960, 1000), (2160, 900), (3960, 900), (5760, 500)])
    _, second = placed(t_s, temp_c, down)
    assert second is not None
    assert second.edges is not None
    assert second.edges.from_above
    assert second.edges.enter_s == pytest.approx(2160 - 10 / 0.5, abs=1)


def test_a_colder_hold_is_reached_from_above_though_the_hotter_one_stood_above_its_band():
    down = simple_recipe((1000, 20, 5), (900, 20, 10))
    t_s, temp_c = drawn([(0, 20), (1980, 1010), (3480, 1010), (3700, 900), (5500, 900), (7300, 500)])
    first, second = placed(t_s, temp_c, down)
    assert first is not None
    assert first.edges is None
    assert second is not None
    assert second.edges is not None
    # 110 K in 220 s: through 910 at 3480 + 200 s.
    assert second.edges.enter_s == pytest.approx(3680, abs=1)


def test_slope_reference_is_a_quarter_of_the_slowest_neighbour_within_its_limits():
    # Full power counts as 400 degC/h: 100; 0.1 degC over 120 s is 3 degC/h, 1 degC is 30, twice that 60.
    assert slope_reference(TWO, 0, 0.1) == 100.0
    slow = Recipe("slow", "C", (TWO.steps[0].__class__(1, 780.0, 60.0), *TWO.steps[1:]))
    assert slope_reference(slow, 0, 0.1) == pytest.approx(15.0)
    assert slope_reference(slow, 0, 1.0) == pytest.approx(60.0)


@pytest.mark.parametrize("kind", KINDS)
def test_random_runs_of_every_kind(kind: str):
    """Short form of tests/campaigns/verifications.py."""
    wrong = [seed for seed in range(100, 106) if wrong_holds(assignment_case(seed, kind))]
    assert not wrong
