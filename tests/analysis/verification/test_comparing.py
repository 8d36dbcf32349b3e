"""A run beside a proven run of the same furnace, sensor and recipe."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.recipes.model import Recipe
from soakwitness.analysis.runs import Run
from soakwitness.analysis.verification.comparing import DRIFT, compare
from soakwitness.analysis.verification.model import Comparison
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.model import Column
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

TEN = simple_recipe((1000, 10, 5), max_overshoot_c=10.0)


def run(level_c: float = 1000.0, hold_s: float = 1200.0, peak_c: float = 0.0, column: Column | None = None) -> Run:
    """Up at 0.5 K/s, for 60 s at the peak, down to the level in 20 s, there for a time, down at 0.5 K/s."""
    up_s = (level_c + peak_c - 20.0) / 0.5
    corners = [
        (0.0, 20.0),
        (up_s, level_c + peak_c),
        (up_s + 60.0, level_c + peak_c),
        (up_s + 80.0, level_c),
        (up_s + hold_s, level_c),
        (up_s + hold_s + 2 * (level_c - 100.0), 100.0),
    ]
    t_s, temp_c = drawn(corners)
    return make_run(t_s, {"furnace": temp_c}, columns=[column or sensor()])


def compared(mine: Run, other: Run, recipe: Recipe = TEN, others: Recipe = TEN) -> Comparison:
    return compare(verify(mine, recipe), mine, verify(other, others), other)


def test_the_same_run_is_the_same_and_nothing_is_said_of_drift_beyond_that() -> None:
    found = compared(run(), run())
    assert found.same
    hold = "Step 2: level +0 °C, peak +0 °C, soak 0 s longer: the same within 2 °C and 1 min."
    assert [str(says) for says in found.says] == [hold, str(DRIFT)]


@pytest.mark.parametrize(
    ("mine", "same", "words"),
    [
        # Two kelvin hotter: the way through 995 begins 4 s earlier before the level and ends 4 s later.
        (run(1002.0), True, "level +2 °C, peak +2 °C, soak 8 s longer: the same"),
        (run(1002.2), False, "level +2.2 °C, peak +2.2 °C, soak 8.8 s longer: not the same"),
        (run(998.0), True, "level -2 °C, peak -2 °C, soak 8 s shorter: the same"),
        (run(997.8), False, "level -2.2 °C, peak -2.2 °C, soak 8.8 s shorter: not the same"),
        (run(hold_s=1260.0), True, "soak 1 min longer: the same"),
        (run(hold_s=1261.0), False, "soak 61 s longer: not the same"),
        (run(hold_s=1139.0), False, "soak 61 s shorter: not the same"),
        # A hump of 4 K is above the level for 60 s and more: more than 2 K over the other one's peak.
        (run(peak_c=4.0), False, "level +0 °C, peak +4 °C"),
        (run(peak_c=1.8), True, "level +0 °C, peak +1.8 °C"),
    ],
)
def test_level_peak_and_soak_within_two_kelvin_and_a_minute(mine: Run, same: bool, words: str) -> None:
    found = compared(mine, run())
    assert found.same is same
    assert words in str(found.says[0])


def test_in_fahrenheit_the_difference_is_one_of_fahrenheit() -> None:
    # 2.2 K are 3.96 °F, 2 K are 3.6 °F: x 1.8, never + 32
    assert "level +4 °F, peak +4 °F" in compared(run(1002.2), run()).says[0].text("F")
    assert "within 3.6 °F and 1 min" in compared(run(1002.2), run()).says[0].text("F")


def test_another_furnace_recipe_or_sensor_life_forbids_it() -> None:
    other = run()
    elsewhere = replace(other, header=replace(other.header, furnace_name="barn"))
    found = compared(run(), elsewhere)
    assert (found.same, str(found.says[0])) == (False, "Another furnace: barn.")
    found = compared(run(), run(), others=replace(TEN, name="old one"))
    assert (found.same, str(found.says[0])) == (False, "Another recipe: old one.")
    for column in (sensor(serial="K-2"), sensor(input_offset=1.5)):
        found = compared(run(), run(column=column))
        assert not found.same
        assert "Another sensor life of furnace" in str(found.says[0])
    # Of a sensor that is not the one that decides nothing is asked.
    assert compared(run(column=sensor(serial="K-1")), run(column=sensor(serial="K-1"))).same


def test_a_hold_that_one_of_them_lacks_is_not_compared() -> None:
    t_s, temp_c = drawn([(0, 20), (1200, 620), (3000, 100)])
    without = make_run(t_s, {"furnace": temp_c}, columns=[sensor()])
    for mine, other in ((run(), without), (without, run())):
        found = compared(mine, other)
        assert (found.same, str(found.says[0])) == (False, "Step 2: not in both runs.")
