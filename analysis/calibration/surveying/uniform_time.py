"""How long a work zone takes to become even: from the first sensor in the band until all are there and stay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

STAY_S = 60.0  # a sensor is there when it stays in the band for so long


@dataclass(frozen=True)
class UniformTime:
    """When the first and the last sensor came into the band [s], and which was the last."""

    first: str
    first_s: float
    last: str
    last_s: float

    @property
    def took_s(self) -> float:
        """What a soak that is counted from the first sensor would be too short by at the last one [s]."""
        return self.last_s - self.first_s

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {**vars(self), "took_s": self.took_s}


def time_to_uniform(
    t_s: FloatArray, traces_c: Mapping[str, FloatArray], target_c: float, band_c: float, until_s: float
) -> UniformTime | None:
    """When each sensor came into the band to stay, before a moment [s].

    Returns None where a sensor was there when recording began, or never came: then the record does not show it.
    """
    there: dict[str, float] = {}
    for name, trace in traces_c.items():
        known = np.isfinite(trace) & (t_s <= until_s)
        inside = np.abs(trace[known] - target_c) <= band_c
        came_s = _came(t_s[known], inside)
        if came_s is None:
            return None
        there[name] = came_s
    first, last = min(there, key=lambda n: there[n]), max(there, key=lambda n: there[n])
    return UniformTime(first, there[first], last, there[last])


def _came(t_s: FloatArray, inside: npt.NDArray[np.bool_]) -> float | None:
    if not inside.size or inside[0] or not inside.any():
        return None
    for at in np.flatnonzero(inside[1:] & ~inside[:-1]) + 1:
        minute = (t_s >= t_s[at]) & (t_s <= t_s[at] + STAY_S)
        if inside[minute].all():
            return float(t_s[at])
    return None
