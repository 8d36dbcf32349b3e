"""Readings as the recording process keeps them answer what arrays of the same readings answer."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.live.kept_readings import KEEP_MOST, LATELY, KeptReadings
from soakwitness.analysis.verification.inputs.readings import Readings


def both(count: int, seed: int) -> tuple[KeptReadings, Readings]:
    rng = np.random.default_rng(seed)
    t, y = np.cumsum(rng.uniform(5.0, 6.0, count)), 1000.0 + np.cumsum(rng.normal(0.0, 0.3, count))
    kept = KeptReadings(every_s=5.5, resolution_c=0.1)
    for t_s, temp_c in zip(t.tolist(), y.tolist(), strict=True):
        kept.add(t_s, temp_c)
    return kept, Readings(t, y, 0.1, 5.5)


@pytest.mark.parametrize(("count", "seed"), [(3, 1), (40, 2), (700, 3)])
def test_lists_answer_as_arrays_do(count: int, seed: int) -> None:
    kept, array = both(count, seed)
    low, high, middle = count // 5, count, float(np.median(array.temp_c))
    for slope in (30.0, 100.0, 400.0):
        assert kept.flat(low, high, slope) == pytest.approx(array.flat(low, high, slope))
    assert kept.runs(low, high, middle) == array.runs(low, high, middle)
    assert kept.first_in(low, high, middle) == array.first_in(low, high, middle)
    assert kept.last_in(low, high, middle) == array.last_in(low, high, middle)
    assert kept.stretches(low, high, middle, middle + 1.0, apart_s=30.0) == array.stretches(
        low, high, middle, middle + 1.0, apart_s=30.0
    )
    assert kept.settled_c(low, high) == pytest.approx(array.settled_c(low, high))
    assert kept.time_mean_c(low, high) == pytest.approx(array.time_mean_c(low, high))
    assert kept.at(float(array.t_s[0]) + 7.0) == pytest.approx(array.at(float(array.t_s[0]) + 7.0))


def test_readings_that_turn_out_to_be_none_leave_a_course_to_go_on_with() -> None:
    """All but none of the newest are taken out just before the distance of readings is looked at."""
    kept = KeptReadings(every_s=1.0, resolution_c=0.1)
    for t_s in range(LATELY - 1):
        kept.add(float(t_s), 20.0)
    kept.drop(0.0, float(LATELY))
    kept.add(float(LATELY), 21.0)
    assert len(kept) == 1
    assert kept.gap_s == 3.0


def test_memory_stays_bounded() -> None:
    kept = KeptReadings(every_s=5.0, resolution_c=0.1)
    for k in range(2 * KEEP_MOST):
        kept.add(5.0 * k, 20.0)
    assert len(kept) <= KEEP_MOST
    assert kept.t_s[-1] == 5.0 * (2 * KEEP_MOST - 1)
