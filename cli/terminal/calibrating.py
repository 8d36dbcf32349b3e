"""What calibrate, survey, accuracy and sensor share: options, the two sensors of a run, figures in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from soakwitness.cli.options.common import Finite, WrongUse, find_run
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.units import Unit, to_kelvin
from soakwitness.firmware_bridge.common.wording import number, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.from_run import Pair
    from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
    from soakwitness.analysis.calibration.measured_pairs.reference import Reference
    from soakwitness.analysis.calibration.measured_pairs.stretches import StretchLimits
    from soakwitness.analysis.record.run import Run
    from soakwitness.firmware_bridge.runfolder.contents import Column

F = TypeVar("F", bound=Callable[..., Any])
CLASSES = ("1", "2", "special", "standard")
LETTERS = ("B", "E", "J", "K", "N", "R", "S", "T")
HOTTEST_C = 1300.0  # a reference that reads more, with no unit said, is taken to be in °F
a_file = click.Path(path_type=Path, dir_okay=False)


def comparison_options(function: F) -> F:
    """Options that say how two sensors are compared; differences are in --unit."""
    for option in (
        click.option("--reference", "reference", metavar="SENSOR", help="Name or role of the reference."),
        click.option("--sensor", default="control", show_default=True, help="Name or role of the sensor."),
        click.option("--reference-certificate", "certificate", type=a_file, help="TOML with the certificate's points."),
        click.option(
            "--reference-uncertainty",
            "stated",
            type=Finite(min=0, min_open=True),
            help="U (k = 2) of its readings, its readout and cold junction included.",
        ),
        click.option("--reference-type", type=click.Choice(LETTERS, case_sensitive=False), help="Type of its wire."),
        click.option("--reference-class", type=click.Choice(CLASSES), help="Class of its wire, while it is new."),
        click.option("--readings", type=a_file, help="CSV typed in: reference,sensor in place of a run."),
        click.option("--second-log", metavar="RUN", help="Run in which the reference was logged, with its own clock."),
        click.option("--distance-mm", type=Finite(min=0), help="Between the two tips.  [default: 10]"),
        click.option("--gradient", type=Finite(min=0), help="Furnace, degrees per mm.  [default: 0.1 °C]"),
        click.option(
            "--meter-accuracy", type=Finite(min=0), help="The reference's readout: half-width, cold junction in."
        ),
        click.option("--meter-percent", type=Finite(0, 20), help="More of it, in percent of the reading."),
        click.option("--cold-junction", type=Finite(min=0), help="Half-width of its error.  [default: 0.5 °C]"),
        click.option("--minutes", type=Finite(min=2), default=10.0, show_default=True, help="Stable for."),
        click.option("--drift", type=Finite(min=0, min_open=True), help="Per hour at most.  [default: 6 °C]"),
        click.option("--spread", type=Finite(min=0, min_open=True), help="At most.  [default: 1.5 °C]"),
    ):
        function = option(function)
    return function


def keeping_options(months: int) -> Callable[[F], F]:
    """Options of what goes into the log book: date, due date, note, or nothing at all."""

    def wrap(function: F) -> F:
        for option in (
            click.option("--date", "day", metavar="DAY", help="Day it was done.  [default: the run's, else today]"),
            click.option("--due", metavar="DAY", help=f"Day it falls due.  [default: {months} months later]"),
            click.option("--note", default="", help="Anything else."),
            click.option("--no-entry", is_flag=True, help="Only show it; enter nothing in the log book."),
        ):
            function = option(function)
        return function

    return wrap


def report_place(run: Run | None, name: str) -> Path | None:
    """Chart of an entry in the run's ``reports``, outside its seal; None where that cannot be."""
    if run is None:
        return None
    folder = run.path / "reports"
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        say(f"No chart: {folder} cannot be made ({error.strerror}). Give --chart FILE.", err=True)
        return None
    return folder / f"{name}.svg"


def limits_of(minutes: float, drift: float | None, spread: float | None, unit: str | None) -> StretchLimits:
    """Limits of a stable stretch."""
    from soakwitness.analysis.calibration.measured_pairs.stretches import StretchLimits

    default = StretchLimits()
    drift_c, spread_c = to_kelvin(drift, unit), to_kelvin(spread, unit)
    return StretchLimits(
        minutes,
        default.drift_c_per_h if drift_c is None else drift_c,
        default.spread_c if spread_c is None else spread_c,
    )


def open_pair(run: str, logbook: Path, *, reference: str | None, sensor: str, second: str | None) -> tuple[Run, Pair]:
    """Open the run (and the second log) and take the two sensors."""
    from soakwitness.analysis.calibration.from_run import pair_in_run, pair_of_logs
    from soakwitness.analysis.record.run import open_run

    if reference is None:
        raise WrongUse("say which sensor is the reference: --reference NAME.")
    opened = open_run(find_run(run, logbook))
    if second is None:
        return opened, pair_in_run(opened, reference=reference, sensor=sensor)
    other = open_run(find_run(second, logbook))
    return opened, pair_of_logs(opened, other, reference=reference, sensor=sensor)


@dataclass(frozen=True)
class Compared:
    """Sensor against reference: the points, and the run and traces they are from (None for typed readings)."""

    found: Calibration
    run: Run | None
    pair: Pair | None
    furnace: str | None
    sensor: str
    typed: tuple[tuple[str, float, float], ...] = ()
    method: str = "by eye"


def compare(run: str | None, logbook: Path, unit: Unit | None, given: Mapping[str, Any]) -> Compared:
    """Compare a sensor with a reference as the options of ``comparison_options`` say."""
    from soakwitness.analysis.calibration.correcting.calibrating import calibrate, calibrate_readings
    from soakwitness.analysis.calibration.from_run import comparing_of

    if (run is None) == (given["readings"] is None):
        raise WrongUse("give a RUN, or --readings FILE; one of them.")
    opened, pair = None, None
    if run is not None:
        names = {name: given[name] for name in ("reference", "sensor")}
        opened, pair = open_pair(run, logbook, **names, second=given["second_log"])
    done_on = days_of(given["day"], None, 0, opened)[0]
    reference = _reference(pair.reference if pair else None, given, unit, done_on)
    readings = () if given["readings"] is None else typed_readings(given["readings"], unit)
    comparing = comparing_of(
        pair,
        readings=readings,
        meter=(to_kelvin(given["meter_accuracy"] or 0.0, unit), given["meter_percent"] or 0.0),
        distance_mm=given["distance_mm"],
        gradient_c_per_mm=to_kelvin(given["gradient"], unit),
        cold_junction_c=to_kelvin(given["cold_junction"], unit),
    )
    if pair is None:
        found = calibrate_readings(readings, reference, comparing)
        if given["furnace"] is None and not given["no_entry"]:
            raise WrongUse("readings name no furnace: give --furnace NAME, or --no-entry.")
        typed = tuple((one.at, one.reference_c, one.sensor_c) for one in readings)
        return Compared(found, None, None, given["furnace"], given["sensor"], typed)
    limits = limits_of(given["minutes"], given["drift"], given["spread"], unit)
    method = "run" if pair.alignment is None else "two logs"
    found = calibrate(pair.t_s, pair.reference_c, pair.sensor_c, reference, comparing, limits=limits)
    return Compared(found, opened, pair, opened.header.furnace_name if opened else None, pair.sensor.name, (), method)


def typed_readings(file: Path, unit: Unit | None) -> tuple[PairReading, ...]:
    """Readings of a typed sheet; where no unit was said and they look like °F, the unit is asked for."""
    from soakwitness.analysis.calibration.measured_pairs.paired_readings import load_readings

    readings = load_readings(file, unit=unit or "C")
    hottest = max(readings, key=lambda r: r.reference_c).reference_c
    if unit is None and hottest > HOTTEST_C:
        raise WrongUse(
            f"{file.name}: {number(hottest)} looks like °F, no furnace here goes over {temperature(HOTTEST_C, 'C')}. "
            "Say which: --unit F, or --unit C."
        )
    return readings


def _reference(column: Column | None, given: Mapping[str, Any], unit: str | None, done_on: str) -> Reference:
    """What is known of the reference."""
    from soakwitness.analysis.calibration.from_run import reference_of
    from soakwitness.analysis.calibration.measured_pairs.reference import load_certificate

    certificate, stated = given["certificate"], given["stated"]
    wire = (given["reference_type"] or (column.thermocouple if column else None), given["reference_class"])
    if sum(one is not None for one in (certificate, stated, wire[1])) > 1:
        raise WrongUse("give one of --reference-certificate, --reference-uncertainty and --reference-class.")
    if wire[1] is not None and wire[0] is None:
        raise WrongUse("--reference-class needs the type of the wire too: --reference-type K")
    return reference_of(
        column,
        certificate=None if certificate is None else load_certificate(certificate),
        expanded_c=to_kelvin(stated, unit),
        wire=None if wire[0] is None or wire[1] is None else (wire[0], wire[1]),
        done_on=done_on,
    )


def days_of(day: str | None, due: str | None, months: int, run: Run | None) -> tuple[str, str]:
    """Day it was done and day it falls due."""
    from soakwitness.analysis.record.moments import add_months, local_day, read_day

    if day is not None:
        done = read_day(day)
    elif run is not None:
        done = local_day(run.header.started_utc, run.header.zone)
    else:
        done = datetime.now().astimezone().date().isoformat()
    falls_due = add_months(done, months) if due is None else read_day(due)
    if falls_due < done:
        raise WrongUse(f"--due {due} is before the day it was done, {done}.")
    return done, falls_due
