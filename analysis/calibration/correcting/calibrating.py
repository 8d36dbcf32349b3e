"""Calibration of one sensor against a reference: the error at each stable stretch with its budget, and a correction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.correcting.agreement import Repeats, repeats, stepped
from soakwitness.analysis.calibration.correcting.correction import Correction, CorrectionPoint
from soakwitness.analysis.calibration.correcting.correction_models import FittedModel, Point, fit_correction
from soakwitness.analysis.calibration.correcting.reference_differences import Comparing, budget_rows
from soakwitness.analysis.calibration.measured_pairs.measured_levels import Level, levels_of_readings, levels_of_run
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.calibration.measured_pairs.reference import Reference
from soakwitness.analysis.calibration.measured_pairs.steps import find_step
from soakwitness.analysis.calibration.measured_pairs.stretches import Stretch, StretchLimits, what_was_missed
from soakwitness.analysis.calibration.uncertainty.budget import Budget, BudgetRow, rectangular
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration, joined

FloatArray = npt.NDArray[np.float64]

BLOCK_S = 60.0
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
    level: Level | None = field(default=None, compare=False, repr=False)

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
    repeats: Repeats = Repeats()

    @property
    def levels(self) -> tuple[Level, ...]:
        """Every reading used, level by level."""
        return tuple(point.level for point in self.points if point.level is not None)


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

    Raises NotEnoughData if there is no such stretch: says how near the steadiest was. ContradictionError if one of the
    two sensors stepped between the first stretch and the last, or stretches disagree.
    """
    limits = limits or StretchLimits()
    steps_c = (comparing.reference_resolution_c, comparing.sensor_resolution_c)
    levels = levels_of_run(t_s, reference_c, sensor_c, limits, resolutions_c=steps_c)
    if not levels:
        raise NotEnoughData(what_was_missed(t_s, reference_c, sensor_c, limits, resolutions_c=steps_c))
    inside = (t_s >= levels[0].t_s[0]) & (t_s <= levels[-1].t_s[-1])
    step = find_step(t_s[inside], reference_c[inside], sensor_c[inside], resolutions_c=steps_c)
    if step is not None:
        raise stepped(step)
    return calibrate_levels(levels, reference, comparing, limits=limits)


def calibrate_readings(readings: Sequence[PairReading], reference: Reference, comparing: Comparing) -> Calibration:
    """Calibrate a sensor from readings typed in.

    ``readings``: pairs [degC] in the order they were read; those in a row within 10 K of each other are one point.

    Raises NotEnoughData if the reference's certificate covers none of the readings; ContradictionError if a level that
    was read twice does not agree.
    """
    return calibrate_levels(levels_of_readings(readings), reference, comparing)


def calibrate_levels(
    levels: Sequence[Level], reference: Reference, comparing: Comparing, *, limits: StretchLimits | None = None
) -> Calibration:
    """Error and budget at each level, and the fitted correction: the whole way from what a calibration keeps.

    ``levels``: in the order of time. What a level measured twice was apart is a row of every budget.

    Raises NotEnoughData without a level that the reference covers; ContradictionError if levels disagree. Source:
    EA-4/02 M:2022, example S5 (calibration of a type N thermocouple at 1000 degC): the rows of the budget.
    """
    points = [point_of(level, reference, comparing) for level in levels if reference.covers(level.mean_c)]
    left_out = tuple(_not_covered(level.mean_c, reference) for level in levels if not reference.covers(level.mean_c))
    if not points:
        raise NotEnoughData(joined(left_out) if left_out else "there are no readings.")
    again = repeats(points)
    if again.apart_c is not None:
        row = rectangular("levels measured twice", again.apart_c, common=True, origin="their largest difference")
        points = [replace(p, budget=Budget((*p.budget.rows, row))) for p in points]
    if limits is None:
        points.sort(key=lambda p: p.reference_c)
    return Calibration(tuple(points), _fitted(points), reference, comparing, limits, left_out, again)


def point_of(level: Level, reference: Reference, comparing: Comparing) -> CalibratedPoint:
    """Error and budget of one level."""
    seen_c = level.mean_c
    own = _of_stretch(level, level.stretch, comparing) if level.stretch else (_of_typed(level),)
    return CalibratedPoint(
        reference_reading_c=seen_c,
        reference_c=seen_c + reference.correction_c(seen_c),
        reading_c=float(level.sensor_c.mean()),
        budget=Budget(budget_rows(seen_c, reference, comparing, own)),
        stretch=level.stretch,
        readings=int(level.t_s.size),
        level=level,
    )


def _of_stretch(level: Level, stretch: Stretch, comparing: Comparing) -> tuple[BudgetRow, ...]:
    """Scatter and drift of a stretch.

    Means over a minute each (a whole swing where the furnace swings), so that neighbours that move together do not
    count twice.
    """
    block_s = stretch.swing_s or BLOCK_S
    block = ((level.t_s - stretch.start_s) // block_s).astype(np.intp)
    number = np.bincount(block)
    whole = number >= 0.5 * number.max()
    means = np.bincount(block, weights=level.sensor_c - level.reference_c)[whole] / number[whole]
    over = "a minute" if stretch.swing_s is None else f"a swing of {duration(block_s)}"
    repeat = BudgetRow(
        "repeatability",
        float(np.std(means, ddof=1)) / float(np.sqrt(means.size)),
        dof=means.size - 1,
        origin=f"{means.size} means over {over}",
    )
    moved = abs(stretch.drift_c_per_h) / 3600.0 * comparing.lag_difference_s
    return (
        repeat,
        rectangular("stability: drift x different lag", moved, origin=duration(comparing.lag_difference_s)),
    )


def _of_typed(level: Level) -> BudgetRow:
    """Scatter of readings typed in."""
    n = level.t_s.size
    if n == 1:
        return rectangular("repeatability", LONE_READING_C, origin="one reading only: setting of this program")
    scatter = float(np.std(level.sensor_c - level.reference_c, ddof=1))
    return BudgetRow("repeatability", scatter / float(np.sqrt(n)), dof=n - 1, origin=f"{n} readings")


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
