"""Comparison figures of whole runs: published values where the hold is one temperature for a known time."""

from __future__ import annotations

import re

from soakwitness.analysis.verification.amounts import what_holds_amount_to
from soakwitness.analysis.verification.verifying import verify
from tests.verification_runs import drawn, make_run, simple_recipe


def sentences(target_c: float, hold_s: float) -> list[tuple[int, str]]:
    # up and down at 5 K/s: what the ramps inside the band add is a few seconds
    up_s = (target_c - 20.0) / 5.0
    corners = [(0, 20), (up_s, target_c), (up_s + hold_s, target_c), (2 * up_s + hold_s, 20)]
    t_s, temp_c = drawn(corners)
    run = make_run(t_s, {"furnace": temp_c})
    return list(what_holds_amount_to(run, verify(run, simple_recipe((target_c, hold_s / 60, 5.0)))))


def test_a_temper_is_compared_by_its_hollomon_jaffe_parameter() -> None:
    # EN 13445-4:2021 (11.1-1): 600 degC for 2 h is 17.7258 (CHECKS.md section 5, C)
    ((step, says),) = sentences(600.0, 7200.0)
    assert step == 2
    assert abs(float(re.search(r"parameter ([\d.]+)", says)[1]) - 17.7258) < 0.011  # type: ignore[index]
    assert "for comparison only" in says


def test_a_hotter_hold_is_compared_by_equivalent_minutes() -> None:
    # at one temperature the weight is 1 whatever the activation energy: 25 min are as 25 min
    ((_, says),) = sentences(1040.0, 1500.0)
    low, high = map(float, re.search(r"As ([\d.]+) to ([\d.]+) min", says).groups())  # type: ignore[union-attr]
    assert abs(low - 25.0) < 0.2
    assert abs(high - 25.0) < 0.2
    assert "for comparison only" in says
