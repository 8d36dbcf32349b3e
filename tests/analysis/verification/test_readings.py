"""Readings without holes: their gaps, wherever one looks, and what lies between two of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.runs import Trace
from soakwitness.analysis.verification import readings as room
from soakwitness.analysis.verification.readings import Readings, gaps, last_read


@given(st.lists(st.sampled_from([1.0, 2.0, 3.0, 3.5, 60.0]), max_size=40), st.integers(0, 45), st.integers(0, 45))
def test_gaps_of_a_part_are_the_gaps_of_all(apart_s: list[float], first: int, stop: int) -> None:
    t_s = np.concatenate(([0.0], np.cumsum(apart_s)))
    expected = [k for k in range(first, min(stop, t_s.size) - 1) if t_s[k + 1] - t_s[k] > 3.0]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(room, "BLOCK", 7)
        found = Readings(t_s, np.zeros(t_s.size), 0.1, 1.0).gaps_in(first, stop)
    assert (found + first).tolist() == expected


def test_gaps_as_times() -> None:
    trace = Readings(np.array([0.0, 1.0, 2.0, 10.0, 11.0, 30.0]), np.zeros(6), 0.1, 1.0)
    assert gaps(trace, 0.0, 30.0) == ((2.0, 10.0), (11.0, 30.0))
    assert gaps(trace, 5.0, 10.5) == ((2.0, 10.0),)


@given(st.floats(-5.0, 25.0))
def test_a_temperature_between_two_readings(at_s: float) -> None:
    t_s, temp_c = np.array([0.0, 1.0, 2.5, 20.0]), np.array([20.0, 30.0, 15.0, 85.0])
    assert Readings(t_s, temp_c, 0.1, 1.0).at(at_s) == np.interp(at_s, t_s, temp_c)


def test_the_last_reading_that_was_had() -> None:
    def last(*temp_c: float) -> int | None:
        return last_read(Trace("a", "control", np.arange(float(len(temp_c))), np.array(temp_c), 0.1, 1.0))

    assert last(20.0, np.nan, 21.0, np.nan, np.nan) == 2
    assert last(20.0, 21.0) == 1
    assert last(np.nan) is None
