"""``soakwitness accuracy``: test the control sensor's chain against a reference at one temperature."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    Finite,
    WrongUse,
    check_output,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import by_option, new_stamp, open_book
from soakwitness.cli.options.screen import say, table
from soakwitness.cli.terminal.calibrating import (
    Compared,
    a_file,
    compare,
    comparison_options,
    days_of,
    keeping_options,
    report_place,
)
from soakwitness.cli.terminal.survey_inputs import corrections_of, counting
from soakwitness.firmware_bridge.common.units import Unit, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import difference, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.accuracy import AccuracyTest
    from soakwitness.analysis.calibration.correcting.calibrating import Calibration
    from soakwitness.analysis.calibration.correcting.correction import Correction
    from soakwitness.analysis.logbook.sensors import Check, SensorLife

MONTHS = 3
EXIT_STATUS = {"pass": 0, "fail": 3, "not proven": 4}


@click.command()
@click.argument("run", required=False)
@comparison_options
@click.option("--furnace", help="Name of the furnace, for --readings and --history without a run.")
@click.option(
    "--at", "at", type=Finite(-460, 5000), help="Temperature to test at.  [default: the longest stable stretch]"
)
@click.option("--limit", type=Finite(min=0), help="Largest difference.  [default: 3 °C, a setting]")
@click.option("--percent", type=Finite(min=0), default=0.0, help="Or this share of the temperature in °C.")
@click.option("--guard", type=Finite(0, 3), default=1.0, show_default=True, help="Guard band in U.")
@click.option("--all", "everything", is_flag=True, help="Say everything: the rule, the probability, the budget.")
@click.option("--exit-zero", is_flag=True, help="Exit status 0 whatever the verdict, for scripts.")
@click.option("--history", is_flag=True, help="Only show the tests of the sensor so far (with --chart: draw them).")
@click.option("--chart", type=a_file, help="Draw the history: .png, .svg or .pdf.")
@keeping_options(MONTHS)
@by_option
@unit_option
@json_option
@force_option
@logbook_option
def accuracy(run: str | None, logbook: Path, unit: Unit | None, as_json: bool, **given: Any) -> int:
    """Test the control sensor's whole chain against a reference at one temperature.

    Pass if the difference is inside the limit by a guard band of U, fail if it is outside by as much, else not proven.
    What counts is what the controller shows: a correction in the log book does not move the furnace. What it would
    leave is shown beside. The run that a calibration was made from is no test of its own. Exit status: 0 pass, 3 fail,
    4 not proven, 2 wrong use or a wrong file.

    All numbers typed, and those of --readings, are in --unit (C where none is given).

    Example: soakwitness accuracy sample_logs/calibration/run --reference reference --no-entry
    """
    chart = given["chart"]
    if chart is not None:
        check_output(chart, force=given["force"], suffixes=CHART_ENDINGS)
    if given["history"]:
        if given["furnace"] is None:
            raise WrongUse("--history needs --furnace NAME.")
        _history(logbook, given["furnace"], given["sensor"], unit or "C", as_json)
        if chart is not None:
            _draw(logbook, given["furnace"], given["sensor"], chart, unit or "C", as_json)
        return 0
    if chart is not None and given["no_entry"]:
        raise WrongUse("--chart draws the tests in the log book: leave out --no-entry, or ask for --history.")
    made = compare(run, logbook, unit, given)
    _refuse_own_run(logbook, made, entering=not given["no_entry"])
    done, due = days_of(given["day"], given["due"], MONTHS, made.run)
    result = _judged(made.found, _valid(logbook, made, done, unit), unit, given)
    answer: dict[str, Any] = {"schema": "soakwitness/accuracy/1", "furnace": made.furnace, "sensor": made.sensor}
    answer |= {"done_on": done, "due_on": due, **result.as_dict(), "entry": None}
    if not given["no_entry"]:
        answer["entry"] = _enter(logbook, made, result, done, due, given)
        chart = chart or report_place(made.run, f"accuracy-{answer['entry']}")
    if as_json:
        print_json(answer)
    else:
        _show(result, made, unit or "C", every=given["everything"])
        if answer["entry"] is not None:
            say(f"Entered as accuracy test {answer['entry']}, done {done}, due {due}.")
    if chart is not None and made.furnace is not None:
        _draw(logbook, made.furnace, made.sensor, chart, unit or "C", as_json)
    return 0 if given["exit_zero"] else EXIT_STATUS[result.decision.verdict]


def _refuse_own_run(logbook: Path, made: Compared, *, entering: bool) -> None:
    """The readings a calibration was made from test nothing: they are not entered as a test."""
    from soakwitness.analysis.logbook.copies import DATABASE
    from soakwitness.analysis.logbook.sensors import calibrations_from_run

    if made.run is None or made.furnace is None or not (logbook / DATABASE).exists():
        return
    with open_book(logbook) as book:
        made_from = calibrations_from_run(book, made.run.header.run, made.furnace, made.sensor)
    if not made_from:
        return
    says = f"calibration {made_from[-1]} of {made.sensor} was made from this very run, so it is no test of its own"
    if entering:
        raise WrongUse(f"{says}. Record another hold with the reference, or look at this one with --no-entry.")
    say(f"{says[:1].upper()}{says[1:]}: shown, not entered.", err=True)


def _judged(
    found: Calibration, correction: Correction | None, unit: Unit | None, given: dict[str, Any]
) -> AccuracyTest:
    """Hold the difference against the limit."""
    from soakwitness.analysis.calibration.correcting.accuracy import LIMIT_C, AccuracyLimit, accuracy_test

    limit_c = to_kelvin(given["limit"], unit)
    limit = AccuracyLimit(
        LIMIT_C if limit_c is None else limit_c,
        given["percent"],
        "setting of this program" if limit_c is None and not given["percent"] else "given",
    )
    return accuracy_test(found, limit, at_c=to_celsius(given["at"], unit), correction=correction, guard=given["guard"])


def _valid(logbook: Path, made: Compared, day: str, unit: Unit | None) -> Correction | None:
    """Correction as it counted then, U grown since it was made."""
    from soakwitness.analysis.logbook.copies import DATABASE
    from soakwitness.analysis.logbook.sensors import calibration_valid_on
    from soakwitness.analysis.record.moments import moment_of
    from soakwitness.analysis.run_inputs.corrections_in_force import in_force

    if made.furnace is None or not (logbook / DATABASE).exists():
        return None
    if made.run is not None and made.pair is not None:
        return corrections_of(made.run, logbook, unit, [made.pair.sensor]).get(made.sensor)
    with open_book(logbook) as book:
        kept = calibration_valid_on(book, made.furnace, made.sensor, day)
        if kept is None:
            return None
        then = in_force(book, made.furnace, made.sensor, kept, at_utc=moment_of(day), zone=None)
    return counting({made.sensor: then}, day).get(made.sensor)


def _enter(logbook: Path, made: Compared, result: AccuracyTest, done: str, due: str, given: dict[str, Any]) -> int:
    """Put the test into the log book."""
    from soakwitness.analysis.logbook.sensors import add_accuracy
    from soakwitness.cli.options.common import plain

    assert made.furnace is not None  # ``compare`` refuses an entry without it
    with open_book(logbook, create=True) as book:
        return add_accuracy(
            book,
            made.furnace,
            made.sensor,
            done_on=done,
            due_on=due,
            result=plain(result.as_dict()),
            stamp=new_stamp(given["by"]),
            run=made.run.header.run if made.run else None,
            note=given["note"],
        )


def _show(result: AccuracyTest, made: Compared, unit: Unit, *, every: bool) -> None:
    """Print for people."""
    from soakwitness.cli.words.compared_words import accuracy_lines

    against = made.found.reference.says.text(unit)
    for line in accuracy_lines(result, unit, sensor=made.sensor, furnace=made.furnace, against=against, every=every):
        click.echo(line)


def _so_far(logbook: Path, furnace: str, sensor: str) -> tuple[tuple[Check, ...], tuple[SensorLife, ...]]:
    """Tests and lives of the sensor."""
    from soakwitness.analysis.logbook.sensors import accuracy_tests, sensor_lives

    with open_book(logbook) as book:
        tests = accuracy_tests(book, furnace, sensor)
        lives = sensor_lives(book, furnace, sensor)
    if not tests:
        raise WrongUse(f"there is no accuracy test of {sensor} of {furnace} in the log book.")
    return tests, lives


def _draw(logbook: Path, furnace: str, sensor: str, chart: Path, unit: Unit, as_json: bool) -> None:
    """Draw the tests so far."""
    from soakwitness.cli.charts.calibration_chart import draw_accuracy_history

    tests, lives = _so_far(logbook, furnace, sensor)
    draw_accuracy_history(chart, tests, lives, sensor=sensor, unit=unit)
    say(f"Chart: {chart}", err=as_json)


def _history(logbook: Path, furnace: str, sensor: str, unit: Unit, as_json: bool) -> None:
    """List the tests so far."""
    tests, _ = _so_far(logbook, furnace, sensor)
    if as_json:
        print_json([{"done_on": t.done_on, "due_on": t.due_on, "life": t.life, **t.result} for t in tests])
        return
    rows = [["done", "at", "difference", "U", "limit", "verdict", "life"]]
    for t in tests:
        r = t.result
        rows.append(
            [
                t.done_on,
                temperature(r["at_c"], unit),
                difference(r["difference_c"], unit, signed=True),
                difference(r["expanded_c"], unit),
                f"±{difference(r['limit_c'], unit)}",
                r["verdict"],
                str(t.life or "-"),
            ]
        )
    say(table(rows))
