"""``soakwitness sensor``: thermocouples, their lives and corrections, and what is wrong with one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    LARGEST_NUMBER,
    Finite,
    SuggestingGroup,
    WrongUse,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import (
    by_option,
    moment,
    new_stamp,
    open_book,
    shown_time,
    table,
    why_option,
    zone_option,
)
from soakwitness.cli.terminal.calibrating import LETTERS, a_file, limits_of, open_pair
from soakwitness.firmware_bridge.common.units import Unit, to_kelvin
from soakwitness.firmware_bridge.common.wording import difference, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.diagnosing.diagnosis import Diagnosis
    from soakwitness.analysis.calibration.diagnosing.typed_faults import TypedFaults
    from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
    from soakwitness.analysis.logbook.sensors import KeptCalibration, SensorLife

ROLES = ("control", "recording", "load", "reference", "survey", "ambient", "over-temperature")
CLASSES = ("1", "2", "special", "standard")
EXAMPLES = {
    "type": "wrong type set",
    "reversed": "reversed extension lead",
    "copper": "copper in place of extension lead",
    "cold-junction": "cold junction wrong",
    "offset": "plain offset",
    "drift": "drift growing with temperature",
    "unit": "degrees C and F mixed up",
    "tip": "tip pulled back",
    "wrong-lead": "wrong extension lead",
    "crossed": "thermocouple reversed",
    "head-short": "short at the head",
    "shunt": "hot shunt in the insulation",
    "resistance": "high loop resistance",
    "uneven-wire": "inhomogeneous wire",
    "place": "place difference",
    "contact": "contact that comes and goes",
}


@click.group(cls=SuggestingGroup)
def sensor() -> None:
    """Thermocouples and their lives: fitted, list, withdraw, diagnose.

    Example: soakwitness sensor diagnose --example reversed
    """


@sensor.command()
@click.argument("name", metavar="SENSOR")
@click.option("--furnace", required=True, help="Name of the furnace, as in its file.")
@click.option("--at", "at", default="now", show_default=True, help="When it was fitted.")
@click.option("--serial", help="Serial or reel number of the thermocouple.")
@click.option("--channel", help="Input of the instrument.")
@click.option("--position", help="Where the tip sits, such as 'back left top'.")
@click.option("--input-offset", type=Finite(-500, 500), help="Offset set in the instrument (a difference).")
@click.option("--type", "kind", type=click.Choice(LETTERS, case_sensitive=False), help="Thermocouple type.")
@click.option("--tolerance-class", type=click.Choice(CLASSES), help="Class of the new wire.")
@click.option("--role", type=click.Choice(ROLES), help="What it is for.")
@click.option("--note", default="", help="Anything else.")
@zone_option
@by_option
@unit_option
@logbook_option
def fitted(name: str, furnace: str, logbook: Path, **given: Any) -> None:
    """Enter that a sensor was fitted, moved, or its channel or input offset changed: a new life begins.

    The life before it ends, and with it its corrections. What is not given stays as it was. --input-offset is in
    --unit.

    Example: soakwitness sensor fitted control --furnace shed --serial K-0112 --type K --tolerance-class 1
    """
    from soakwitness.analysis.logbook.sensors import fit_sensor, sensor_life_on, sensor_lives

    fitted_utc = moment(given["at"], given["zone"])
    assert fitted_utc is not None
    facts = {
        "role": given["role"],
        "serial": given["serial"],
        "channel": given["channel"],
        "position": given["position"],
        "input_offset_c": to_kelvin(given["input_offset"], given["unit"]),
        "thermocouple": given["kind"],
        "tolerance_class": given["tolerance_class"],
    }
    with open_book(logbook, create=True) as book:
        before = sensor_life_on(book, furnace, name, fitted_utc)
        if before is not None:
            facts = {key: getattr(before, key) if value is None else value for key, value in facts.items()}
        entry = fit_sensor(
            book, furnace, name, fitted_utc=fitted_utc, stamp=new_stamp(given["by"]), note=given["note"], **facts
        )
        (life,) = (one for one in sensor_lives(book, furnace, name) if one.entry == entry)
    click.echo(f"Sensor life {_life_words(life, given['zone'], given['unit'] or 'C')}.")
    if before is not None:
        click.echo(
            f"Sensor life {before.entry} ended there; its corrections are not used from then on. "
            "What was not given is taken from it.",
            err=True,
        )


@sensor.command("list")
@click.option("--furnace", help="Only this furnace.")
@zone_option
@unit_option
@json_option
@logbook_option
def list_(furnace: str | None, zone: str | None, unit: Unit | None, as_json: bool, logbook: Path) -> None:
    """List sensor lives with their calibrations, those withdrawn included.

    Example: soakwitness sensor list
    """
    from soakwitness.analysis.logbook.sensors import calibrations, sensor_lives

    with open_book(logbook) as book:
        lives = sensor_lives(book, furnace)
        kept = {life.entry: calibrations(book, life.entry, withdrawn=True) for life in lives}
    if as_json:
        print_json([{**vars(life), "calibrations": [vars(c) for c in kept[life.entry]]} for life in lives])
        return
    if not lives:
        click.echo("No sensor life is on record. Enter one with: soakwitness sensor fitted", err=True)
    for life in lives:
        click.echo(_life_words(life, zone, unit or "C"))
        for one in kept[life.entry]:
            click.echo(f"  {_calibration_words(one, unit or 'C')}")


def _life_words(life: SensorLife, zone: str | None, unit: Unit) -> str:
    """One line about a sensor life."""
    until = f" to {shown_time(life.ended_utc, zone)}" if life.ended_utc else ", in force"
    parts = [
        ("type", life.thermocouple),
        ("class", life.tolerance_class),
        ("serial", life.serial),
        ("channel", life.channel),
        ("at", life.position),
        ("input offset", None if life.input_offset_c is None else difference(life.input_offset_c, unit, signed=True)),
    ]
    known = ", ".join(f"{name} {value}" for name, value in parts if value is not None)
    return f"{life.entry}  {life.sensor} of {life.furnace}, from {shown_time(life.fitted_utc, zone)}{until}" + (
        f": {known}" if known else ""
    )


def _calibration_words(one: KeptCalibration, unit: Unit) -> str:
    """One line about a calibration."""
    from soakwitness.analysis.calibration.correcting.correction import correction_from_dict

    correction = correction_from_dict(one.correction)
    span = f"{temperature(correction.low_c, unit)} to {temperature(correction.high_c, unit)}"
    adds = [
        difference(value, unit, signed=True)
        for value in (correction.table_correction_c[0], correction.table_correction_c[-1])
    ]
    words = f"calibration {one.entry} of {one.done_on} by {one.done_by}: {correction.model}, {span}, add {adds[0]} to "
    words += f"{adds[1]}, due {one.due_on or 'never'}"
    if one.struck_utc is not None:
        words += f"; WITHDRAWN by {one.struck_by}: {one.struck_why}"
    return words


@sensor.command()
@click.argument("calibration", type=click.IntRange(1, LARGEST_NUMBER))
@why_option
@by_option
@logbook_option
def withdraw(calibration: int, why: str, by: str | None, logbook: Path) -> None:
    """Withdraw a calibration: it is kept and named, and no longer used.

    Example: soakwitness sensor withdraw 3 --why "reference was past its own due date"
    """
    from soakwitness.analysis.logbook.sensors import withdraw_calibration

    with open_book(logbook) as book:
        withdraw_calibration(book, calibration, why=why, stamp=new_stamp(by))
    click.echo(f"Calibration {calibration} is withdrawn.")


@sensor.command()
@click.argument("run", required=False)
@click.option("--readings", type=a_file, help="CSV: reference,sensor and, if known, head,room.")
@click.option("--example", type=click.Choice(tuple(EXAMPLES)), help="A made example of one cause.")
@click.option("--reference", help="Name or role of the reference, with a RUN.")
@click.option("--sensor", "name", default="control", show_default=True, help="Name or role of the sensor, with a RUN.")
@click.option(
    "--set-to",
    type=click.Choice(LETTERS, case_sensitive=False),
    help="Type set in the instrument.  [default: the run's; else every type is tried]",
)
@click.option("--noise", type=Finite(min=0, min_open=True), help="u of one reading.  [default: 1 °C]")
@click.option("--spare", type=click.Choice(("helped", "same")), help="What a spare in the same place did to the error.")
@click.option("--drawn-out", type=Finite(-500, 500), help="What the error became other by, both drawn out by some cm.")
@unit_option
@json_option
@logbook_option
def diagnose(
    run: str | None,
    readings: Path | None,
    example: str | None,
    reference: str | None,
    name: str,
    set_to: str | None,
    noise: float | None,
    spare: str | None,
    drawn_out: float | None,
    unit: Unit | None,
    as_json: bool,
    logbook: Path,
) -> None:
    """What is wrong with this thermocouple? Causes ranked, with the size of each and the next cheap test.

    From readings against a reference at several temperatures: typed in (--readings), or the stable stretches of a RUN.
    Numbers typed, and those of --readings, are in --unit. Two readings at least; more, and farther apart, tell more. A
    moment without a number tells too: leave its sensor empty, or write "open", "under", "over". Notes are read, such as
    "jumps" or "climbing 400/h".

    Example: soakwitness sensor diagnose --example reversed
    """
    from soakwitness.analysis.calibration.diagnosing.diagnosis import NOISE_C
    from soakwitness.analysis.calibration.diagnosing.diagnosis import diagnose as find_cause
    from soakwitness.analysis.calibration.diagnosing.typed_faults import with_trials

    if sum(given is not None for given in (run, readings, example)) != 1:
        raise WrongUse("give a RUN, --readings FILE, or --example CAUSE; one of them.")
    typed, kind = _readings(run, readings, example, reference, name, unit, logbook)
    typed = with_trials(
        typed, spare_helped=None if spare is None else spare == "helped", moved_by_c=to_kelvin(drawn_out, unit)
    )
    pairs, noise_c = typed.readings, to_kelvin(noise, unit)
    found = find_cause(pairs, set_to=set_to or kind, noise_c=NOISE_C if noise_c is None else noise_c, other=typed.other)
    if as_json:
        print_json(
            {
                "schema": "soakwitness/diagnose/1",
                "set_to": set_to or kind,
                "readings": [vars(pair) for pair in pairs],
                **found.as_dict(),
            }
        )
        return
    _show(found, pairs, unit or "C")
    for lost in typed.other.lost:
        click.echo(f"Counted too: no number at {temperature(lost.reference_c, unit or 'C')}.")


def _readings(
    run: str | None,
    readings: Path | None,
    example: str | None,
    reference: str | None,
    name: str,
    unit: Unit | None,
    logbook: Path,
) -> tuple[TypedFaults, str | None]:
    """Pairs with what else the table tells, and the type that is set where it is known."""
    from soakwitness.analysis.calibration.diagnosing import examples
    from soakwitness.analysis.calibration.diagnosing.fault_evidence import OtherEvidence
    from soakwitness.analysis.calibration.diagnosing.typed_faults import TypedFaults, load_faults
    from soakwitness.analysis.calibration.from_run import readings_of

    if example is not None:
        return TypedFaults(examples.example(EXAMPLES[example]), OtherEvidence()), examples.SET_TO  # type: ignore[arg-type]
    if readings is not None:
        return load_faults(readings, unit=unit or "C"), None
    assert run is not None
    _, pair = open_pair(run, logbook, reference=reference, sensor=name, second=None)
    found = readings_of(pair, limits_of(10.0, None, None, unit))
    return TypedFaults(found, OtherEvidence()), pair.sensor.thermocouple


def _show(found: Diagnosis, pairs: tuple[PairReading, ...], unit: Unit) -> None:
    """Print for people."""
    rows = [["reference", "shown", "error"]]
    rows += [
        [
            temperature(pair.reference_c, unit),
            temperature(pair.sensor_c, unit),
            difference(pair.sensor_c - pair.reference_c, unit, signed=True),
        ]
        for pair in pairs
    ]
    click.echo(table(rows))
    click.echo("")
    if found.cause is not None:
        click.echo(f"Most likely: {found.cause}.")
    elif not found.between:
        says = found.says.text(unit)
        click.echo(says[:1].upper() + says[1:])
    else:
        click.echo(f"Cannot tell between: {', '.join(found.between)}.")
    hottest = max(range(len(pairs)), key=lambda i: pairs[i].reference_c, default=None)
    there = "each" if hottest is None else temperature(pairs[hottest].reference_c, unit)
    rows = [["", "cause", "probability", "would be", f"error at {there}", "misses by"]]
    for number, one in enumerate(found.candidates[:5], 1):
        error = float("nan") if hottest is None else one.error_c[hottest]
        misfit = one.misfit_c
        rows.append(
            [
                str(number),
                one.cause,
                f"{one.probability:.2f}" if one.probability >= 0.005 else "< 0.01",
                one.size.text(unit) or "-",
                difference(error, unit, signed=True) if error == error else "out of range",
                difference(misfit, unit) if misfit == misfit else "-",
            ]
        )
    click.echo(table(rows))
    if found.test is None:
        if found.cause is not None:
            click.echo(f"Next: {found.candidates[0].next}")
        return
    click.echo(f"Next, tells most: {found.test.do}")
    for cause, seen in found.outcomes().items():
        click.echo(f"  {cause}: {seen}.")
