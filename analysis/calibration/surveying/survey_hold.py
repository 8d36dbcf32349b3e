"""What became of each survey sensor in the part of the hold that the survey period leaves out."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.measured_pairs.stretches import runs_of

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SHORT_S = 120.0  # a shorter loss is no failure of the sensor
AWAY_S = 600.0  # the hold is over when the work zone is out of the band for longer: a door dip is no end


@dataclass(frozen=True)
class Strayed:
    """A sensor that failed or went its own way in the hold, outside the survey period [s], by how much at most [K]."""

    sensor: str
    what: Literal["no reading", "away from the others"]
    start_s: float
    end_s: float
    by_c: float | None = None

    @property
    def minutes(self) -> float:
        """How long [min]."""
        return (self.end_s - self.start_s) / 60.0

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return dict(vars(self))


def strayed_sensors(
    t_s: FloatArray, traces_c: Mapping[str, FloatArray], period_s: tuple[float, float], target_c: float, band_c: float
) -> tuple[Strayed, ...]:
    """Find sensors that failed, or left where they had been among the others, before or after the survey period.

    The survey period ends where a sensor fails or drifts: without this the rest of the hold would be silently left out.
    The hold is where the median of all sensors is in the band, since the last of them arrived there. A sensor is away
    where its distance from the median differs by more than the band from that in the survey period.

    ``traces_c``: corrected readings of each sensor [degC], NaN where there is none, shape (n,). ``target_c``,
    ``band_c``: middle of the band [degC] and its half-width [K]. Returns each with when and how far; shorter than two
    minutes does not count.
    """
    table = np.array(list(traces_c.values()))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # moments without any reading
        middle = np.nanmedian(table, axis=0)
    inside = (t_s >= period_s[0]) & (t_s <= period_s[1])
    hold = _hold(t_s, table, middle, inside, target_c, band_c) & ~inside
    found: list[Strayed] = []
    for name, trace in zip(traces_c, table, strict=True):
        beside = trace - middle
        moved = beside - np.nanmean(beside[inside])
        found += _stretches(t_s, name, "no reading", hold & np.isnan(trace), None)
        found += _stretches(t_s, name, "away from the others", hold & (np.abs(moved) > band_c), moved)
    return tuple(sorted(found, key=lambda one: one.start_s))


def _hold(
    t_s: FloatArray, table: FloatArray, middle: FloatArray, inside: BoolArray, target_c: float, band_c: float
) -> BoolArray:
    """Where the work zone was in the band: from the arrival of the last sensor to its last moment there."""
    settled = np.abs(middle - target_c) <= band_c
    first, last = (int(np.flatnonzero(inside)[at]) for at in (0, -1))
    arrived = [int(np.argmax(trace >= target_c - band_c)) for trace in table if (trace >= target_c - band_c).any()]
    begin = min(first, max(arrived, default=first))
    end = last
    for at in np.flatnonzero(settled[last:]) + last:
        if t_s[at] - t_s[end] > AWAY_S:
            break
        end = int(at)
    hold = settled.copy()
    hold[:begin], hold[end + 1 :] = False, False
    return hold


def _stretches(
    t_s: FloatArray,
    name: str,
    what: Literal["no reading", "away from the others"],
    flags: BoolArray,
    by_c: FloatArray | None,
) -> list[Strayed]:
    """Runs of a flag that last."""
    return [
        Strayed(
            name,
            what,
            float(t_s[a]),
            float(t_s[b]),
            None if by_c is None else float(by_c[a : b + 1][np.argmax(np.abs(by_c[a : b + 1]))]),
        )
        for a, b in runs_of(flags)
        if t_s[b] - t_s[a] >= SHORT_S
    ]
