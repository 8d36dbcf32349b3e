"""``soakwitness calibrate``: find a sensor's correction against a reference."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    Finite,
    WrongUse,
    check_output,
    find_run,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import by_option, new_stamp, open_book, table
from soakwitness.cli.terminal.calibrating import (
    CHARTS,
    Compared,
    a_file,
    budget_lines,
    compare,
    comparison_options,
    days_of,
    keeping_options,
    limits_of,
    open_pair,
    report_place,
)
from soakwitness.firmware_bridge.common.units import Unit, to_celsius
from soakwitness.firmware_bridge.common.wording import counted, difference, duration, moment, rate, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.calibration.from_run import Pair
    from soakwitness.analysis.calibration.guiding import Guidance
    from soakwitness.analysis.calibration.measured_pairs.stretches import StretchLimits
    from soakwitness.analysis.calibration.uncertainty.budget import Budget

MONTHS = 12
FAULT_C = 25.0  # an error beyond this is a fault to find rather than one to correct; over three times class 2 at 1100


@click.command()
@click.argument("run", required=False)
@comparison_options
@click.option("--furnace", help="Name of the furnace, for --readings without a run.")
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
    chart = given["chart"]
    if chart is not None:
        check_output(chart, force=given["force"], suffixes=CHARTS)
    if given["follow"]:
        _follow(run, logbook, unit, given)
    made = compare(run, logbook, unit, given)
    correction = _correction(made, given)
    answer = _answer(made, correction)
    before = _before(logbook, correction)
    _warn_of_a_fault(made, unit or "C")
    if not given["no_entry"]:
        answer["entry"] = _enter(logbook, correction, made, given)
        chart = chart or report_place(made.run, f"calibration-{answer['entry']['calibration']}")
    if chart is not None:
        from soakwitness.cli.charts.calibration_chart import draw_calibration

        draw_calibration(chart, made.found, correction, pair=made.pair, before=before, unit=unit or "C")
    if as_json:
        print_json(answer)
    else:
        _show(made.found, correction, made.pair, unit or "C")
        _tell_entry(answer.get("entry"), correction, chart)


def _correction(made: Compared, given: dict[str, Any]) -> Correction:
    """Correction with furnace, sensor, days and who did it."""
    from soakwitness.analysis.calibration.correcting.calibrating import correction_of

    done, due = days_of(given["day"], given["due"], MONTHS, made.run)
    return correction_of(
        made.found,
        furnace=made.furnace or "",
        sensor=made.sensor,
        done_on=done,
        due_on=due,
        done_by=new_stamp(given["by"]).by,
    )


def _warn_of_a_fault(made: Compared, unit: Unit) -> None:
    """Say that an error is too large to be corrected away."""
    worst = max((point.error_c for point in made.found.points), key=abs)
    if abs(worst) > FAULT_C:
        click.echo(
            f"An error of {difference(worst, unit, signed=True)} is a fault rather than something to correct. "
            "Find it first: soakwitness sensor diagnose, with the same readings.",
            err=True,
        )


def _before(logbook: Path, correction: Correction) -> Correction | None:
    """Correction that was valid until now, for the chart."""
    from soakwitness.analysis.logbook.calibrations import correction_on
    from soakwitness.analysis.logbook.opening import DATABASE

    if not (logbook / DATABASE).exists():
        return None
    with open_book(logbook) as book:
        return correction_on(book, correction.furnace, correction.sensor, correction.done_on)


def _enter(logbook: Path, correction: Correction, made: Compared, given: dict[str, Any]) -> dict[str, Any]:
    """Put the correction into the log book."""
    from soakwitness.analysis.logbook.calibrations import keep_correction
    from soakwitness.analysis.record.moments import moment_of

    with open_book(logbook, create=True) as book:
        kept = keep_correction(
            book,
            correction,
            at_utc=made.run.header.started_utc if made.run else moment_of(correction.done_on),
            stamp=new_stamp(given["by"]),
            column=made.pair.sensor if made.pair else None,
            run=made.run.header.run if made.run else None,
            note=given["note"],
        )
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
    return {"calibration": kept.entry, "life": kept.life, "life_begun": kept.begun}


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
    if pair is not None and pair.alignment is not None:
        a = pair.alignment
        click.echo(
            f"Second log: {a.shift_s:+.0f} s (u {a.u_s:.0f} s) onto the run's clock, "
            f"by shape (likeness {a.likeness:.3f} over {duration(a.overlap_s)})."
        )
    if found.limits is not None:
        limits = found.limits
        click.echo(
            f"Stable: {duration(60.0 * limits.minutes)} or more, drift at most "
            f"{rate(limits.drift_c_per_h, unit)}, spread at most "
            f"{difference(limits.spread_c, unit)} and the reading's step (settings)."
        )
    click.echo(table(_point_lines(found, unit)))
    for words in found.left_out:
        click.echo(words.text(unit))
    for number, point in enumerate(found.points, 1):
        click.echo(f"\nBudget of point {number}, {temperature(point.reference_c, unit)} (in the manner of EA-4/02):")
        click.echo(table(budget_lines(point, unit), indent="  "))
        if point.budget.dominant is not None:
            click.echo(f"  {point.budget.dominant.source} dominates, rectangular: {_dominated(point.budget)}.")
    _show_correction(correction, unit)


def _dominated(budget: Budget) -> str:
    """What a rectangular source that dominates does to k."""
    from soakwitness.analysis.calibration.uncertainty.budget import ALONE_BELOW

    if budget.beside_dominant <= ALONE_BELOW:
        return f"not normal, k = {budget.coverage_factor:.2f} covers 95 % (EA-4/02)"
    return "k = 2 then covers more than 95 %"


def _point_lines(found: Calibration, unit: Unit) -> list[list[str]]:
    """One line for each calibrated point."""
    rows = [["point", "from", "lasts", "truth", "reading", "error", "U", "k"]]
    for number, point in enumerate(found.points, 1):
        where = point.stretch
        rows.append(
            [
                str(number),
                moment(where.start_s) if where else "-",
                duration(60.0 * where.minutes) if where else counted(point.readings, "reading"),
                temperature(point.reference_c, unit),
                temperature(point.reading_c, unit),
                difference(point.error_c, unit, signed=True),
                difference(point.budget.expanded_c, unit),
                f"{point.budget.coverage_factor:.2f}",
            ]
        )
    return rows


def _show_correction(correction: Correction, unit: Unit) -> None:
    """Print the model and its table."""
    click.echo(f"\nCorrection, to be added to the reading. {correction.why[:1].upper()}{correction.why[1:]}.")
    rows = [["reading", "add", "U"]]
    step = max(1, len(correction.table_reading_c) // 7)
    picked = sorted({*range(0, len(correction.table_reading_c), step), len(correction.table_reading_c) - 1})
    for i in picked:
        rows.append(
            [
                temperature(correction.table_reading_c[i], unit),
                difference(correction.table_correction_c[i], unit, signed=True),
                difference(correction.table_expanded_c[i], unit),
            ]
        )
    click.echo(table(rows, indent="  "))
    span = f"{temperature(correction.low_c, unit)} to {temperature(correction.high_c, unit)}"
    click.echo(f"Outside {span} nothing is stated.")


def _tell_entry(entry: dict[str, Any] | None, correction: Correction, chart: Path | None) -> None:
    """Say what was kept and drawn."""
    if entry is not None:
        click.echo(
            f"Entered as calibration {entry['calibration']} of sensor life {entry['life']}, "
            f"done {correction.done_on} by {correction.done_by}, due {correction.due_on}."
        )
    if chart is not None:
        click.echo(f"Chart: {chart}")


def _follow(run: str | None, logbook: Path, unit: Unit | None, given: dict[str, Any]) -> None:
    """Read the open run again and again and say where the calibration stands, until the run ends or Ctrl-C."""
    from soakwitness.analysis.calibration.guiding import guide

    if run is None or given["second_log"] is not None:
        raise WrongUse("--follow needs a RUN that is being recorded, with the reference in it.")
    limits = limits_of(given["minutes"], given["drift"], given["spread"], unit)
    wanted_c = [to_celsius(value, unit) or 0.0 for value in given["wanted"]]
    path, said = str(find_run(run, logbook)), ""
    click.echo("Following the run. Ctrl-C ends this and gives the result.", err=True)
    try:
        while True:
            opened, pair = open_pair(path, logbook, reference=given["reference"], sensor=given["sensor"], second=None)
            steps_c = (pair.reference_resolution_c, pair.sensor_resolution_c)
            now = guide(pair.t_s, pair.reference_c, pair.sensor_c, limits, wanted_c=wanted_c, resolutions_c=steps_c)
            words = _guidance(now, limits, bool(wanted_c), unit or "C")
            if words != said:
                click.echo(f"{moment(float(pair.t_s[-1]) if pair.t_s.size else 0.0)}  {words}", err=True)
                said = words
            if opened.check.sealed:
                return
            time.sleep(given["every"])
    except KeyboardInterrupt:
        click.echo(err=True)


def _guidance(now: Guidance, limits: StretchLimits, planned: bool, unit: Unit) -> str:
    """Where a calibration stands, for a person at the furnace."""
    if now.now_c is None:
        return "no readings of the reference yet."
    here = temperature(now.now_c, unit)
    if now.state == "stable":
        ahead = "go on to another temperature or end the run"
        if planned:
            ahead = "all planned temperatures are done: end the run"
        if now.next_c is not None:
            ahead = f"next, set {temperature(now.next_c, unit)}"
        return f"{here}, stable for {duration(60.0 * now.minutes)}: enough here; {ahead}."
    if now.state == "quiet":
        quiet = f"{duration(60.0 * now.minutes)} of {duration(60.0 * now.needed_minutes)}"
        return f"{here}, quiet for {quiet}: leave it, door shut."
    moving = "unsteady"
    if now.drift_c_per_h is not None:
        moving = f"moving {rate(now.drift_c_per_h, unit)}"
    target = f" (to {temperature(now.next_c, unit)})" if now.next_c is not None else ""
    return f"{here}, {moving}{target}: wait for {rate(limits.drift_c_per_h, unit)} or less."
