"""Level parts between holds: a climb is none, however its noise looks."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.verification.holds.assignment import block_medians
from soakwitness.analysis.verification.holds.placing import level_parts


def parts(slow_c_per_h: float, stand_s: float, *, every_s: float, noise_c: float = 0.0) -> list[tuple[float, float]]:
    """A climb of an hour, a stand, and a climb of another hour; what still is level is 25 K/h."""
    corners = [0.0, 3600.0, 3600.0 + stand_s, 7200.0 + stand_s]
    t_s = np.arange(0.0, corners[-1], every_s)
    temp_c = np.interp(t_s, corners, [500.0, *(2 * [500.0 + slow_c_per_h]), 500.0 + 2 * slow_c_per_h])
    temp_c = np.round(temp_c + np.random.default_rng(3).normal(0, noise_c, t_s.size))
    return level_parts(block_medians(t_s, temp_c, every_s), 25.0, (0.0, 2000.0), (0.0, corners[-1]))


def test_a_slow_climb_in_steps_of_a_degree_has_no_level_part():
    assert parts(100.0, 0.0, every_s=60.0) == []
    assert parts(100.0, 0.0, every_s=60.0, noise_c=1.0) == []


def test_a_stand_of_ten_minutes_between_two_climbs_is_one():
    ((begin, end),) = parts(300.0, 600.0, every_s=10.0)
    assert abs(begin - 3600.0) < 60.0
    assert abs(end - 4200.0) < 60.0
