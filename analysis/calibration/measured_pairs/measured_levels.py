"""Levels: what was read at one temperature, from a stable stretch of a run or from readings typed in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.calibration.measured_pairs.stretches import Stretch, StretchLimits, stable_stretches

FloatArray = npt.NDArray[np.float64]

GROUP_C = 10.0  # typed readings in a row nearer than this belong to one level
SAME_PLACE_C = 15.0  # levels nearer than this are one place: what they say of it must agree


@dataclass(frozen=True, eq=False)
class Level:
    """Every reading used at one temperature, in the order of time: readings [degC], shape (n,).

    ``t_s`` counts from the run's start [s]; typed readings are numbered. ``stretch`` None: typed readings.
    """

    t_s: FloatArray
    reference_c: FloatArray
    sensor_c: FloatArray
    stretch: Stretch | None = None

    @property
    def mean_c(self) -> float:
        """Mean reading of the reference [degC]."""
        return float(self.reference_c.mean())


def levels_of_run(
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    limits: StretchLimits,
    *,
    resolutions_c: tuple[float, float] = (0.0, 0.0),
) -> tuple[Level, ...]:
    """Readings of both sensors in each stable stretch of a run, in the order of time."""
    found = stable_stretches(t_s, reference_c, sensor_c, limits, resolutions_c=resolutions_c)
    return tuple(_inside(stretch, t_s, reference_c, sensor_c) for stretch in found)


def levels_of_readings(readings: Sequence[PairReading]) -> tuple[Level, ...]:
    """Typed readings in the order they were written; those in a row within 10 K of the first are one level."""
    groups: list[list[tuple[int, PairReading]]] = []
    for number, pair in enumerate(readings):
        if groups and abs(pair.reference_c - groups[-1][0][1].reference_c) < GROUP_C:
            groups[-1].append((number, pair))
        else:
            groups.append([(number, pair)])
    return tuple(
        Level(
            np.array([float(number) for number, _ in group]),
            np.array([pair.reference_c for _, pair in group]),
            np.array([pair.sensor_c for _, pair in group]),
        )
        for group in groups
    )


def _inside(stretch: Stretch, t_s: FloatArray, reference_c: FloatArray, sensor_c: FloatArray) -> Level:
    inside = (t_s >= stretch.start_s) & (t_s <= stretch.end_s) & np.isfinite(reference_c) & np.isfinite(sensor_c)
    return Level(t_s[inside], reference_c[inside], sensor_c[inside], stretch)
