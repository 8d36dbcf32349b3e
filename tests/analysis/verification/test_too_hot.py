"""Limits at each moment from load to pull, and how long a heat must last to count."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.verification.model import Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.model import Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

TEN = simple_recipe((1000, 10, 5))


def checked(*corners: tuple[float, float], marks: tuple[Mark, ...] = (), load: bool = False) -> Verification:
    t_s, temp_c = drawn(list(corners))
    columns, values = [sensor()], {"furnace": temp_c}
    if load:
        columns, values = [*columns, sensor("blade", "load")], {**values, "blade": temp_c}
    return verify(make_run(t_s, values, columns=columns, marks=marks), TEN)


def hump(long_s: float, *, load: bool = False) -> Verification:
    """So long over the upper edge of 1005: up and down at 0.5 K/s, flat at 1008 between (12 s of it on the slopes)."""
    top = 2500.0 + long_s - 6.0
    return checked(
        (0, 20),
        (1960, 1000),
        (2484, 1000),
        (2500, 1008),
        (top, 1008),
        (top + 16, 1000),
        (3600, 1000),
        (5000, 80),
        load=load,
    )


@pytest.mark.parametrize(("long_s", "verdict"), [(50.0, "pass"), (90.0, "fail")])
def test_a_bare_chamber_may_be_over_for_a_minute(long_s: float, verdict: str):
    assert hump(long_s).verdict == verdict


@pytest.mark.parametrize(("long_s", "verdict"), [(20.0, "pass"), (50.0, "fail")])
def test_work_that_is_known_may_be_over_for_half_a_minute(long_s: float, verdict: str):
    assert hump(long_s, load=True).verdict == verdict


@pytest.mark.parametrize("missing_s", [0.0, 10.0, 15.0, 25.0])
def test_readings_that_are_missing_do_not_shorten_a_heat(missing_s: float):
    # 2 K over 1005 for 40 s at the load sensor, where half a minute counts; some of it without a reading.
    t_s, temp_c = drawn(
        [(0, 20), (1960, 1000), (2500, 1000), (2503, 1007), (2543, 1007), (2546, 1000), (3600, 1000), (5000, 80)]
    )
    kept = (t_s <= 2505) | (t_s >= 2505 + missing_s)
    columns, values = [sensor(), sensor("blade", "load")], {"furnace": temp_c[kept], "blade": temp_c[kept]}
    found = verify(make_run(t_s[kept], values, columns=columns), TEN)
    assert found.verdict == "fail"
    assert "too hot" in found.holds[0].unmet


def test_only_the_time_with_a_charge_inside_counts():
    # Before the load mark, and after the pull, the furnace may be as hot as it likes; a bare chamber settles for 600 s.
    course = [(0, 20), (1960, 1060), (2300, 1060), (2500, 1000), (4200, 1000), (4300, 1050), (5000, 1050), (7000, 80)]
    marks = (Mark(2600.0, "load"), Mark(4190.0, "pull"))
    assert "too hot" not in checked(*course, marks=marks).holds[0].unmet
    late = (Mark(2600.0, "load"), Mark(4990.0, "pull"))
    assert "too hot" in checked(*course, marks=late).holds[0].unmet


def test_an_attempt_before_the_furnace_was_cold_again_is_judged_by_the_hottest_hold():
    two = simple_recipe((500, 10, 5), (900, 10, 5))

    def tried(first_c: float) -> Verification:
        first = [(0, 20), (960, 500), (1700, 500), (2500, first_c), (2800, first_c), (6000, 100)]
        again = [(t + 6000, c) for t, c in [(960, 500), (1700, 500), (2500, 900), (3400, 900), (6000, 100)]]
        t_s, temp_c = drawn([*first, *again])
        return verify(make_run(t_s, {"furnace": temp_c}), two)

    assert tried(900).verdict == "pass"
    # Hotter than any hold of the recipe it is too hot in any attempt.
    assert tried(950).verdict == "fail"


def test_a_temper_says_how_long_its_heat_would_take_at_the_target():
    # Two minutes at 250 of 200 +-5, up and down in a second: (250 + 273.15) (20 + lg 1/30) = 9690 = 473.15 (20 + lg t),
    # so t is 3.02 h = 181 min (Hollomon and Jaffe, 1945, with C = 20).
    t_s = np.arange(0.0, 9001.0)
    temp_c = np.interp(t_s, [0, 1800, 7200, 9000], [20, 200, 200, 60])
    temp_c[4000:4121] = 250.0
    temp_c[3990:4000], temp_c[4121:4131] = np.linspace(200, 250, 10), np.linspace(250, 200, 10)
    values = {"furnace": temp_c, "blade": temp_c}
    run = make_run(t_s, values, columns=[sensor(), sensor("blade", "load")])
    found = verify(run, simple_recipe((200, 60, 5)))
    (says,) = (str(f.says) for f in found.findings if f.severity == "fail")
    minutes = float(says.split("tempers as ")[1].split(" h")[0]) * 60
    assert minutes == pytest.approx(181, rel=0.05)


@pytest.mark.parametrize(("stand_c", "verdict"), [(250.0, "fail"), (700.0, "pass")])
def test_a_stand_on_the_way_down_that_is_nearer_to_the_colder_hold_has_its_limit(stand_c: float, verdict: str):
    # 900, then 200 +-5 for an hour: twenty minutes at 250 temper for hours; a stand at 700 is on the way from 900.
    course = [
        (0, 20),
        (1760, 900),
        (2960, 900),
        (3660, stand_c),
        (4860, stand_c),
        (5560, 200),
        (9400, 200),
        (11000, 80),
    ]
    t_s, temp_c = drawn(course)
    run = make_run(t_s, {"furnace": temp_c}, columns=[sensor()])
    found = verify(run, simple_recipe((900, 15, 5), (200, 60, 5)))
    assert found.verdict == verdict
    assert ("too hot" in found.holds[1].unmet) == (verdict == "fail")


@pytest.mark.parametrize(
    ("max_overshoot_c", "stands_low_c"),
    # A hump to 1003 for a minute and more: 2 K under the upper edge of 1005, 1 K under a stated 4 K of overshoot. A
    # display that reads so much low would hide a heat; less what rounding and the ways up and down hide (0.05 K).
    [(None, -2.0), (4.0, -1.0), (9.0, -5.0)],
)
def test_a_hump_near_its_limit_stands_less_of_a_display_that_reads_low(
    max_overshoot_c: float | None, stands_low_c: float
):
    course = [(0, 20), (1960, 1000), (2500, 1000), (2506, 1003), (2596, 1003), (2602, 1000), (3600, 1000), (5000, 80)]
    t_s, temp_c = drawn(course)
    recipe = simple_recipe((1000, 10, 5), max_overshoot_c=max_overshoot_c)
    (hold,) = verify(make_run(t_s, {"furnace": temp_c}, columns=[sensor(expanded_uncertainty=0.5)]), recipe).holds
    assert hold.error_it_stands_c is not None
    low, high = hold.error_it_stands_c
    assert low == pytest.approx(stands_low_c, abs=0.15)
    # One that reads high by up to 5 K leaves the level above the lower edge.
    assert high == pytest.approx(5.0, abs=0.15)
