"""``soakwitness sensor``: thermocouples, their lives and corrections, and what is wrong with one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.commands.calibration_record import apply, calibration
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
    take_in_runs,
    why_option,
    zone_option,
)
from soakwitness.cli.options.known_furnaces import known_furnace, new_furnace_option
from soakwitness.cli.options.screen import say, table
from soakwitness.cli.terminal.calibrating import CLASSES, LETTERS, a_file, limits_of, open_pair
from soakwitness.cli.words.sensor_words import heat_words, kept_calibration_words, life_words
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import difference, number, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.diagnosing.diagnosis import Diagnosis
    from soakwitness.analysis.calibration.diagnosing.typed_faults import TypedFaults
    from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading

ROLES = ("control", "recording", "load", "reference", "survey", "ambient", "over-temperature")
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
    """Thermocouples and their lives: fitted, list, calibration, apply, withdraw, diagnose.

    Example: soakwitness sensor diagnose --example reversed
    """


sensor.add_command(calibration)
sensor.add_command(apply)


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
@click.option("--diameter-mm", type=Finite(0, 50, min_open=True), help="Of the wire or sheath: thin ones drift more.")
@click.option("--cut", is_flag=True, help="The same thermocouple, cut back and joined anew.")
@click.option("--role", type=click.Choice(ROLES), help="What it is for.")
@new_furnace_option
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
        "diameter_mm": given["diameter_mm"],
        "cuts": None,
    }
    with open_book(logbook, create=True) as book:
        take_in_runs(book, new_stamp(given["by"]))
        furnace = known_furnace(book, furnace, new=given["new_furnace"])
        before = sensor_life_on(book, furnace, name, fitted_utc)
        if before is not None:
            another = given["serial"] is not None and given["serial"] != before.serial
            facts["cuts"] = 0 if another else None
            facts = {key: getattr(before, key) if value is None else value for key, value in facts.items()}
        if given["cut"]:
            facts["cuts"] = (facts["cuts"] or 0) + 1
        entry = fit_sensor(
            book, furnace, name, fitted_utc=fitted_utc, stamp=new_stamp(given["by"]), note=given["note"], **facts
        )
        (life,) = (one for one in sensor_lives(book, furnace, name) if one.entry == entry)
    say(f"Sensor life {life_words(life, given['zone'], given['unit'] or 'C')}.")
    if before is not None:
        say(
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
    """List sensor lives: heats, hours hot and cuts, and their calibrations, those withdrawn included.

    Example: soakwitness sensor list
    """
    from soakwitness.analysis.logbook.sensors import calibrations, sensor_lives
    from soakwitness.analysis.run_inputs.corrections_in_force import hours_left_of, life_heats

    with open_book(logbook) as book:
        take_in_runs(book, new_stamp(None))
        lives = sensor_lives(book, furnace)
        kept = {life.entry: calibrations(book, life.entry, withdrawn=True) for life in lives}
        hot = {life.entry: life_heats(book, life) for life in lives}
        now_utc = new_stamp(None).at_utc
        left = {life.entry: hours_left_of(book, life, at_utc=now_utc, zone=zone) for life in lives}
    if as_json:
        print_json(
            [
                {
                    **vars(life),
                    **vars(hot[life.entry]),
                    "hours_left_above_950": left[life.entry],
                    "calibrations": [vars(c) for c in kept[life.entry]],
                }
                for life in lives
            ]
        )
        return
    if not lives:
        say("No sensor life is on record. Enter one with: soakwitness sensor fitted", err=True)
    for life in lives:
        say(life_words(life, zone, unit or "C"))
        say(f"  {heat_words(life, hot[life.entry], left[life.entry], unit or 'C')}")
        for one in kept[life.entry]:
            say(f"  {kept_calibration_words(one, unit or 'C')}")


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
    say(f"Calibration {calibration} is withdrawn.")


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
        say(f"Counted too: no number at {temperature(lost.reference_c, unit or 'C')}.")


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
    """Print for people: the cause, the next test with what each cause would show in it, then the figures."""
    if found.cause is not None:
        say(f"Most likely: {found.cause}.")
    elif not found.between:
        says = found.says.text(unit)
        say(says[:1].upper() + says[1:])
    else:
        say(f"Cannot tell between: {', '.join(found.between)}.")
    if found.test is not None:
        say(f"Next, tells most: {found.test.do}")
        for cause, seen in found.outcomes().items():
            say(f"  {cause}: {seen}.", hang=2)
    elif found.cause is not None:
        say(f"Next: {found.candidates[0].next}")
    say(f"\n{table(_candidate_rows(found, pairs, unit))}\n")
    rows = [[f"reference (°{unit})", "shown", "error"]]
    for pair in pairs:
        error = difference(pair.sensor_c - pair.reference_c, unit, signed=True)
        shown = (number(from_celsius(temp_c, unit)) for temp_c in (pair.reference_c, pair.sensor_c))
        rows.append([*shown, error.removesuffix(f" °{unit}")])
    say(table(rows))


def _candidate_rows(found: Diagnosis, pairs: tuple[PairReading, ...], unit: Unit) -> list[list[str]]:
    """A row a cause: how likely, how large, its error where it is hottest, what it leaves unexplained."""
    hottest = max(range(len(pairs)), key=lambda i: pairs[i].reference_c, default=None)
    there = "each" if hottest is None else temperature(pairs[hottest].reference_c, unit)
    rows = [["", "cause", "probability", "would be", f"error at {there}", "misses by"]]
    for place, one in enumerate(found.candidates[:5], 1):
        error = float("nan") if hottest is None else one.error_c[hottest]
        misfit = one.misfit_c
        rows.append(
            [
                str(place),
                one.cause,
                f"{one.probability:.2f}" if one.probability >= 0.005 else "< 0.01",
                one.size.text(unit) or "-",
                difference(error, unit, signed=True) if error == error else "out of range",
                difference(misfit, unit) if misfit == misfit else "-",
            ]
        )
    return rows
