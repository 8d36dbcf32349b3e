"""A calibration on its way into the log book: calibration or check, its due date, and the record of how it was made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.calibration.correcting.ageing import (
    BASE_MONTHS,
    NOBLE_MONTHS,
    Drift,
    Due,
    Need,
    assumed_drift,
    due_day,
)
from soakwitness.analysis.calibration.correcting.calibrating import Calibration
from soakwitness.analysis.calibration.correcting.calibration_record import calibration_record, readings_used
from soakwitness.analysis.calibration.correcting.checking import Apart, compare_with, kind_of
from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.logbook.calibration_records import add_record, heats_of
from soakwitness.analysis.logbook.calibrations import KeptSensorCalibration, keep_correction
from soakwitness.analysis.logbook.history import Recipes
from soakwitness.analysis.logbook.runs import list_runs
from soakwitness.analysis.logbook.sensors import SensorLife, calibration_valid_on, sensor_life_on
from soakwitness.analysis.record.moments import Stamp, add_months, later
from soakwitness.analysis.run_inputs.corrections_in_force import in_force
from soakwitness.analysis.thermocouples.wire_life import is_noble

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.firmware_bridge.runfolder.contents import Column

YEAR_S = 365.0 * 86400.0


@dataclass(frozen=True)
class BesideTheBook:
    """How a new correction stands to what the log book has: ``before`` is the one in force, ``kind`` what it becomes.

    ``compared`` is where the two are farthest apart, None where no temperature is common.
    """

    kind: str
    due: Due
    drift: Drift
    before: Correction | None = None
    compared: Apart | None = None


def beside_the_book(
    book: LogBook, correction: Correction, *, at_utc: str, zone: str | None, wire: str | None = None
) -> BesideTheBook:
    """Look up what a new correction replaces, confirms or contradicts, and when it falls due.

    ``at_utc``: moment at which it was made; ``zone``: its zone; ``wire``: the sensor's type where no life says it.
    """
    furnace, sensor, day = correction.furnace, correction.sensor, correction.done_on
    life = sensor_life_on(book, furnace, sensor, at_utc)
    kept = None if life is None else calibration_valid_on(book, furnace, sensor, later(at_utc, 0.0))
    before = None if kept is None else in_force(book, furnace, sensor, kept, at_utc=at_utc, zone=zone)
    compared = None if before is None else compare_with(correction, before)
    due, drift = due_of(book, correction, life, at_utc=at_utc, wire=wire)
    return BesideTheBook(kind_of(correction, before, day), due, drift, before, compared)


def due_of(
    book: LogBook, correction: Correction, life: SensorLife | None, *, at_utc: str, wire: str | None = None
) -> tuple[Due, Drift]:
    """When U reaches what the recipes of the furnace need, by how hot the sensor was in the last year and its drift."""
    kind = (life.thermocouple if life else None) or wire
    months = NOBLE_MONTHS if is_noble(kind) else BASE_MONTHS
    year = heats_of(book, correction.furnace, correction.sensor, after_utc=later(at_utc, -YEAR_S), before_utc=at_utc)
    given = None if correction.drift is None else dict(correction.drift)
    drift = assumed_drift(kind, life.diameter_mm if life else None, year.hottest_c, given)
    due = due_day(
        correction,
        drift,
        needs_of(book, correction.furnace),
        hours_a_day=(year.hours_800 / 365.0, year.hours_950 / 365.0),
        last=add_months(correction.done_on, months),
        months=months,
    )
    return due, drift


def needs_of(book: LogBook, furnace: str) -> tuple[Need, ...]:
    """Judged holds of the recipes that a furnace's runs are judged by, the tightest of each temperature."""
    recipes = Recipes(book)
    tightest: dict[float, Need] = {}
    for digest in dict.fromkeys(run.recipe_digest for run in list_runs(book, furnace=furnace)):
        recipe = recipes.by_digest(digest)
        for hold in recipe.holds if recipe else ():
            need = Need(hold.target_c, min(hold.above_c, hold.below_c), recipe.name if recipe else "")
            known = tightest.get(hold.target_c)
            if hold.judged and (known is None or need.tolerance_c < known.tolerance_c):
                tightest[hold.target_c] = need
    return tuple(tightest[target] for target in sorted(tightest))


def keep_calibration(
    book: LogBook,
    found: Calibration,
    correction: Correction,
    beside: BesideTheBook,
    about: Mapping[str, Any],
    *,
    at_utc: str,
    stamp: Stamp,
    begins_utc: str | None = None,
    column: Column | None = None,
    run: str | None = None,
    note: str = "",
) -> KeptSensorCalibration:
    """Enter a correction, as a calibration or a check, with the record of how it was made, in one writing."""
    with book.writing(stamp):
        kept = keep_correction(
            book,
            correction,
            at_utc=at_utc,
            stamp=stamp,
            begins_utc=begins_utc,
            column=column,
            run=run,
            note=note,
            kind=beside.kind,
        )
        life = sensor_life_on(book, correction.furnace, correction.sensor, at_utc)
        more = {
            "kind": beside.kind,
            "life": {} if life is None else {key: value for key, value in vars(life).items() if value is not None},
            "before": _before(beside),
            "limits_of_use": _limits(correction, beside.due) | {"drift": str(beside.drift.says())},
        }
        add_record(book, kept.entry, calibration_record(found, {**about, **more}), readings_used(found), stamp=stamp)
    return kept


def _before(beside: BesideTheBook) -> dict[str, Any] | None:
    """The change since the calibration before, where the two are farthest apart [degC, K]."""
    if beside.before is None:
        return None
    compared = beside.compared
    return {
        "done_on": beside.before.done_on,
        "compared": None if compared is None else dict(vars(compared)),
        "contradicts": compared is not None and compared.contradicts,
    }


def _limits(correction: Correction, due: Due) -> dict[str, Any]:
    """Within which it may be used: readings [degC], the due date and its reason, holds that it does not serve."""
    return {
        "low_c": correction.low_c,
        "high_c": correction.high_c,
        "due_on": correction.due_on,
        "due_by": None if due.need is None else dict(vars(due.need)),
        "unmet": [dict(vars(need)) for need in due.unmet],
        "outside": [dict(vars(need)) for need in due.outside],
    }


def with_due(correction: Correction, due: Due) -> Correction:
    """The correction with the day on which it falls due."""
    return replace(correction, due_on=due.day)
