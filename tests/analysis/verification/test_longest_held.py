"""The highest figure held for a while, by hand and against every level tried one after the other."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.runs import FloatArray
from soakwitness.analysis.verification.held import highest_held


def course(*corners: tuple[float, float], every_s: float = 1.0) -> tuple[FloatArray, FloatArray]:
    at, value = np.transpose(np.asarray(corners, dtype=float))
    t_s = np.arange(at[0], at[-1] + every_s / 2, every_s)
    return t_s, np.interp(t_s, at, value)


@pytest.mark.parametrize(
    ("flat_s", "held", "began_s"),
    # Up and down at 1 K/s, flat at 5 for so long: at a level L it is above for flat + 2 (5 - L) seconds, so for 30 at
    # L = 5 - (30 - flat)/2, begun as much before the flat part as L is below it.
    [(40.0, 5.0, 100.0), (30.0, 5.0, 100.0), (24.0, 2.0, 97.0), (20.0, 0.0, 95.0)],
)
def test_a_flat_hump(flat_s: float, held: float, began_s: float) -> None:
    found = highest_held(*course((0, -50), (45, -50), (100, 5), (100 + flat_s, 5), (155 + flat_s, -50)), 30.0)
    assert found is not None
    assert found.value_c == pytest.approx(held, abs=0.02)
    assert found.value_c <= held + 1e-9
    assert found.at_s == pytest.approx(began_s, abs=0.05)


def test_of_two_humps_the_higher_and_of_two_alike_the_first() -> None:
    higher = highest_held(*course((0, 0), (50, 0), (55, 5), (95, 5), (100, 0), (150, 0), (157, 7), (200, 7)), 30.0)
    assert higher is not None
    assert (round(higher.value_c, 1), round(higher.at_s)) == (7.0, 157)
    alike = highest_held(*course((0, 0), (50, 0), (55, 5), (95, 5), (100, 0), (150, 0), (155, 5), (200, 5)), 30.0)
    assert alike is not None
    assert round(alike.at_s) == 55


def test_three_readings_at_least_whatever_the_time() -> None:
    # A reading a minute: 10 stands alone between 4 and 4, which are over 30 s apart, so three readings are at 4.
    found = highest_held(*course((0, 0), (60, 4), (120, 10), (180, 4), (240, 0), (300, 0), every_s=60.0), 30.0)
    assert found is not None
    assert found.value_c == pytest.approx(4.0, abs=0.02)
    assert found.at_s == pytest.approx(60.0, abs=0.5)
    assert highest_held(np.array([0.0, 60.0]), np.array([4.0, 4.0]), 30.0) is None


def test_a_stretch_shorter_than_what_counts_holds_nothing() -> None:
    assert highest_held(*course((0, 5), (29, 5)), 30.0) is None
    whole = highest_held(*course((0, 5), (15, 3), (30, 5)), 30.0)
    assert whole is not None
    assert (whole.value_c, whole.at_s) == (pytest.approx(3.0, abs=0.02), 0.0)


@pytest.mark.parametrize(("back_c", "held"), [(0.0, 4.6), (0.3, 4.9), (0.5, 5.0)])
def test_a_single_reading_back_within_the_noise_breaks_no_row(back_c: float, held: float) -> None:
    # 40 s at 5, the reading in the middle 0.4 below: 20 s on either side alone are too short.
    t_s, value = course((0, -500), (1, 5), (41, 5), (42, -500))
    value[21] = 4.6
    found = highest_held(t_s, value, 30.0, back_c)
    assert found is not None
    assert found.value_c == pytest.approx(held, abs=0.02)
    # Two in a row are no single one.
    value[22] = 4.6
    twice = highest_held(t_s, value, 30.0, back_c)
    assert twice is not None
    assert twice.value_c == pytest.approx(4.6, abs=0.02)


def tried(t_s: FloatArray, value: FloatArray, least_s: float) -> float:
    """The highest of many levels at or above which the trace stood for so long, three readings at least."""
    for level in np.arange(value.max(), value.min() - 0.01, -0.01):
        over = np.flatnonzero(value >= level)
        for row in np.split(over, np.flatnonzero(np.diff(over) > 1) + 1):
            a, b = int(row[0]), int(row[-1])
            came = t_s[a] if a == 0 else np.interp(level, value[a - 1 : a + 1], t_s[a - 1 : a + 1])
            went = t_s[b] if b == t_s.size - 1 else np.interp(-level, -value[b : b + 2], t_s[b : b + 2])
            if row.size >= 3 and went - came >= least_s:
                return float(level)
    return float(value.min())


@pytest.mark.parametrize("seed", range(12))
def test_any_trace_against_every_level_tried(seed: int) -> None:
    rng = np.random.default_rng(seed)
    t_s = np.cumsum(rng.choice([1.0, 2.0, 5.0, 20.0], 120))
    value = 6 * np.sin(t_s / 90) + 3 * np.sin(t_s / 17) + rng.normal(0, 0.3, t_s.size)
    for least_s in (10.0, 30.0, 100.0):
        found = highest_held(t_s, value, least_s)
        assert found is not None
        assert found.value_c == pytest.approx(tried(t_s, value, least_s), abs=0.04)
