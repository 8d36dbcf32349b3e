"""The highest figure held for a while: against its definition, worked out reading by reading."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.verification.held import FINE_C, highest_held

tenths = st.integers(-40, 40)
even = st.lists(st.tuples(st.just(2.0), tenths), max_size=120)
uneven = st.lists(st.tuples(st.sampled_from([1.0, 1.0, 1.0, 1.0, 5.0, 40.0]), tenths), max_size=120)


def mended(value_c: list[float], back_c: float) -> list[float]:
    """Single readings that are back by at most ``back_c``, raised as far as their neighbours."""
    inner = [
        max(here, min(left, right, here + back_c))
        for left, here, right in zip(value_c, value_c[1:], value_c[2:], strict=False)
    ]
    return [*value_c[:1], *inner, *value_c[-1:]] if len(value_c) > 2 and back_c > 0.0 else value_c


def first_row(t_s: list[float], value_c: list[float], level_c: float, least_s: float) -> float | None:
    """When the first three readings or more stood at or above a level for long enough, chords counted [s]."""
    at = 0
    while at < len(value_c):
        if value_c[at] < level_c:
            at += 1
            continue
        first = last = at
        while last + 1 < len(value_c) and value_c[last + 1] >= level_c:
            last += 1
        came, went = t_s[first], t_s[last]
        if first > 0:
            share = (value_c[first] - level_c) / (value_c[first] - value_c[first - 1])
            came -= share * (t_s[first] - t_s[first - 1])
        if last + 1 < len(value_c):
            share = (value_c[last] - level_c) / (value_c[last] - value_c[last + 1])
            went += share * (t_s[last + 1] - t_s[last])
        if last - first >= 2 and went - came >= least_s - 1e-6:
            return came
        at = last + 1
    return None


def highest(t_s: list[float], value_c: list[float], least_s: float) -> float | None:
    """The highest level with such a row, to a thousandth: the higher the level, the shorter its rows."""
    low, high = min(value_c, default=0.0), max(value_c, default=0.0)
    if len(value_c) < 3 or first_row(t_s, value_c, low, least_s) is None:
        return None
    while high - low > 1e-3:
        middle = (low + high) / 2.0
        low, high = (middle, high) if first_row(t_s, value_c, middle, least_s) is not None else (low, middle)
    return low


@given(even, st.sampled_from([1.0, 5.0, 30.0, 120.0]), st.sampled_from([0.0, 0.5, 2.0]))
def test_it_is_the_highest_level_with_a_row_that_is_long_enough(
    rows: list[tuple[float, int]], least_s: float, back_c: float
) -> None:
    t_s = np.cumsum([apart for apart, _ in rows], dtype=float)
    value_c = np.array([reading / 10.0 for _, reading in rows])
    held = highest_held(t_s, value_c, least_s, back_c)
    readings = mended(value_c.tolist(), back_c)
    expected = highest(t_s.tolist(), readings, least_s)
    assert (held is None) == (expected is None)
    if held is not None and expected is not None:
        assert expected - FINE_C - 2e-3 <= held.value_c <= expected + 2e-3
        assert held.at_s == pytest.approx(first_row(t_s.tolist(), readings, held.value_c, least_s))


@given(uneven, st.sampled_from([1.0, 5.0, 30.0, 120.0]))
def test_with_gaps_what_is_told_was_held(rows: list[tuple[float, int]], least_s: float) -> None:
    """A row across a gap may stand a little higher; what a gap can hide is asked for apart."""
    t_s = np.cumsum([apart for apart, _ in rows], dtype=float)
    value_c = np.array([reading / 10.0 for _, reading in rows])
    held = highest_held(t_s, value_c, least_s)
    assert (held is None) == (highest(t_s.tolist(), value_c.tolist(), least_s) is None)
    if held is not None:
        assert held.at_s == pytest.approx(first_row(t_s.tolist(), value_c.tolist(), held.value_c, least_s))


def test_a_plateau_in_a_long_noisy_record() -> None:
    """Half a million readings about 0 with 0.3 of noise, 60 of them at 5.0: held for 6 s, no more."""
    value_c = np.round(np.random.default_rng(1).normal(0.0, 0.3, 500_000), 1)
    value_c[123_400:123_460] = 5.0
    t_s = np.arange(value_c.size) / 10.0
    held = highest_held(t_s, value_c, 5.0)
    assert held is not None
    assert held.value_c == 5.0
    assert held.at_s == pytest.approx(12_340.0)
    longer = highest_held(t_s, value_c, 30.0)
    assert longer is not None
    assert longer.value_c < 0.0
