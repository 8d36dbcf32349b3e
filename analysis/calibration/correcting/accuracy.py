"""System accuracy test: the control sensor's whole chain against a reference at one temperature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.correcting.calibrating import CalibratedPoint, Calibration
from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.calibration.uncertainty.decision import Decision, decide
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp

FloatArray = npt.NDArray[np.float64]

LIMIT_C = 3.0
NEAR_C = 25.0  # a comparison this near counts as at the temperature asked for; a setting of this program
ORIGIN = "setting of this program"


@dataclass(frozen=True)
class AccuracyLimit:
    """Largest difference allowed: the larger of ``limit_c`` [K] and a share of the temperature in degC [%]."""

    limit_c: float = LIMIT_C
    percent: float = 0.0
    origin: str = ORIGIN

    def at(self, temp_c: float) -> float:
        """Limit at a temperature [degC], as a half-width [K]."""
        return max(self.limit_c, self.percent / 100.0 * abs(temp_c))


@dataclass(frozen=True)
class AccuracyTest:
    """Result at one temperature: difference is reading minus truth [K], as the controller shows it.

    ``corrected_c`` is what a valid correction would leave of it, ``correction_u_c`` the U of that correction as it
    counted then: they decide nothing, the controller does not know them.
    """

    point: CalibratedPoint
    limit_c: float
    limit_origin: str
    corrected_c: float | None
    correction_of: str | None
    decision: Decision
    correction_u_c: float | None = None

    @property
    def difference_c(self) -> float:
        """Reading minus true temperature, as read [K]."""
        return self.point.error_c

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON and the log book."""
        return {
            "at_c": self.point.reference_c,
            "reading_c": self.point.reading_c,
            "reference_reading_c": self.point.reference_reading_c,
            "difference_c": self.difference_c,
            "difference_after_correction_c": self.corrected_c,
            "correction_of": self.correction_of,
            "correction_expanded_c": self.correction_u_c,
            "expanded_c": self.point.budget.expanded_c,
            "limit_c": self.limit_c,
            "limit_origin": self.limit_origin,
            "verdict": self.decision.verdict,
            "decision": self.decision.as_dict(),
            "point": self.point.as_dict(),
        }


def accuracy_test(
    found: Calibration,
    limit: AccuracyLimit,
    *,
    at_c: float | None = None,
    correction: Correction | None = None,
    guard: float = 1.0,
) -> AccuracyTest:
    """Decide on the control chain from a comparison with the reference.

    ``at_c``: temperature to test at [degC]; without it the longest stable stretch counts. ``correction``: valid
    correction of the sensor; the difference after it is told, the reading as the controller shows it decides: what the
    log book knows does not move the furnace. ``guard``: guard band as a multiple of U; 0 for simple acceptance.

    Raises NotEnoughData if nothing was compared within 25 K of the temperature asked for.
    """
    point = _chosen(found.points, at_c)
    corrected_c, correction_u_c = None, None
    if correction is not None and bool(correction.covers(point.reading_c)):
        corrected_c = float(correction.correct(point.reading_c)) - point.reference_c
        correction_u_c = float(correction.expanded_c(point.reading_c))
    allowed_c = limit.at(point.reference_c)
    return AccuracyTest(
        point=point,
        limit_c=allowed_c,
        limit_origin=limit.origin,
        corrected_c=corrected_c,
        correction_of=correction.done_on if correction is not None and corrected_c is not None else None,
        decision=decide(
            point.error_c,
            point.budget.expanded_c,
            lower=-allowed_c,
            upper=allowed_c,
            guard=guard,
            k=point.budget.coverage_factor,
        ),
        correction_u_c=correction_u_c,
    )


def _chosen(points: tuple[CalibratedPoint, ...], at_c: float | None) -> CalibratedPoint:
    """Point nearest to the wanted temperature, else the one that lasted longest or has most readings."""
    if at_c is not None:
        nearest = min(points, key=lambda p: abs(p.reference_c - at_c))
        if abs(nearest.reference_c - at_c) > NEAR_C:
            says = "nothing to compare within {near} of {at}: the nearest is at {nearest}. "
            says += "Give that, or hold the furnace where the test is wanted."
            raise NotEnoughData(Says.of(says, near=Diff(NEAR_C), at=Temp(at_c), nearest=Temp(nearest.reference_c)))
        return nearest
    return max(points, key=lambda p: (p.stretch.minutes if p.stretch else 0.0, p.readings))
