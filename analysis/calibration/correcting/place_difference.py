"""What the work's place has more or less than a sensor shows, once the sensor's own error is taken off.

A control sensor near the elements reads hot by its place, not by its error: no calibration finds that, and none can
take it off. work = reading + correction + difference.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.uncertainty.budget import Budget, BudgetRow, expanded, rectangular
from soakwitness.analysis.errors import AnalysisError, NotEnoughData
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp

FloatArray = npt.NDArray[np.float64]
PlaceSource = Literal["survey", "run", "entered"]

REACH_C = 25.0  # as a calibration beyond its range: what was seen at 1040 says nothing of 780
LARGEST_C = 100.0  # a larger difference is a fault or a slip of the keys
# Half-width of what a sensor without a calibration may drift until its place difference falls due: as a used base-metal
# thermocouple in 100 hours above 950 degC. An assumption, from memory; the budget prints it as one.
DRIFT_C = 4.0
FEWEST_READINGS = 10


class PlaceError(AnalysisError):
    """A place difference that cannot be had or used: says what is missing."""


@dataclass(frozen=True)
class PlacePoint:
    """The difference at one temperature of the work: ``at_c`` [degC], ``difference_c`` with ``expanded_c`` (k = 2) [K].

    ``correction_c`` is what the sensor's calibration added when it was measured, with U of that [K]; None without one.
    ``holds_error``: the sensor's own error was not known then and is in the difference: no correction is added to it.
    """

    at_c: float
    difference_c: float
    expanded_c: float
    source: PlaceSource
    done_on: str
    due_on: str | None = None
    holds_error: bool = False
    correction_c: float | None = None
    correction_expanded_c: float | None = None
    work_place: str = ""
    why: str = ""
    entry: int | None = None

    def overdue_on(self, day: str) -> bool:
        """Whether the due day has passed on a local day."""
        return self.due_on is not None and day[:10] > self.due_on

    @property
    def says(self) -> Says:
        """Where it comes from."""
        where = {"survey": "by a survey", "run": "by a sensor at the work", "entered": "entered by hand"}[self.source]
        number = "" if self.entry is None else f" {self.entry}"
        place = f" for {self.work_place}" if self.work_place else ""
        return Says.of(
            "place difference{number} of {day}{place}, {where}: {difference} ± {u}",
            number=number,
            day=self.done_on,
            place=place,
            where=where,
            difference=Diff(self.difference_c, signed=True),
            u=Diff(self.expanded_c),
        )

    def with_calibration(self, correction_c: float, expanded_c: float) -> float:
        """U [K] of both, with a correction now in force and its U.

        By the calibration of then, the way from the reading to the work was measured whole: its error is in both and
        goes out; what U has grown since remains. By another one the errors of both count.
        """
        then_u_c = self.correction_expanded_c or 0.0
        if self.correction_c is not None and abs(self.correction_c - correction_c) < 0.05:
            return math.sqrt(self.expanded_c**2 + max(expanded_c**2 - then_u_c**2, 0.0))
        return math.sqrt(self.expanded_c**2 + expanded_c**2 + then_u_c**2)


@dataclass(frozen=True)
class PlaceDifference:
    """All points on record of one sensor that stand on a day; a newer one supersedes those within 25 K of it."""

    points: tuple[PlacePoint, ...]

    def at(self, work_c: float) -> PlacePoint | None:
        """The point that speaks for a temperature of the work [degC]; None where none is near."""
        near = [p for p in self.points if abs(p.at_c - work_c) <= REACH_C]
        return min(near, key=lambda p: abs(p.at_c - work_c), default=None)

    def added_to(self, temp_c: FloatArray, corrected_by_c: FloatArray, day: str) -> FloatArray:
        """What correction and place add to readings [K, degC]: the correction alone where no point reaches."""
        added, nearest = corrected_by_c, np.full(temp_c.shape, np.inf)
        for point in (p for p in self.points if not p.overdue_on(day)):
            by_c = point.difference_c + (0.0 if point.holds_error else corrected_by_c)
            away = np.abs(temp_c + by_c - point.at_c)
            counts = (away <= REACH_C) & (away < nearest)
            added, nearest = np.where(counts, by_c, added), np.where(counts, away, nearest)
        return added


def standing(points: Sequence[PlacePoint]) -> PlaceDifference:
    """Those of a sensor's points that no newer one supersedes; ``points`` oldest first."""
    kept: list[PlacePoint] = []
    for point in reversed(points):
        if all(abs(point.at_c - other.at_c) > REACH_C for other in kept):
            kept.append(point)
    return PlaceDifference(tuple(sorted(kept, key=lambda p: p.at_c)))


@dataclass(frozen=True)
class SensorAt:
    """One sensor over a steady time: true readings [degC] and U (k = 2) of what was added to them [K], None: unknown.

    ``correction_c`` is what was added [K]; None where nothing is known of it and nothing was.
    """

    name: str
    true_c: FloatArray
    expanded_c: float | None
    correction_c: float | None = None
    rows: tuple[BudgetRow, ...] = ()


@dataclass(frozen=True)
class MeasuredPlace:
    """A place difference as measured, with the budget of its U."""

    point: PlacePoint
    budget: Budget
    work: tuple[str, ...]
    readings: int

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON and the log book."""
        return {"work": list(self.work), "readings": self.readings, "budget": self.budget.as_dict()}


def measure_place(
    control: SensorAt, work: Sequence[SensorAt], *, source: PlaceSource, done_on: str, due_on: str | None
) -> MeasuredPlace:
    """Difference of the work's place from what the control sensor shows, over a time in which all stood still.

    Of several sensors at the work the middle of the highest and the lowest counts, and half their distance is a row.

    Raises PlaceError if U of a work sensor is not known: it would be a figure without a worth. NotEnoughData if fewer
    than ten readings are common to all.
    """
    unknown = [one.name for one in work if one.expanded_c is None]
    if unknown:
        raise PlaceError(
            f"nothing is known of how far {', '.join(unknown)} may be off, so it cannot tell the work's temperature. "
            "Give its --certificate FILE, calibrate it, or enter the difference by hand: soakwitness place enter"
        )
    table = np.array([one.true_c for one in (control, *work)])
    both = np.isfinite(table).all(axis=0)
    if both.sum() < FEWEST_READINGS:
        raise NotEnoughData(
            f"{control.name} and {', '.join(one.name for one in work)} have {int(both.sum())} readings in common over "
            f"that time, at least {FEWEST_READINGS} are needed."
        )
    means = table[1:, both].mean(axis=1)
    at_c = (float(means.max()) + float(means.min())) / 2.0
    difference_c = at_c - float(table[0, both].mean())
    if abs(difference_c) > LARGEST_C:
        raise PlaceError(
            Says.of(
                "the work is {difference} from what {name} shows at {at}: that is no difference of place. Look for a "
                "fault first: soakwitness sensor diagnose",
                difference=Diff(difference_c, signed=True),
                name=control.name,
                at=Temp(at_c),
            )
        )
    budget = Budget((*_work_rows(work), *_own_rows(control, table[:, both], means)))
    holds_error = control.correction_c is None
    point = PlacePoint(
        at_c,
        difference_c,
        budget.expanded_c,
        source,
        done_on,
        due_on,
        holds_error,
        control.correction_c,
        control.expanded_c if not holds_error else None,
    )
    return MeasuredPlace(point, budget, tuple(one.name for one in work), int(both.sum()))


def _work_rows(work: Sequence[SensorAt]) -> tuple[BudgetRow, ...]:
    """U of the work's sensor; of several the largest: wire of one reel errs alike and does not average out."""
    worst = max(work, key=lambda one: one.expanded_c or 0.0)
    return worst.rows or (expanded(f"sensor at the work, {worst.name}", worst.expanded_c or 0.0),)


def _own_rows(control: SensorAt, table: FloatArray, means: FloatArray) -> tuple[BudgetRow, ...]:
    apart = table[1:].mean(axis=0) - table[0]
    blocks = [part.mean() for part in np.array_split(apart, 4)]
    rows = [BudgetRow("scatter of the difference", float(np.std(blocks, ddof=1)) / 2.0, dof=3.0)]
    if means.size > 1:
        rows.append(rectangular("between the sensors at the work", (float(means.max()) - float(means.min())) / 2.0))
    if control.correction_c is None:
        origin = "assumption: no calibration, so its own error is in the difference and may drift until it falls due"
        rows.append(rectangular(f"drift of {control.name}", DRIFT_C, origin=origin))
    return tuple(rows)


def entered_place(
    at_c: float,
    difference_c: float,
    expanded_c: float,
    *,
    done_on: str,
    due_on: str | None,
    holds_error: bool,
    work_place: str,
    why: str,
) -> PlacePoint:
    """A place difference that a person enters with its reason.

    Raises PlaceError if it is larger than a place can make, or there is no reason.
    """
    if abs(difference_c) > LARGEST_C:
        raise PlaceError(
            Says.of(
                "a place difference of {difference} is larger than {most}: no place of one chamber differs so much. Is "
                "it a temperature in place of a difference?",
                difference=Diff(difference_c, signed=True),
                most=Diff(LARGEST_C),
            )
        )
    if not why.strip():
        raise PlaceError("say why the work's place differs: --why, such as how it was found out.")
    point = PlacePoint(at_c, difference_c, expanded_c, "entered", done_on, due_on, holds_error)
    return replace(point, work_place=work_place, why=why.strip())
