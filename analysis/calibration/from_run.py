"""What a run, or two logs of one heating, gives for a calibration: two traces on one clock, what is known of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.correcting.reference_differences import Comparing
from soakwitness.analysis.calibration.measured_pairs.alignment import Alignment, align_by_shape, on_first_clock
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.calibration.measured_pairs.reference import Reference, of_class, stated
from soakwitness.analysis.calibration.measured_pairs.right_reference import check_certificate
from soakwitness.analysis.calibration.measured_pairs.stretches import StretchLimits, stable_stretches
from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.firmware_bridge.common.units import to_kelvin
from soakwitness.firmware_bridge.common.wording import Diff, Says
from soakwitness.firmware_bridge.runfolder.contents import Column

FloatArray = npt.NDArray[np.float64]


class SensorChoiceError(AnalysisError):
    """A sensor that the run does not have, or of which too little is known: names those it has."""


@dataclass(frozen=True)
class Pair:
    """Reference and sensor on the run's clock: ``t_s`` [s], readings [degC], shape (n,); ``alignment`` of two logs."""

    t_s: FloatArray
    reference_c: FloatArray
    sensor_c: FloatArray
    reference: Column
    sensor: Column
    reference_resolution_c: float
    sensor_resolution_c: float
    alignment: Alignment | None = None


def sensor_of(run: Run, name: str) -> tuple[Column, Trace]:
    """Sensor of a run by name, else by role.

    ``name``: name of the sensor, or a role such as ``control``. Returns what the run says of it, and its readings
    [degC].

    Raises SensorChoiceError if there is none, or a role is held by several.
    """
    sensors = [column for column in run.columns if column.kind == "sensor"]
    hits = [c for c in sensors if c.name == name] or [c for c in sensors if c.role == name]
    if len(hits) != 1:
        known = ", ".join(f"{c.name} ({c.role})" for c in sensors) or "none"
        why = "no sensor of this name or role" if not hits else f"{len(hits)} sensors have this role"
        raise SensorChoiceError(f"{name!r}: {why} in run {run.header.run}. Sensors: {known}.")
    trace = run.trace(hits[0].name)
    assert trace is not None  # every sensor column has a trace
    return hits[0], trace


def pair_in_run(run: Run, *, reference: str, sensor: str) -> Pair:
    """Reference and sensor of one run.

    Returns both traces [degC].

    Raises SensorChoiceError if one is not there, both are the same, or they are named the wrong way round.
    """
    reference_column, reference_trace = sensor_of(run, reference)
    column, trace = sensor_of(run, sensor)
    if column.name == reference_column.name:
        raise SensorChoiceError(f"{sensor!r} and {reference!r} are the same sensor. Name another reference.")
    if column.role == "reference" and reference_column.role != "reference":
        raise SensorChoiceError(
            f"{column.name} has the role of the reference in run {run.header.run}, {reference_column.name} that of "
            f"{reference_column.role}: they are the wrong way round. Give --reference {column.name} --sensor "
            f"{reference_column.name}; or correct the roles in the furnace file."
        )
    return Pair(
        t_s=trace.t_s,
        reference_c=reference_trace.temp_c,
        sensor_c=trace.temp_c,
        reference=reference_column,
        sensor=column,
        reference_resolution_c=reference_trace.resolution_c,
        sensor_resolution_c=trace.resolution_c,
    )


def pair_of_logs(run: Run, second: Run, *, reference: str, sensor: str) -> Pair:
    """Sensor of one run and reference of another log of the same heating, on the run's clock.

    ``run``, ``second``: the furnace's run, and the log of the reference's own readout. ``reference``, ``sensor``: names
    or roles: the reference's in the second log, the sensor's in the run. Returns both traces [degC], brought together
    by their shape.

    Raises SensorChoiceError if one is not there; NotEnoughData if the logs do not show the same heating.
    """
    column, trace = sensor_of(run, sensor)
    reference_column, reference_trace = sensor_of(second, reference)
    alignment = align_by_shape(trace.t_s, trace.temp_c, reference_trace.t_s, reference_trace.temp_c)
    return Pair(
        t_s=trace.t_s,
        reference_c=on_first_clock(trace.t_s, reference_trace.t_s, reference_trace.temp_c, alignment.shift_s),
        sensor_c=trace.temp_c,
        reference=reference_column,
        sensor=column,
        reference_resolution_c=reference_trace.resolution_c,
        sensor_resolution_c=trace.resolution_c,
        alignment=alignment,
    )


def comparing_of(
    pair: Pair | None,
    *,
    readings: Sequence[PairReading] = (),
    meter: tuple[float, float] = (0.0, 0.0),
    distance_mm: float | None = None,
    gradient_c_per_mm: float | None = None,
    cold_junction_c: float | None = None,
) -> Comparing:
    """How a pair was compared: resolutions and types from the run, the rest as given or by default.

    ``pair``: from a run; None for ``readings`` typed in, which were read to the last digit that was typed. ``meter``:
    accuracy of the reference's readout, half-width [K] and percent of the reading.
    """
    default = Comparing()
    given = replace(
        default,
        distance_mm=default.distance_mm if distance_mm is None else distance_mm,
        gradient_c_per_mm=default.gradient_c_per_mm if gradient_c_per_mm is None else gradient_c_per_mm,
        cold_junction_c=default.cold_junction_c if cold_junction_c is None else cold_junction_c,
        meter_c=meter[0],
        meter_percent=meter[1],
    )
    if pair is None:
        sensor_steps = [one.sensor_step_c for one in readings if one.sensor_step_c is not None]
        reference_steps = [one.reference_step_c for one in readings if one.reference_step_c is not None]
        return replace(
            given,
            sensor_resolution_c=min(sensor_steps, default=default.sensor_resolution_c),
            reference_resolution_c=min(reference_steps, default=default.reference_resolution_c),
        )
    return replace(
        given,
        sensor_resolution_c=pair.sensor_resolution_c,
        reference_resolution_c=pair.reference_resolution_c,
        sensor_type=pair.sensor.thermocouple,
        reference_type=pair.reference.thermocouple,
        readout_expanded_c=to_kelvin(pair.reference.instrument_uncertainty, pair.reference.unit) or 0.0,
    )


def reference_of(
    column: Column | None,
    *,
    certificate: Reference | None = None,
    expanded_c: float | None = None,
    wire: tuple[str, str] | None = None,
    done_on: str | None = None,
) -> Reference:
    """Best knowledge of a reference: its certificate, a stated U, or its tolerance class.

    ``expanded_c``: U (k = 2) stated by the person [K]. ``wire``: type and tolerance class stated by the person.

    Raises SensorChoiceError if nothing is known; ContradictionError if the certificate is not that of the reference.
    """
    if certificate is not None:
        check_certificate(certificate, column, done_on)
        return certificate
    if expanded_c is not None:
        return stated(expanded_c, Says.of("U of {u} stated by hand", u=Diff(expanded_c, digits=3)))
    if wire is not None:
        return of_class(*wire)
    if column is not None:
        of_run = to_kelvin(column.expanded_uncertainty, column.unit)
        if of_run is not None:
            return stated(of_run, Says.of("U of {u} stated with the run", u=Diff(of_run, digits=2)))
        if column.thermocouple and column.tolerance_class:
            return of_class(column.thermocouple, column.tolerance_class)
    name = f"the reference {column.name!r}" if column else "the reference"
    raise SensorChoiceError(
        f"nothing is known of how far {name} may be off. "
        "Give --reference-certificate FILE, --reference-uncertainty U, or --reference-type and --reference-class."
    )


def readings_of(pair: Pair, limits: StretchLimits) -> tuple[PairReading, ...]:
    """Stable stretches of a run as readings, for the diagnosis.

    ``pair``: reference and sensor [degC]. Returns one for each stretch [degC].
    """
    steps_c = (pair.reference_resolution_c, pair.sensor_resolution_c)
    found = stable_stretches(pair.t_s, pair.reference_c, pair.sensor_c, limits, resolutions_c=steps_c)
    return tuple(PairReading(stretch.reference_c, stretch.sensor_c) for stretch in found)
