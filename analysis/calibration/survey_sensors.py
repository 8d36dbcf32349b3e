"""Sensors of one run with the best knowledge of their errors: wire, logger, cold junction and resolution."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.calibration.correcting.place_difference import SensorAt
from soakwitness.analysis.calibration.correcting.reference_differences import Comparing, cold_sensitivity
from soakwitness.analysis.calibration.from_run import SensorChoiceError, reference_of, sensor_of
from soakwitness.analysis.calibration.measured_pairs.reference import Reference
from soakwitness.analysis.calibration.surveying.survey import SurveySensor
from soakwitness.analysis.calibration.surveying.survey_limits import SurveyLimits
from soakwitness.analysis.calibration.surveying.survey_period import stable_period
from soakwitness.analysis.calibration.uncertainty.budget import Budget, BudgetRow, expanded, rectangular
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.firmware_bridge.common.units import to_kelvin
from soakwitness.firmware_bridge.runfolder.contents import Column

# Half-width of a logger of which nothing is stated: an assumption, printed as one.
LOGGER_C, LOGGER_SHARE = 0.5, 0.001
STEADY_SPREAD_C = 20.0  # the swing of a controller, within which the difference is a mean
NOT_STATED = "assumption: nothing is stated of it; give --logger or instrument_uncertainty in the furnace file"


def survey_sensor(
    run: Run,
    name: str,
    *,
    certificate: Reference | None = None,
    correction: Correction | None = None,
    logger_c: float | None = None,
) -> SurveySensor:
    """Sensor of a survey with the best knowledge of its error.

    ``logger_c``: U (k = 2) of the instrument that reads it, its cold junction included [K]; else what the run says.
    Returns readings [degC], what to add to them [K] and U (k = 2) near its hottest readings [K]; U None where nothing
    is known of the wire. A calibration was made through the instrument, and a stated U is that of the readings: the
    instrument is in both already.

    Raises SensorChoiceError if there is no such sensor.
    """
    column, trace = sensor_of(run, name)
    hot_c = float(np.nanquantile(trace.temp_c, 0.9)) if np.isfinite(trace.temp_c).any() else float("nan")
    if certificate is None and correction is not None:
        u = float(correction.expanded_c(hot_c))
        known = np.isfinite(u)
        return SurveySensor(
            column.name,
            trace.temp_c,
            correction.correction_c(trace.temp_c),
            u if known else None,
            column.position,
            f"calibration of {correction.done_on}",
            (expanded(f"calibration of {column.name}", u),) if known else (),
        )
    try:
        reference = reference_of(column, certificate=certificate)
    except SensorChoiceError:
        return SurveySensor(column.name, trace.temp_c, 0.0, None, column.position)
    temps = np.array([p.temp_c for p in reference.points] or [0.0])
    adds = np.array([p.correction_c for p in reference.points] or [0.0])
    add = np.interp(trace.temp_c, temps, adds)
    rows = _rows(reference, column, trace, hot_c, logger_c) if reference.covers(hot_c) else ()
    u_c = Budget(rows).expanded_c if rows else None
    return SurveySensor(column.name, trace.temp_c, add, u_c, column.position, str(reference.says), rows)


def _rows(
    reference: Reference, column: Column, trace: Trace, hot_c: float, logger_c: float | None
) -> tuple[BudgetRow, ...]:
    """Wire, then the instrument as far as it is not in it already."""
    own = (replace(row, source=row.source.replace("reference", "sensor")) for row in reference.rows(hot_c))
    wire = (*own, rectangular("resolution", trace.resolution_c / 2.0))
    if reference.of_readings:
        return wire
    stated_c = to_kelvin(column.instrument_uncertainty, column.unit) if logger_c is None else logger_c
    if stated_c is not None:
        return (*wire, expanded("logger, its cold junction included", stated_c, common=True))
    kind = reference.thermocouple or column.thermocouple
    return (
        *wire,
        rectangular("logger", LOGGER_C + LOGGER_SHARE * abs(hot_c), common=True, origin=NOT_STATED),
        rectangular(
            "cold junction of the logger",
            Comparing().cold_junction_c,
            sensitivity=cold_sensitivity(kind, hot_c),
            common=True,
        ),
    )


def steady_sensors(
    run: Run,
    names: tuple[str, ...],
    period_s: tuple[float, float],
    *,
    corrections: Mapping[str, Correction],
    certificates: Mapping[str, Reference],
    logger_c: float | None = None,
) -> tuple[SensorAt, ...]:
    """The sensors over a time in which all stood still [s], corrected as far as anything is known of them."""
    inside = (run.t_s >= period_s[0]) & (run.t_s <= period_s[1])
    found = []
    for name in names:
        one = survey_sensor(
            run, name, certificate=certificates.get(name), correction=corrections.get(name), logger_c=logger_c
        )
        added = np.broadcast_to(one.correction_c, run.t_s.shape)[inside]
        known = one.expanded_c is not None and one.says.startswith("calibration")
        found.append(
            SensorAt(
                one.name,
                one.true_c[inside],
                one.expanded_c,
                float(np.nanmean(added)) if known and np.isfinite(added).any() else None,
                one.rows,
            )
        )
    return tuple(found)


def steady_time(run: Run, names: tuple[str, ...], *, at_c: float | None = None) -> tuple[float, float]:
    """Longest time in which sensors of a run all stood still [s], near a temperature where one is given [degC].

    Raises NotEnoughData if there is none.
    """
    traces = [sensor_of(run, name)[1].temp_c for name in names]
    return stable_period(
        run.t_s,
        traces,
        spread_c=STEADY_SPREAD_C,
        drift_c_per_h=SurveyLimits().drift_c_per_h,
        windows_minutes=SurveyLimits().window_minutes,
        wanted_c=None if at_c is None else np.full(run.t_s.shape, at_c),
    )
