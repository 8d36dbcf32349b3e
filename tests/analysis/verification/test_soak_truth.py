"""Random runs with known truth (short form of tests/campaigns/verifications.py) and laws that hold for every run."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakwitness.analysis.recipes.model import Hold, Ramp, Recipe
from soakwitness.analysis.verification.model import Bounds, HoldResult, Verification
from soakwitness.analysis.verification.verifying import verify
from tests.soak_truth import soak_tally
from tests.synthetic import Case, assignment_case, soak_case
from tests.verification_runs import run_of


@pytest.mark.parametrize("wire", [None, "2"])
def test_truth_lies_within_and_no_verdict_is_false(wire: str | None):
    tally = soak_tally(range(1000, 1030), wire=wire)
    assert tally["holds"] > 40
    wrong = {name: count for name, count in tally.items() if name not in ("holds", "not proven")}
    assert not any(wrong.values()), wrong


def bounds_in(thing: object) -> list[Bounds]:
    if isinstance(thing, Bounds):
        return [thing]
    if isinstance(thing, tuple):
        return [b for part in thing for b in bounds_in(part)]
    if is_dataclass(thing):
        return [b for f in fields(thing) for b in bounds_in(getattr(thing, f.name))]
    return []


def drawn_case(seed: int) -> Case:
    return soak_case(seed) if seed % 2 else assignment_case(seed)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 100_000))
def test_low_best_high_are_in_order_and_finite(seed: int):
    found = verify(run_of(drawn_case(seed)), drawn_case(seed).recipe)
    every = bounds_in(found.steps)
    # Three in-band times, soak and longest of each hold that was in its band.
    assert len(every) >= 5 * sum(hold.enter_s is not None for hold in found.holds)
    assert all(b.low <= b.best <= b.high and np.isfinite([b.low, b.best, b.high]).all() for b in every)


def figures(found: Verification) -> list[tuple[float, ...]]:
    told = [
        (h.enter_s or 0.0, h.leave_s or 0.0, h.soak_s.best, h.overshoot_c or 0.0)
        for h in found.holds
        if isinstance(h, HoldResult) and h.soak_s is not None
    ]
    assert told  # two empty lists would be alike
    return told


def warmer(recipe: Recipe, by_c: float) -> Recipe:
    steps = tuple(
        replace(s, to_c=s.to_c + by_c) if isinstance(s, Ramp) else replace(s, target_c=s.target_c + by_c)
        for s in recipe.steps
    )
    return replace(recipe, steps=steps)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 100_000), st.integers(1, 100_000))
def test_a_later_clock_moves_the_edges_and_nothing_else(seed: int, by_s: int):
    case = soak_case(seed)
    here = figures(verify(run_of(case), case.recipe))
    there = figures(verify(run_of(replace(case, t_s=case.t_s + by_s)), case.recipe))
    moved = [(enter + by_s, leave + by_s, soak, over) for enter, leave, soak, over in here]
    assert np.allclose(there, moved, atol=1e-3)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 100_000), st.integers(-40, 40))
def test_readings_and_recipe_shifted_alike_change_nothing(seed: int, by_c: int):
    case = soak_case(seed)
    here = figures(verify(run_of(case), case.recipe))
    there = figures(verify(run_of(replace(case, temp_c=case.temp_c + by_c)), warmer(case.recipe, by_c)))
    assert np.allclose(there, here, atol=1e-3)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 100_000), st.floats(0.7, 1.5))
def test_a_slower_clock_scales_the_soak(seed: int, factor: float):
    case = replace(soak_case(seed), period_s=0.0)
    slower = tuple(
        replace(s, required_s=s.required_s * factor, dip_s=s.dip_s * factor) if isinstance(s, Hold) else s
        for s in case.recipe.steps
    )
    here = figures(verify(run_of(case), case.recipe))
    there = figures(verify(run_of(replace(case, t_s=case.t_s * factor)), replace(case.recipe, steps=slower)))
    # Confirmations are in seconds of the clock, so an edge may be found at another crossing of the same noise.
    assert [soak for _, _, soak, _ in there] == pytest.approx(
        [soak * factor for _, _, soak, _ in here], rel=0.02, abs=30
    )
