"""How far above its target a hold was held."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.measuring.held import highest_held
from soakwitness.analysis.verification.measuring.intervals import Allowed, inside, within
from soakwitness.analysis.verification.rules.level_parts import LevelPart, level_part
from soakwitness.analysis.verification.rules.limits import HELD_S

__all__ = ["HELD_S", "LevelPart", "Overshoot", "hidden_by_gaps", "level_part", "overshoot"]

LEAST_HIDDEN_C = 1.0


@dataclass(frozen=True)
class Overshoot:
    """Highest reading held above the target [K] and when [s]; ``most_c`` what a gap may hide; time above the band."""

    overshoot_c: float
    at_s: float
    most_c: float
    is_at_least: bool
    above_band_s: float


def overshoot(
    readings: Readings,
    hold: Hold,
    level: LevelPart,
    allowed: Allowed,
    between_s: tuple[float, float] = (-np.inf, np.inf),
) -> Overshoot | None:
    """Measure the overshoot from enter to the end of the level part, while a charge is inside (``between_s`` [s]).

    It is the highest temperature held for 30 s or three readings, whichever is longer, minus the target; None without
    three readings there.
    """
    start_s, end_s = max(level.start_s, between_s[0]), min(level.end_s, between_s[1])
    low, high = readings.between(start_s, end_s)
    held = highest_held(readings.t_s[low:high], readings.temp_c[low:high], HELD_S)
    if held is None:
        part = readings.temp_c[low:high]
        if not part.size:
            return None
        peak, at_s = float(part.min()), float(readings.t_s[low])
    else:
        peak, at_s = held.value_c, held.at_s
    hidden = hidden_by_gaps(readings, low, high, allowed, HELD_S)
    most = max(peak, hidden) if level.sure else max(peak, hidden, hold.upper_c)
    top = low + int(readings.temp_c[low:high].argmax())
    coarse = readings.period_s > HELD_S and _hidden_by_sampling(readings, top) > max(
        2.0 * allowed.noise_c, LEAST_HIDDEN_C
    )
    above = inside(readings, hold.upper_c, np.inf, start_s=start_s, end_s=end_s, mode="best", allowed=allowed).total_s
    return Overshoot(
        peak - hold.target_c,
        at_s,
        most - hold.target_c,
        bool(hidden > peak + allowed.noise_c or coarse or (not level.sure and hold.upper_c > peak)),
        above,
    )


def hidden_by_gaps(readings: Readings, low: int, high: int, allowed: Allowed, held_s: float) -> float:
    """Highest temperature [degC] that the furnace's own rates allow to be held for ``held_s`` within a gap.

    Without bound in a gap that was longer than it is on record.
    """
    first = max(low - 1, 0)
    longer = [gap for gap in allowed.uncertain if gap.longer]
    if longer and within(readings.t_s[first : high + 1], longer).any():
        return np.inf
    wide = first + readings.gaps_in(first, high + 1)
    if not wide.size:
        return -np.inf
    t, y = readings.t_s, readings.temp_c
    long = t[wide + 1] - t[wide] - held_s
    wide, long = wide[long > 0.0], long[long > 0.0]
    if not wide.size:
        return -np.inf
    up, down = allowed.heating_c_per_s, allowed.cooling_c_per_s
    # Up from the left end at the heating rate, a while level, down to the right end at the cooling rate.
    apex = (up * down * long + down * y[wide] + up * y[wide + 1]) / (up + down)
    lowest = np.minimum(y[wide], y[wide + 1])
    return float(np.max(np.maximum(apex, lowest)))


def _hidden_by_sampling(readings: Readings, top: int) -> float:
    """How far the true peak may stand above the highest reading [K], from the bend of the three readings there."""
    if not 0 < top < readings.t_s.size - 1:
        return 0.0
    left, here, right = readings.temp_c[top - 1 : top + 2]
    return float(2.0 * here - left - right) / 4.0
