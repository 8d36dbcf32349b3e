"""Ramps: where they begin and end, their rate, the recipe's limits."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.recipes.model import Ramp, Recipe
from soakwitness.analysis.verification.model import RampResult, Verification
from soakwitness.analysis.verification.verifying import verify
from tests.verification_runs import drawn, make_run, simple_recipe

# 5 min idle, up at 600 K/h to 600, 20 min, up at 300 K/h to 700, 20 min, cooling.
COURSE = [(0, 20), (300, 20), (3780, 600), (4980, 600), (6180, 700), (7380, 700), (10000, 100)]
RECIPE = simple_recipe((600, 15, 5), (700, 15, 5))


def with_ramp(number: int, **facts: object) -> Recipe:
    steps = tuple(
        replace(s, **facts) if isinstance(s, Ramp) and s.number == number else s  # type: ignore[arg-type]
        for s in RECIPE.steps
    )
    return replace(RECIPE, steps=steps)


def ran(recipe: Recipe = RECIPE, noise_c: float = 0.0) -> Verification:
    t_s, temp_c = drawn(COURSE, noise_c=noise_c)
    return verify(make_run(t_s, {"furnace": temp_c}), recipe)


def ramp(found: Verification, number: int) -> RampResult:
    step = found.step(number)
    assert isinstance(step, RampResult)
    return step


@pytest.mark.parametrize("noise_c", [0.0, 0.4])
def test_drawn_ramps_give_their_rates_back(noise_c: float):
    found = ran(noise_c=noise_c)
    assert ramp(found, 1).rate_c_per_h == pytest.approx(600, rel=0.01)
    assert ramp(found, 3).rate_c_per_h == pytest.approx(300, rel=0.02)
    assert ramp(found, 1).end_to_end_rate_c_per_h == pytest.approx(600, rel=0.02)
    assert not ramp(found, 1).curved


def test_begin_and_end():
    first, second = ramp(ran(), 1), ramp(ran(), 3)
    # The begin is known to 2 % of the span: 11.6 K, 70 s; the second begins where the level part ended.
    assert first.start_s == pytest.approx(300 + 70, abs=5)
    assert first.end_s == pytest.approx(3780, abs=5)
    assert second.start_s == pytest.approx(4980, abs=40)
    assert second.end_s == pytest.approx(6180, abs=5)


def test_a_stretched_ramp_is_an_observation():
    found = ran(with_ramp(3, rate_c_per_h=500.0))
    slow = next(f for f in found.findings if f.code == "slow ramp")
    assert (slow.severity, slow.step) == ("note", 3)
    assert found.verdict == "pass"
    assert ramp(found, 3).verdict is None


@pytest.mark.parametrize(
    ("facts", "verdict", "code"),
    [
        ({"min_rate_c_per_h": 250.0}, "pass", None),
        ({"min_rate_c_per_h": 400.0}, "fail", "slow ramp"),
        ({"max_rate_c_per_h": 400.0}, "pass", None),
        ({"max_rate_c_per_h": 250.0}, "fail", "fast ramp"),
    ],
)
def test_limits_of_rate(facts: dict[str, float], verdict: str, code: str | None):
    found = ran(with_ramp(3, **facts))
    assert ramp(found, 3).verdict == verdict
    assert found.verdict == verdict
    assert {f.code for f in found.findings if f.severity == "fail"} == ({code} if code else set())


def test_two_ramps_in_a_row_and_a_last_ramp_down():
    steps = (Ramp(1, 300.0, 600.0), *(replace(s, number=s.number + 1) for s in RECIPE.steps[:2]), Ramp(4, 200.0, 500.0))
    t_s, temp_c = drawn([(0, 20), (300, 20), (3780, 600), (4980, 600), (7860, 200), (9000, 150)])
    found = verify(make_run(t_s, {"furnace": temp_c}), replace(RECIPE, steps=steps))
    assert ramp(found, 1).end_s == pytest.approx(300 + 280 * 6, abs=5)
    assert ramp(found, 2).rate_c_per_h == pytest.approx(600, rel=0.01)
    assert ramp(found, 4).rate_c_per_h == pytest.approx(-500, rel=0.01)


def test_a_curved_ramp_says_so():
    t_s, temp_c = drawn([(0, 20), (600, 500), (3000, 600), (4500, 600), (6000, 100)])
    found = verify(make_run(t_s, {"furnace": temp_c}), simple_recipe((600, 15, 5)))
    assert ramp(found, 1).curved


def test_ramps_to_and_from_a_hold_that_stood_beside_its_band_are_found():
    # 20 min at 590 of 600 +-5, then on at 300 K/h to 700.
    t_s, temp_c = drawn([(0, 20), (300, 20), (3720, 590), (4920, 590), (6240, 700), (7440, 700), (10000, 100)])
    found = verify(make_run(t_s, {"furnace": temp_c}), RECIPE)
    assert ramp(found, 1).rate_c_per_h == pytest.approx(600, rel=0.02)
    assert ramp(found, 3).rate_c_per_h == pytest.approx(300, rel=0.03)
    assert ramp(found, 3).start_s == pytest.approx(4920, abs=60)
