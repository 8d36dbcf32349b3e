"""Calibration of one sensor against a reference: the error at each stable stretch with its budget, and a correction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.correcting.correction import Correction, CorrectionPoint
from soakwitness.analysis.calibration.correcting.correction_models import FittedModel, Point, fit_correction
from soakwitness.analysis.calibration.correcting.reference_differences import Comparing, budget_rows
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.calibration.measured_pairs.reference import Reference
from soakwitness.analysis.calibration.measured_pairs.stretches import Stretch, StretchLimits, stable_stretches
from soakwitness.analysis.calibration.uncertainty.budget import Budget, BudgetRow, rectangular
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.firmware_bridge.common.wording import Diff, Rate, Says, Temp, duration, joined

FloatArray = npt.NDArray[np.float64]

BLOCK_S = 60.0
GROUP_C = 10.0  # typed readings nearer than this belong to one point
LONE_READING_C = 0.5  # half-width for the repeatability of a single typed reading; no source


@dataclass(frozen=True)
class CalibratedPoint:
    """Error at one temperature: readings [degC], error = reading - truth [K], and the budget of it."""

    reference_reading_c: float
    reference_c: float
    reading_c: float
    budget: Budget
    stretch: Stretch | None = None
    readings: int = 0

    @property
    def error_c(self) -> float:
        """Reading minus true temperature [K]."""
        return self.reading_c - self.reference_c

    @property
    def correction_c(self) -> float:
        """What to add to the reading [K]."""
        return self.reference_c - self.reading_c

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        where = self.stretch
        return {
            "start_s": where.start_s if where else None,
            "end_s": where.end_s if where else None,
            "drift_c_per_h": where.drift_c_per_h if where else None,
            "spread_c": where.spread_c if where else None,
            "readings": self.readings,
            "reference_reading_c": self.reference_reading_c,
            "reference_c": self.reference_c,
            "reading_c": self.reading_c,
            "error_c": self.error_c,
            "correction_c": self.correction_c,
            "expanded_c": self.budget.expanded_c,
            "budget": self.budget.as_dict(),
        }


@dataclass(frozen=True)
class Calibration:
    """All points, the fitted model, and what was left out and why."""

    points: tuple[CalibratedPoint, ...]
    fitted: FittedModel
    reference: Reference
    comparing: Comparing
    limits: StretchLimits | None
    left_out: tuple[Says, ...] = ()


def calibrate(
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    reference: Reference,
    comparing: Comparing,
    *,
    limits: StretchLimits | None = None,
) -> Calibration:
    """Calibrate a sensor from a run in which the reference was logged too.

    ``reference_c``, ``sensor_c``: readings [degC, NaN where there is none], shape (n,). Returns A point for each stable
    stretch that the reference's certificate covers, and the fitted correction.

    Raises NotEnoughData if there is no such stretch: says how near the steadiest was. Source: EA-4/02 M:2022, example
    S5 (calibration of a type N thermocouple at 1000 degC): the rows of the budget.
    """
    limits = limits or StretchLimits()
    steps_c = (comparing.reference_resolution_c, comparing.sensor_resolution_c)
    found = stable_stretches(t_s, reference_c, sensor_c, limits, resolutions_c=steps_c)
    points: list[CalibratedPoint] = []
    left_out: list[Says] = []
    for stretch in found:
        if reference.covers(stretch.reference_c):
            points.append(point_of_stretch(stretch, t_s, reference_c, sensor_c, reference, comparing))
        else:
            left_out.append(_not_covered(stretch.reference_c, reference))
    if not points:
        raise NotEnoughData(joined(left_out) if left_out else _no_stretch(limits))
    return Calibration(tuple(points), _fitted(points), reference, comparing, limits, tuple(left_out))


def calibrate_readings(readings: Sequence[PairReading], reference: Reference, comparing: Comparing) -> Calibration:
    """Calibrate a sensor from readings typed in.

    ``readings``: pairs [degC]; those within 10 K of each other are one point. Returns A point for each temperature, and
    the fitted correction.

    Raises NotEnoughData if the reference's certificate covers none of the readings.
    """
    groups: list[list[PairReading]] = []
    for pair in sorted(readings, key=lambda r: r.reference_c):
        if groups and pair.reference_c - groups[-1][0].reference_c < GROUP_C:
            groups[-1].append(pair)
        else:
            groups.append([pair])
    points: list[CalibratedPoint] = []
    left_out: list[Says] = []
    for group in groups:
        mean_c = float(np.mean([r.reference_c for r in group]))
        if reference.covers(mean_c):
            points.append(_point_of_readings(group, reference, comparing))
        else:
            left_out.append(_not_covered(mean_c, reference))
    if not points:
        raise NotEnoughData(joined(left_out) if left_out else "there are no readings.")
    return Calibration(tuple(points), _fitted(points), reference, comparing, None, tuple(left_out))


def point_of_stretch(
    stretch: Stretch,
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    reference: Reference,
    comparing: Comparing,
) -> CalibratedPoint:
    """Error and budget of one stable stretch.

    Returns repeatability from means over a minute each, so that neighbours that move together do not count twice.
    """
    inside = (t_s >= stretch.start_s) & (t_s <= stretch.end_s) & np.isfinite(reference_c) & np.isfinite(sensor_c)
    difference = sensor_c[inside] - reference_c[inside]
    block = ((t_s[inside] - stretch.start_s) // BLOCK_S).astype(np.intp)
    number = np.bincount(block)
    means = (np.bincount(block, weights=difference)[number > 0]) / number[number > 0]
    repeat = BudgetRow(
        "repeatability",
        float(np.std(means, ddof=1)) / float(np.sqrt(means.size)),
        dof=means.size - 1,
        origin=f"{means.size} means over a minute",
    )
    moved = abs(stretch.drift_c_per_h) / 3600.0 * comparing.lag_difference_s
    stability = rectangular("stability: drift x different lag", moved, origin=duration(comparing.lag_difference_s))
    seen_c = float(reference_c[inside].mean())
    rows = budget_rows(seen_c, reference, comparing, (repeat, stability))
    return CalibratedPoint(
        reference_reading_c=seen_c,
        reference_c=seen_c + reference.correction_c(seen_c),
        reading_c=float(sensor_c[inside].mean()),
        budget=Budget(rows),
        stretch=stretch,
        readings=int(inside.sum()),
    )


def correction_of(
    calibration: Calibration,
    *,
    furnace: str,
    sensor: str,
    done_on: str,
    due_on: str | None = None,
    done_by: str = "",
) -> Correction:
    """Turn a calibration into the correction that the log book keeps.

    Returns with a table of correction and U [K] over the calibrated range [degC].
    """
    reading, add, u = calibration.fitted.table()
    return Correction(
        furnace=furnace,
        sensor=sensor,
        model=calibration.fitted.model,
        why=calibration.fitted.why,
        points=tuple(
            CorrectionPoint(p.reading_c, p.correction_c, p.budget.expanded_c, p.budget.coverage_factor)
            for p in calibration.points
        ),
        table_reading_c=tuple(float(v) for v in reading),
        table_correction_c=tuple(float(v) for v in add),
        table_expanded_c=tuple(float(v) for v in u),
        done_on=done_on,
        due_on=due_on,
        done_by=done_by,
        method=f"against {calibration.reference.says}",
    )


def _point_of_readings(group: list[PairReading], reference: Reference, comparing: Comparing) -> CalibratedPoint:
    """Error and budget of typed readings at one temperature."""
    seen = np.array([r.reference_c for r in group])
    difference = np.array([r.sensor_c - r.reference_c for r in group])
    n = difference.size
    if n > 1:
        repeat = BudgetRow(
            "repeatability",
            float(np.std(difference, ddof=1)) / float(np.sqrt(n)),
            dof=n - 1,
            origin=f"{n} readings",
        )
    else:
        repeat = rectangular("repeatability", LONE_READING_C, origin="one reading only: setting of this program")
    mean_c = float(seen.mean())
    true_c = mean_c + reference.correction_c(mean_c)
    rows = budget_rows(mean_c, reference, comparing, (repeat,))
    return CalibratedPoint(mean_c, true_c, mean_c + float(difference.mean()), Budget(rows), readings=n)


def _fitted(points: Sequence[CalibratedPoint]) -> FittedModel:
    """Fit the correction through all points."""
    return fit_correction(
        [
            Point(
                reading_c=p.reading_c,
                correction_c=p.correction_c,
                u_own_c=max(p.budget.own_c, 0.01),
                u_common_c=p.budget.common_c,
                k=p.budget.coverage_factor,
            )
            for p in points
        ]
    )


def _not_covered(temp_c: float, reference: Reference) -> Says:
    """Say why a stretch was left out."""
    return Says.of(
        "{at} is left out: of the reference ({reference}) something is known only from {low} to {high}.",
        at=Temp(temp_c),
        reference=reference.says,
        low=Temp(reference.low_c),
        high=Temp(reference.high_c),
    )


def _no_stretch(limits: StretchLimits) -> Says:
    """Say what a stable stretch would have been."""
    return Says.of(
        "no stable stretch: none of {length} in which both sensors drift at most {drift} and spread at most {spread}, "
        "above {lowest}. Hold the furnace longer, or give other limits.",
        length=duration(60.0 * limits.minutes),
        drift=Rate(limits.drift_c_per_h),
        spread=Diff(limits.spread_c),
        lowest=Temp(limits.lowest_c),
    )
