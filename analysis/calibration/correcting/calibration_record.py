"""The record of a calibration: everything needed to show it, to doubt it, and to compute it again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from soakwitness.analysis.calibration.correcting.calibrating import Calibration, calibrate_levels
from soakwitness.analysis.calibration.correcting.reference_differences import Comparing
from soakwitness.analysis.calibration.measured_pairs.measured_levels import Level
from soakwitness.analysis.calibration.measured_pairs.reference import reference_from_dict, reference_to_dict
from soakwitness.analysis.calibration.measured_pairs.stretches import Stretch, StretchLimits
from soakwitness.analysis.errors import AnalysisError

FORMAT = 1
Reading = tuple[float, float, float]


def calibration_record(found: Calibration, about: Mapping[str, Any]) -> dict[str, Any]:
    """A calibration as plain data in degC, K and s; ``about`` says who, when, where and with what.

    The readings themselves are kept beside it, see ``readings_used``.
    """
    return {
        "format": FORMAT,
        **about,
        "reference": {"says": str(found.reference.says), **reference_to_dict(found.reference)},
        "comparing": {f.name: getattr(found.comparing, f.name) for f in fields(Comparing)},
        "limits": None if found.limits is None else dict(vars(found.limits)),
        "levels": [None if level.stretch is None else dict(vars(level.stretch)) for level in _in_order(found)],
        "points": [point.as_dict() for point in found.points],
        "left_out": [str(words) for words in found.left_out],
        "measured_twice": {"apart_c": found.repeats.apart_c, "closed": found.repeats.closed},
    }


def readings_used(found: Calibration) -> list[list[Reading]]:
    """Every reading used, level by level in the order of time: since the start [s], reference and sensor [degC]."""
    return [
        list(zip(level.t_s.tolist(), level.reference_c.tolist(), level.sensor_c.tolist(), strict=True))
        for level in _in_order(found)
    ]


def calibration_again(record: Mapping[str, Any], readings: Sequence[Sequence[Reading]]) -> Calibration:
    """Compute a calibration again from what was kept of it.

    Raises AnalysisError if it was kept by a newer version, or readings and record do not belong together.
    """
    if record["format"] > FORMAT:
        raise AnalysisError(f"a record of format {record['format']} needs a newer version of this program.")
    if len(record["levels"]) != len(readings):
        raise AnalysisError(
            f"the record has {len(record['levels'])} levels, its readings {len(readings)}: one of the two is not whole."
        )
    levels = [_level(each, stretch) for each, stretch in zip(readings, record["levels"], strict=True)]
    limits = None if record["limits"] is None else StretchLimits(**record["limits"])
    reference = reference_from_dict(record["reference"])
    return calibrate_levels(levels, reference, Comparing(**record["comparing"]), limits=limits)


def _in_order(found: Calibration) -> list[Level]:
    """Levels in the order of time, whatever the order of the points."""
    return sorted(found.levels, key=lambda level: float(level.t_s[0]))


def _level(readings: Sequence[Reading], stretch: Mapping[str, Any] | None) -> Level:
    t_s, reference_c, sensor_c = np.array(readings, dtype=np.float64).T
    return Level(t_s, reference_c, sensor_c, None if stretch is None else Stretch(**stretch))
