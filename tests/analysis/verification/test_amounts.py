"""Comparison figures of whole runs: published values where the hold is one temperature for a known time."""

from __future__ import annotations

import pytest

from soakwitness.analysis.verification.results.hold_equivalents import Amount, equivalents_of_holds
from soakwitness.analysis.verification.verifying import verify
from tests.verification_runs import drawn, make_run, simple_recipe


def amounts(target_c: float, hold_s: float) -> tuple[Amount, ...]:
    # up and down at 5 K/s: what the ramps inside the band add is a few seconds
    up_s = (target_c - 20.0) / 5.0
    corners = [(0, 20), (up_s, target_c), (up_s + hold_s, target_c), (2 * up_s + hold_s, 20)]
    t_s, temp_c = drawn(corners)
    run = make_run(t_s, {"furnace": temp_c})
    return equivalents_of_holds(run, verify(run, simple_recipe((target_c, hold_s / 60, 5.0))))


def test_a_temper_is_compared_by_its_hollomon_jaffe_parameter() -> None:
    # EN 13445-4:2021 (11.1-1): 600 degC for 2 h is 17.7258 (CHECKS.md section 5, C)
    (temper,) = amounts(600.0, 7200.0)
    assert temper.as_dict()["temper"]["hollomon_jaffe"] == pytest.approx(17.7258, abs=0.011)
    assert temper.as_dict()["temper"]["equal_h"] == pytest.approx(2.0, abs=0.01)
    assert temper.as_dict()["equivalent_soak"] == []
    assert temper.says().startswith("Step 2, sensor furnace. Hollomon-Jaffe parameter 17.7")
    assert "for comparison only" in temper.says()


def test_a_hotter_hold_is_compared_by_equivalent_minutes() -> None:
    # at one temperature the weight is 1 whatever the activation energy: 25 min are as 25 min
    (hold,) = amounts(1040.0, 1500.0)
    assert hold.as_dict()["temper"] is None
    soaks = {s["activation_j_per_mol"]: s["time_s"] for s in hold.as_dict()["equivalent_soak"]}
    assert soaks == {energy: pytest.approx(1500.0, abs=12.0) for energy in (2e5, 2.5e5, 3e5)}
    assert "for comparison only" in hold.says()
