"""``soakwitness survey``: temperature uniformity of the work zone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    LARGEST_NUMBER,
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
from soakwitness.cli.options.entering import by_option, new_stamp, open_book
from soakwitness.cli.options.screen import read_on, say, table
from soakwitness.cli.terminal.calibrating import (
    a_file,
    days_of,
    keeping_options,
    report_place,
)
from soakwitness.cli.terminal.survey_inputs import certificates_of, corrections_of, sensors_named
from soakwitness.firmware_bridge.common.surfaces import TERMINAL
from soakwitness.firmware_bridge.common.units import Unit, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import difference, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.surveying.survey import Survey, SurveySensor
    from soakwitness.analysis.calibration.surveying.survey_limits import SurveyLimits
    from soakwitness.analysis.record.run import Run

MONTHS = 12
EXIT_STATUS = {"pass": 0, "fail": 3, "not proven": 4}


@click.command()
@click.argument("run", required=False)
@click.option("--sensors", help="Names of the survey sensors, with commas; or a role such as survey.")
@click.option("--band", type=Finite(min=0, min_open=True), help="Half-width to hold.")
@click.option("--target", type=Finite(-460, 5000), help="Target temperature.  [default: the run's setpoint]")
@click.option(
    "--certificate",
    "certificates",
    multiple=True,
    metavar="[SENSOR=]FILE",
    help="Certificate (TOML) of one sensor or of all, such as of one reel of wire. Else the log book's correction.",
)
@click.option("--logger", type=Finite(min=0, min_open=True), help="U (k = 2) of what reads them.")
@click.option("--least-minutes", type=Finite(min=0), help="Length asked for.  [default: 30]")
@click.option("--slowest-s", type=Finite(min=0), help="Seconds between readings at most.  [default: 120]")
@click.option("--least-sensors", type=click.IntRange(2, LARGEST_NUMBER), help="Sensors asked for.  [default: 5]")
@click.option("--chart", type=a_file, help="Draw the chamber with a blade at each place: .png, .svg or .pdf.")
@click.option("--all", "everything", is_flag=True, help="Say everything: what was asked, rules, other bands.")
@click.option("--exit-zero", is_flag=True, help="Exit status 0 whatever the verdict, for scripts.")
@click.option("--list", "listing", is_flag=True, help="List the surveys in the log book.")
@click.option("--show", "number", type=click.IntRange(1, LARGEST_NUMBER), help="Show this survey again.")
@click.option("--furnace", help="With --list: only this furnace.")
@keeping_options(MONTHS)
@by_option
@unit_option
@json_option
@force_option
@logbook_option
def survey(run: str | None, logbook: Path, unit: Unit | None, as_json: bool, **given: Any) -> int:
    """Survey how even the work zone is over the stable period of a run.

    Limits other than the band are those of common pyrometry practice, as values to look up in your edition: no class
    is claimed. Too few sensors, or too short, is no survey and no pass. Said are the verdict with its reason, what to
    do next and each place's readings; --all says the rest. All numbers typed are in --unit (C where none
    is given). Exit status: 0 pass, 3 fail, 4 not proven, 2 wrong use or a wrong file.

    Example: soakwitness survey sample_logs/calibration/run --sensors survey --band 8 --no-entry
    """
    from soakwitness.analysis.record.run import open_run

    chart = given["chart"]
    if chart is not None:
        check_output(chart, force=given["force"], suffixes=CHART_ENDINGS)
    if given["listing"]:
        _list(logbook, given["furnace"], unit or "C", as_json)
        return 0
    if given["number"] is not None:
        _again(logbook, given["number"], chart, unit or "C", as_json, given["everything"])
        return 0
    if run is None or given["sensors"] is None or given["band"] is None:
        raise WrongUse(
            "a survey is made of a RUN with --sensors and --band; one in the log book is shown with --show NUMBER, all "
            "are with --list."
        )
    opened = open_run(find_run(run, logbook))
    sensors = _sensors(opened, given["sensors"], given["certificates"], logbook, unit, to_kelvin(given["logger"], unit))
    found = _made(opened, sensors, unit, given)
    done, due = days_of(given["day"], given["due"], MONTHS, opened)
    answer: dict[str, Any] = {
        "schema": "soakwitness/survey/1",
        "run": opened.header.run,
        "furnace": opened.header.furnace_name,
    }
    answer |= {"done_on": done, "due_on": due, **found.as_dict(), "entry": None}
    if not given["no_entry"]:
        answer["entry"] = _enter(logbook, opened, found, done, due, given)
        chart = chart or report_place(opened, f"survey-{answer['entry']}")
    if as_json:
        print_json(answer)
    else:
        entry = answer["entry"]
        more = f"soakwitness survey --show {entry}" if entry is not None else "the same once more with"
        _show(found, opened.header.furnace_name, opened.header.run, unit or "C", every=given["everything"], more=more)
        if answer["entry"] is not None:
            say(f"Entered as survey {answer['entry']}, done {done}, due {due}.", page=True)
            measure = f"soakwitness place measure {run} --survey {answer['entry']} --work SENSORS"
            say(f"What the work's place has more or less than the control sensor: {measure}", page=True)
    if chart is not None:
        _draw(chart, found, opened, f"{opened.header.furnace_name}, {done}", unit or "C", as_json)
    return 0 if given["exit_zero"] else EXIT_STATUS[found.verdict]


def _made(opened: Run, sensors: list[SurveySensor], unit: Unit | None, given: dict[str, Any]) -> Survey:
    from soakwitness.analysis.calibration.surveying.survey import survey as make_survey

    return make_survey(
        opened.t_s,
        sensors,
        band_c=to_kelvin(given["band"], unit) or 0.0,
        target_c=to_celsius(given["target"], unit),
        setpoint_c=opened.signal("setpoint"),
        doors_s=[mark.t_s for mark in opened.marks if mark.act == "door" and not mark.struck],
        limits=_limits(given),
    )


def _draw(chart: Path, found: Survey, opened: Run | None, title: str, unit: Unit, as_json: bool) -> None:
    """Draw the chamber; the traces below it where the run is at hand."""
    from soakwitness.cli.charts.survey_chart import draw_survey

    draw_survey(chart, found, opened, title=title, unit=unit)
    say(f"Chart: {chart}", err=as_json)


def _list(logbook: Path, furnace: str | None, unit: Unit, as_json: bool) -> None:
    """The surveys in the log book, a line each."""
    from soakwitness.analysis.logbook.sensors import surveys

    with open_book(logbook) as book:
        kept = surveys(book, furnace)
    if as_json:
        print_json([vars(one) for one in kept])
        return
    if not kept:
        say("No survey is on record. Make one with: soakwitness survey RUN --sensors ... --band ...", err=True)
        return
    rows = [["number", "furnace", "done", "due", "target", "band", "fits", "sensors", "verdict"]]
    for one in kept:
        result = one.result
        rows.append(
            [
                str(one.entry),
                one.furnace,
                one.done_on,
                one.due_on or "never",
                temperature(result["target_c"], unit),
                f"±{difference(result['band_c'], unit)}",
                f"±{difference(result['corrected']['about_target_c'], unit)}",
                str(len(result["sensors"])),
                result["verdict"],
            ]
        )
    say(table(rows))


def _again(logbook: Path, number: int, chart: Path | None, unit: Unit, as_json: bool, every: bool) -> None:
    """A survey as it was made."""
    from soakwitness.analysis.calibration.surveying.kept_survey import survey_from_dict
    from soakwitness.analysis.logbook.sensors import survey_numbered
    from soakwitness.analysis.record.run import open_run

    with open_book(logbook) as book:
        kept = survey_numbered(book, number)
    found = survey_from_dict(kept.result)
    if as_json:
        print_json({**vars(kept), "schema": "soakwitness/survey/1"})
    else:
        more = f"soakwitness survey --show {number}"
        _show(found, kept.furnace, kept.run or "not on record", unit, every=every, more=more)
        by = f", entered by {kept.entered_by}" + (f": {kept.note}" if kept.note else "")
        say(f"Survey {number}, done {kept.done_on}, due {kept.due_on or 'never'}{by}.", page=True)
    if chart is not None:
        try:
            opened = None if kept.run is None else open_run(find_run(kept.run, logbook))
        except WrongUse:
            opened = None  # the run folder is elsewhere: the chamber is drawn without its traces
        _draw(chart, found, opened, f"{kept.furnace}, {kept.done_on}", unit, as_json)


def _limits(given: dict[str, Any]) -> SurveyLimits:
    """Limits, each a setting that says where it comes from."""
    from soakwitness.analysis.calibration.surveying.survey_limits import SurveyLimits

    names = {"least_minutes": "length", "slowest_s": "sampling", "least_sensors": "sensors"}
    changed = {name: given[name] for name in names if given[name] is not None}
    return replace(SurveyLimits(), **changed, given=tuple(names[name] for name in changed))


def _sensors(
    opened: Run, names: str, certificates: tuple[str, ...], logbook: Path, unit: Unit | None, logger_c: float | None
) -> list[SurveySensor]:
    """Sensors asked for, each with the best knowledge of its error."""
    from soakwitness.analysis.calibration.survey_sensors import survey_sensor

    wanted = sensors_named(opened, "--sensors", names)
    known = certificates_of(certificates, wanted, "--sensors")
    corrections = corrections_of(opened, logbook, unit)
    return [
        survey_sensor(opened, name, certificate=known.get(name), correction=corrections.get(name), logger_c=logger_c)
        for name in wanted
    ]


def _enter(logbook: Path, opened: Run, found: Survey, done: str, due: str, given: dict[str, Any]) -> int:
    """Put the survey into the log book."""
    from soakwitness.analysis.logbook.sensors import add_survey
    from soakwitness.cli.options.common import plain

    with open_book(logbook, create=True) as book:
        return add_survey(
            book,
            opened.header.furnace_name,
            done_on=done,
            due_on=due,
            result=plain(found.as_dict()),
            stamp=new_stamp(given["by"]),
            run=opened.header.run,
            note=given["note"],
        )


def _show(found: Survey, furnace: str, run: str, unit: Unit, *, every: bool, more: str = "") -> None:
    """Print for people; ``more`` is the command that says the rest."""
    from soakwitness.cli.words.survey_words import survey_lines

    for line in survey_lines(found, unit, furnace=furnace, run=run, every=every):
        click.echo(line)
    if more and not every and read_on.get() is TERMINAL:  # a page has a button for it
        say(f"All of it: {more} --all", page=True)
