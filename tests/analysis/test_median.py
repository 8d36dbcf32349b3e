"""The median of many numbers: the same as numpy's, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.median import MANY, median

KINDS = ("noise", "coarse", "one number", "a ramp", "in order of the sample", "two levels")


def numbers(kind: str, count: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    noise = 1040.0 + rng.normal(0.0, 0.3, count)
    if kind == "coarse":
        return np.round(noise)
    if kind == "one number":
        return np.full(count, 780.1)
    if kind == "a ramp":
        return np.linspace(20.0, 1040.0, count)
    if kind == "in order of the sample":  # what the sample sees says nothing of the rest
        noise[:: count // 2000] = 20.0
    if kind == "two levels":
        noise[: count // 2] = 780.0
    return noise


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("count", [MANY - 1, MANY, MANY + 1, 3 * MANY + 7])
def test_many_numbers(kind: str, count: int) -> None:
    values = numbers(kind, count, count)
    before = values.copy()
    assert median(values) == np.median(values)
    assert np.array_equal(values, before)


@given(st.integers(0, 10_000), st.integers(0, 50), st.sampled_from([0.0, 1e-3, 0.3, 100.0]))
def test_any_noise(seed: int, more: int, deviation: float) -> None:
    values = np.round(np.random.default_rng(seed).normal(500.0, deviation, MANY + more), 1)
    assert median(values) == np.median(values)


def test_few_numbers() -> None:
    assert median(np.array([3.0])) == 3.0
    assert median(np.array([3.0, 4.0])) == 3.5
