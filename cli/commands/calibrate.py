"""``soakwitness calibrate``: find a sensor's correction against a reference."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    Finite,
    WrongUse,
    check_output,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import by_option, new_stamp, open_book, table, take_in_runs
from soakwitness.cli.options.known_furnaces import known_furnace, new_furnace_option
from soakwitness.cli.terminal.calibrating import (
    CHARTS,
    Compared,
    a_file,
    budget_lines,
    compare,
    comparison_options,
    days_of,
    keeping_options,
    report_place,
)
from soakwitness.cli.terminal.following import follow
from soakwitness.cli.words.calibration_words import (
    clock_words,
    correction_rows,
    dominated_words,
    doubts,
    due_words,
    point_rows,
    range_words,
    stable_words,
)
from soakwitness.firmware_bridge.common.units import Unit, to_kelvin
from soakwitness.firmware_bridge.common.wording import Says, counted, difference, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.from_run import Pair
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.run_inputs.keeping_calibrations import BesideTheBook

MONTHS = 12
FAULT_C = 25.0  # an error beyond this is a fault to find rather than one to correct; over three times class 2 at 1100


@click.command()
@click.argument("run", required=False)
@comparison_options
@click.option("--furnace", help="Name of the furnace, for --readings without a run.")
@new_furnace_option
@click.option("--ask", is_flag=True, help="By eye: be asked for everything, line by line.")
@click.option("--sheet", type=a_file, help="Where --ask writes the readings.  [default: readings-DAY.csv]")
@click.option("--bench", is_flag=True, help="Not in its place in the furnace: of new or noble wire only.")
@click.option("--adjusted", is_flag=True, help="Made after adjusting; else as found.")
@click.option("--filter", help="Filter set in the instrument, for the record.")
@click.option("--plugs-tried", is_flag=True, help="A tip was warmed in the hand: each plug is known to be its own.")
@click.option("--drift-base", type=Finite(0, 50), help="Drift assumed in a year, half-width.  [default: by the wire]")
@click.option("--drift-per-100h", type=Finite(0, 100), help="More for 100 h above 950 °C.  [default: by the wire]")
@click.option("--from", "from_day", metavar="DAY", help="Counts from this earlier day on purpose; say --why.")
@click.option("--why", help="The reason for --from.")
@click.option("--follow", is_flag=True, help="During a live run: say when it is stable and what to do next.")
@click.option(
    "--at", "wanted", type=Finite(-460, 5000), multiple=True, metavar="TEMP", help="Planned temperature, for --follow."
)
@click.option("--every", type=Finite(min=1), default=15.0, show_default=True, help="Seconds, for --follow.")
@click.option("--chart", type=a_file, help="Draw errors and correction: .png, .svg or .pdf.")
@keeping_options(MONTHS)
@by_option
@unit_option
@json_option
@force_option
@logbook_option
def calibrate(run: str | None, logbook: Path, unit: Unit | None, as_json: bool, **given: Any) -> None:
    """Find a sensor's correction against a reference.

    RUN is a run in which both were logged; or the reference was logged elsewhere (--second-log), or the readings were
    written down (--readings). Stable stretches are found by themselves. The correction goes into the log book.

    All numbers typed, and those of --readings, are in --unit (C where none is given).

    Example: soakwitness calibrate sample_logs/calibration/run --reference reference --no-entry
    """
    chart, given["unit"] = given["chart"], unit
    if chart is not None:
        check_output(chart, force=given["force"], suffixes=CHARTS)
    if (given["from_day"] is None) != (given["why"] is None):
        raise WrongUse("--from and --why belong together: from which day it counts, and why.")
    if given["ask"]:
        unit = _ask(run, unit, given)
    if given["follow"]:
        follow(run, logbook, unit, given)
    made = compare(run, logbook, unit, given)
    correction = _correction(made, given)
    _stop_at_a_fault(made, unit or "C", enter=not given["no_entry"])
    beside, correction = _beside(logbook, correction, made, given)
    said = doubts(made.found, beside, plugs_tried=given["plugs_tried"])
    answer = _answer(made, correction) | {
        "kind": beside.kind if beside else "calibration",
        "doubts": [str(words) for words in said],
    }
    before = beside.before if beside else None
    if not given["no_entry"]:
        assert beside is not None
        answer["entry"] = _enter(logbook, correction, made, beside, given)
        chart = chart or report_place(made.run, f"calibration-{answer['entry']['calibration']}")
    if chart is not None:
        from soakwitness.cli.charts.calibration_chart import draw_calibration

        draw_calibration(chart, made.found, correction, pair=made.pair, before=before, unit=unit or "C")
    if as_json:
        print_json(answer)
    else:
        _show(made.found, correction, made.pair, unit or "C")
        _tell(said, unit or "C")
        _tell_entry(answer.get("entry"), correction, chart, due_words(beside, unit or "C"))


def _ask(run: str | None, unit: Unit | None, given: dict[str, Any]) -> Unit:
    """Be asked for the readings; with a run or a sheet there is nothing to ask."""
    from soakwitness.cli.terminal.asking import ask_for_readings

    if run is not None or given["readings"] is not None:
        raise WrongUse("--ask asks for the readings: leave out RUN and --readings.")
    day = days_of(given["day"], None, 0, None)[0]
    shown = ask_for_readings(given, unit, sheet=given["sheet"] or Path(f"readings-{day}.csv"))
    given["unit"] = shown
    return shown


def _correction(made: Compared, given: dict[str, Any]) -> Correction:
    """Correction with furnace, sensor, days and who did it."""
    from soakwitness.analysis.calibration.correcting.calibrating import correction_of

    done, due = days_of(given["day"], given["due"], MONTHS, made.run)
    unit = given["unit"]
    drift = {"base_c": to_kelvin(given["drift_base"], unit), "per_100_h_c": to_kelvin(given["drift_per_100h"], unit)}
    made_from = correction_of(
        made.found,
        furnace=made.furnace or "",
        sensor=made.sensor,
        done_on=done,
        due_on=due,
        done_by=new_stamp(given["by"]).by,
    )
    by_hand = {key: value for key, value in drift.items() if value is not None}
    return replace(made_from, drift=by_hand) if by_hand else made_from


def _stop_at_a_fault(made: Compared, unit: Unit, *, enter: bool) -> None:
    """Enter no error that is too large to be corrected away; without an entry it is only said."""
    worst = max((point.error_c for point in made.found.points), key=abs)
    if abs(worst) <= FAULT_C:
        return
    says = (
        f"An error of {difference(worst, unit, signed=True)} is a fault rather than something to correct "
        f"({difference(abs(worst) - FAULT_C, unit)} over what is taken): plugs swapped, a wrong type, a lead. "
        "Find it first: soakwitness sensor diagnose, with the same readings."
    )
    if enter:
        raise WrongUse(f"{says} To see the figures anyway: --no-entry")
    click.echo(says, err=True)


def _moment(made: Compared, correction: Correction) -> str:
    """When it was made: the run's start; of typed readings the end of their day, when what was fitted on it is in."""
    from soakwitness.analysis.record.moments import moment_of

    return made.run.header.started_utc if made.run else moment_of(correction.done_on)


def _begin_of_day(made: Compared, correction: Correction) -> str | None:
    """From when a sensor life counts that is begun with typed readings: a run of that day is judged with them."""
    from soakwitness.analysis.record.moments import read_moment
    from soakwitness.firmware_bridge.common.zones import computer_zone

    return None if made.run else read_moment(f"{correction.done_on}T00:00", zone=computer_zone())


def _beside(
    logbook: Path, correction: Correction, made: Compared, given: dict[str, Any]
) -> tuple[BesideTheBook | None, Correction]:
    """How it stands to what the log book has, and the day it falls due by that; furnace names are looked up there."""
    from soakwitness.analysis.logbook.copies import DATABASE
    from soakwitness.analysis.run_inputs.keeping_calibrations import beside_the_book, with_due

    if given["no_entry"] and not (logbook / DATABASE).exists():
        return None, correction
    with open_book(logbook, create=True) as book:
        if not given["no_entry"]:
            take_in_runs(book, new_stamp(given["by"]))
        if made.run is None and correction.furnace:
            name = known_furnace(book, correction.furnace, new=given["new_furnace"] or given["no_entry"])
            correction = replace(correction, furnace=name)
        zone = made.run.header.zone if made.run else None
        wire = made.found.comparing.sensor_type
        beside = beside_the_book(book, correction, at_utc=_moment(made, correction), zone=zone, wire=wire)
        if given["bench"]:
            _refuse_a_used_one(book, correction, made, beside)
    return beside, correction if given["due"] else with_due(correction, beside.due)


def _refuse_a_used_one(book: LogBook, correction: Correction, made: Compared, beside: BesideTheBook) -> None:
    """A used base-metal thermocouple reads by where its gradient lies: on a bench it is another one."""
    from soakwitness.analysis.calibration.correcting.ageing import NOBLE_TYPES
    from soakwitness.analysis.logbook.calibration_records import heats_of
    from soakwitness.analysis.logbook.sensors import sensor_life_on

    at_utc = _moment(made, correction)
    life = sensor_life_on(book, correction.furnace, correction.sensor, at_utc)
    if life is None or life.thermocouple in NOBLE_TYPES:
        return
    heats = heats_of(book, life.furnace, life.sensor, after_utc=life.fitted_utc, before_utc=at_utc)
    if heats.heats:
        raise WrongUse(
            f"{correction.sensor} has {counted(heats.heats, 'heat')} behind it: a used base-metal thermocouple that is "
            "moved to a bench proves nothing, its error lies where its gradient was. Calibrate it in its place, at the "
            "same depth, with the reference's tip beside its own."
        )


def _enter(
    logbook: Path, correction: Correction, made: Compared, beside: BesideTheBook, given: dict[str, Any]
) -> dict[str, Any]:
    """Put the correction and how it was made into the log book."""
    from soakwitness.analysis.logbook.calibration_records import apply_from
    from soakwitness.analysis.run_inputs.keeping_calibrations import keep_calibration

    stamp = new_stamp(given["by"])
    with open_book(logbook, create=True) as book, book.writing(stamp):
        kept = keep_calibration(
            book,
            made.found,
            correction,
            beside,
            _about(correction, made, given),
            at_utc=_moment(made, correction),
            stamp=stamp,
            begins_utc=_begin_of_day(made, correction),
            column=made.pair.sensor if made.pair else None,
            run=made.run.header.run if made.run else None,
            note=given["note"],
        )
        if given["from_day"] is not None:
            apply_from(book, kept.entry, day=given["from_day"], why=given["why"], stamp=stamp)
    if kept.begun and kept.before_utc:
        click.echo(
            f"The sensor life of {correction.sensor} on record began later, on {kept.before_utc[:10]}: one that ends "
            "there was begun with this calibration.",
            err=True,
        )
    elif kept.begun:
        click.echo(
            f"No sensor life of {correction.sensor} was on record: one was begun with this calibration. "
            f"When the thermocouple is changed: soakwitness sensor fitted {correction.sensor}",
            err=True,
        )
    return {"calibration": kept.entry, "life": kept.life, "life_begun": kept.begun, "kind": beside.kind}


def _about(correction: Correction, made: Compared, given: dict[str, Any]) -> dict[str, Any]:
    """Who, when, where and with what, for the record."""
    from importlib.metadata import version

    alignment = made.pair.alignment if made.pair else None
    return {
        "furnace": correction.furnace,
        "sensor": correction.sensor,
        "done_on": correction.done_on,
        "done_by": correction.done_by,
        "made_utc": _moment(made, correction),
        "zone": made.run.header.zone if made.run else None,
        "run": made.run.header.run if made.run else None,
        "method": "by eye" if made.run is None else "run" if alignment is None else "two logs",
        "software": f"soakwitness {version('soakwitness')}",
        "as_found": not given["adjusted"],
        "place": "on a bench" if given["bench"] else "in its place, at the same depth",
        "plugs_tried": given["plugs_tried"],
        "instrument_filter": given["filter"],
        "columns": {}
        if made.pair is None
        else {"sensor": vars(made.pair.sensor), "reference": vars(made.pair.reference)},
        "typed": [list(row) for row in made.typed],
        "alignment": dict(vars(alignment)) if alignment else None,
    }


def _answer(made: Compared, correction: Correction) -> dict[str, Any]:
    """Answer for programs."""
    from soakwitness.analysis.calibration.correcting.correction import correction_to_dict

    found, alignment = made.found, made.pair.alignment if made.pair else None
    return {
        "schema": "soakwitness/calibrate/1",
        "furnace": correction.furnace,
        "sensor": correction.sensor,
        "reference": str(found.reference.says),
        "limits": found.limits.as_dict() if found.limits else None,
        "comparing": found.comparing.as_dict(),
        "alignment": dict(vars(alignment)) if alignment else None,
        "points": [point.as_dict() for point in found.points],
        "left_out": [str(words) for words in found.left_out],
        "correction": correction_to_dict(correction),
        "entry": None,
    }


def _show(found: Calibration, correction: Correction, pair: Pair | None, unit: Unit) -> None:
    """Print for people."""
    furnace, against = correction.furnace or "a furnace not named", found.reference.says.text(unit)
    click.echo(f"{correction.sensor} of {furnace}, against {against}")
    for words in (*clock_words(pair), *stable_words(found, unit)):
        click.echo(words)
    click.echo(table(point_rows(found, unit)))
    for left in found.left_out:
        click.echo(left.text(unit))
    for number, point in enumerate(found.points, 1):
        click.echo(f"\nBudget of point {number}, {temperature(point.reference_c, unit)} (in the manner of EA-4/02):")
        click.echo(table(budget_lines(point, unit), indent="  "))
        if (dominated := dominated_words(point.budget)) is not None:
            click.echo(f"  {dominated}")
    click.echo(f"\nCorrection, to be added to the reading. {correction.why[:1].upper()}{correction.why[1:]}.")
    click.echo(table(correction_rows(correction, unit), indent="  "))
    click.echo(range_words(correction, unit))


def _tell(said: list[Says], unit: Unit) -> None:
    """Say what may be doubted."""
    for words in said:
        click.echo(f"- {words.text(unit)}")


def _tell_entry(entry: dict[str, Any] | None, correction: Correction, chart: Path | None, due: str) -> None:
    """Say what was kept and drawn."""
    if entry is not None:
        due_on = f", due {correction.due_on}{due}"
        click.echo(
            f"Entered as {entry['kind']} {entry['calibration']} of sensor life {entry['life']}, "
            f"done {correction.done_on} by {correction.done_by}{'' if entry['kind'] == 'check' else due_on}."
        )
        click.echo(f"Its record: soakwitness sensor calibration {entry['calibration']} --out record.pdf")
    if chart is not None:
        click.echo(f"Chart: {chart}")
