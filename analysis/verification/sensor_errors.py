"""What is known of a sensor's error: stated, from a calibration, or the tolerance of new wire."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from soakwitness.analysis.calibration.correction import Correction
from soakwitness.analysis.thermocouple_tolerance import tolerance_c, tolerance_of
from soakwitness.analysis.verification.model import SensorErrors
from soakwitness.firmware_bridge.runfolder.model import Column

UNKNOWN = SensorErrors(says="no calibration and no tolerance class is on record for this sensor")


def errors_of(column: Column | None, corrections: Mapping[str, Correction], day: str) -> SensorErrors:
    """Find what is known of one sensor's error.

    Parameters
    ----------
    column : Column or None
        The sensor as the run describes it; its uncertainties are k = 2, in its unit.
    corrections : mapping
        Corrections by the sensor's name, as the log book keeps them.
    day : str
        Day of the run, such as 2026-11-25.

    Returns
    -------
    SensorErrors
        A stated U, else the calibration's, else the tolerance class of new wire, else nothing.

    Notes
    -----
    The instrument's own uncertainty is added in quadrature: U^2 = U_sensor^2 + U_instrument^2.
    """
    if column is None:
        return UNKNOWN
    correction = corrections.get(column.name)
    found = _sensor_part(column, correction, day)
    if correction is not None:
        found = replace(found, correction=correction.correction_c)
    instrument_c = _kelvin(column.instrument_uncertainty, column)
    return found if instrument_c is None else _with_instrument(found, instrument_c)


def _kelvin(difference: float | None, column: Column) -> float | None:
    return difference if difference is None or column.unit != "F" else difference / 1.8


def _sensor_part(column: Column, correction: Correction | None, day: str) -> SensorErrors:
    stated_c = _kelvin(column.expanded_uncertainty, column)
    if stated_c is not None:
        return SensorErrors(stated_c, "stated", says="stated with the run (k = 2)")
    if correction is not None:
        late = correction.overdue_on(day)
        return SensorErrors(
            None,
            "calibration",
            expanded_at=lambda temp_c: _finite(float(correction.expanded_c(temp_c))),
            overdue=late,
            says=f"calibration of {correction.done_on}" + (f", overdue since {correction.due_on}" if late else ""),
        )
    kind, name = column.thermocouple, column.tolerance_class
    if kind and name and tolerance_of(kind, name) is not None:
        return SensorErrors(
            None,
            "tolerance class",
            expanded_at=lambda temp_c: _finite(float(tolerance_c(kind, name, temp_c))),
            says=f"tolerance of new type {kind} wire, class {name}",
        )
    return UNKNOWN


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _with_instrument(errors: SensorErrors, instrument_c: float) -> SensorErrors:
    if errors.source == "none":
        return errors

    def both(temp_c: float) -> float | None:
        sensor_c = errors.at(temp_c)
        return None if sensor_c is None else math.hypot(sensor_c, instrument_c)

    return replace(errors, expanded_c=None, expanded_at=both, says=f"{errors.says}, with the instrument's own")
