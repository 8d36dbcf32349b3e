"""``soakwitness place``: what the work's place has more or less than a sensor shows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    LARGEST_NUMBER,
    Finite,
    SuggestingGroup,
    WrongUse,
    find_run,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import (
    by_option,
    furnace_named,
    moment,
    new_stamp,
    open_book,
    take_in_runs,
    why_option,
    zone_option,
)
from soakwitness.cli.options.screen import say, table
from soakwitness.cli.terminal.calibrating import days_of, keeping_options
from soakwitness.cli.terminal.survey_inputs import certificates_of, corrections_of, sensors_named
from soakwitness.cli.words.budget_words import rows_of_budget
from soakwitness.firmware_bridge.common.units import Unit, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import difference, duration, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correcting.place_difference import MeasuredPlace, PlacePoint
    from soakwitness.analysis.logbook.place_differences import KeptPlace
    from soakwitness.analysis.record.run import Run

MONTHS = 12


@click.group(cls=SuggestingGroup)
def place() -> None:
    """What the work's place has more or less than a sensor shows: measure, enter, list, end.

    A control sensor near the elements reads hot by its place, not by its error: no calibration takes that off. A place
    difference does, from the day it was found until either tip moves: verify, page, sheet and program name it apart.

    Example: soakwitness place measure sample_logs/calibration/run --work back-left-top --no-entry
    """


@place.command()
@click.argument("run", required=False)
@click.option("--survey", "survey", type=click.IntRange(1, LARGEST_NUMBER), help="Over the period of this survey.")
@click.option("--work", required=True, help="Sensors where the work stands: names with commas, or a role such as load.")
@click.option("--sensor", default="control", show_default=True, help="Sensor whose place differs: name or role.")
@click.option("--at", "at", type=Finite(-460, 5000), help="Near this temperature.  [default: the longest steady time]")
@click.option("--certificate", "certificates", multiple=True, metavar="[SENSOR=]FILE", help="Of the work's sensors.")
@click.option("--logger", type=Finite(min=0, min_open=True), help="U (k = 2) of what reads the work's sensors.")
@click.option("--work-place", default="", help="What the place is called, as in: piece charge --place.")
@keeping_options(MONTHS)
@by_option
@unit_option
@json_option
@logbook_option
def measure(run: str | None, logbook: Path, unit: Unit | None, as_json: bool, **given: Any) -> None:
    """Measure the difference in a run with a sensor at the work, or over the period of a survey.

    What counts is the longest time in which all of them stood still. Without a calibration in force the sensor's own
    error is in the difference: no correction is added to it later, and U grows by what it may drift.

    Example: soakwitness place measure sample_logs/calibration/run --work back-left-top --no-entry
    """
    from soakwitness.analysis.calibration.from_run import sensor_of
    from soakwitness.analysis.record.run import open_run

    if run is None and given["survey"] is None:
        raise WrongUse("give a RUN, or --survey NUMBER. Surveys are shown by: soakwitness survey --list")
    period_s: tuple[float, float] | None = None
    of_survey: str | None = None
    if given["survey"] is not None:
        of_survey, period_s = _of_survey(logbook, given["survey"])
    opened = open_run(find_run(run or str(of_survey), logbook))
    if of_survey is not None and opened.header.run != of_survey:
        raise WrongUse(f"--survey {given['survey']} was made in run {of_survey}, not in {opened.header.run}.")
    column, _ = sensor_of(opened, given["sensor"])
    work = sensors_named(opened, "--work", given["work"])
    if column.name in work:
        raise WrongUse(f"--work: {column.name} is the sensor whose place is in question. Name the one at the work.")
    done, due = days_of(given["day"], given["due"], MONTHS, opened)
    found, period_s = _measured(opened, logbook, column.name, work, period_s, (done, due), unit, given)
    entry = None
    if not given["no_entry"]:
        from soakwitness.analysis.logbook.place_differences import keep_place

        with open_book(logbook, create=True) as book:
            take_in_runs(book, stamp := new_stamp(given["by"]))
            entry = keep_place(
                book,
                opened.header.furnace_name,
                column.name,
                found.point,
                at_utc=opened.header.started_utc,
                stamp=stamp,
                measured=found,
                column=column,
                run=opened.header.run,
                survey=given["survey"],
            )
    if as_json:
        answer = {"schema": "soakwitness/place/1", "furnace": opened.header.furnace_name, "sensor": column.name}
        print_json({**answer, **vars(found.point), **found.as_dict(), "period_s": period_s, "entry": entry})
        return
    _show(found, column.name, period_s, unit or "C")
    if entry is not None:
        say(f"Entered as place difference {entry}, done {done}, due {due}.")


def _of_survey(logbook: Path, entry: int) -> tuple[str, tuple[float, float]]:
    """Run and period of a survey in the log book."""
    from soakwitness.analysis.logbook.sensors import survey_numbered

    with open_book(logbook) as book:
        kept = survey_numbered(book, entry)
    if kept.run is None:
        raise WrongUse(f"--survey {entry}: it names no run. Give the RUN it was made in.")
    return kept.run, (float(kept.result["start_s"]), float(kept.result["end_s"]))


def _measured(
    opened: Run,
    logbook: Path,
    sensor: str,
    work: list[str],
    period_s: tuple[float, float] | None,
    days: tuple[str, str],
    unit: Unit | None,
    given: dict[str, Any],
) -> tuple[MeasuredPlace, tuple[float, float]]:
    """The difference, and over which time."""
    from dataclasses import replace

    from soakwitness.analysis.calibration.correcting.place_difference import measure_place
    from soakwitness.analysis.calibration.survey_sensors import steady_sensors, steady_time

    source = "survey" if period_s is not None else "run"
    if period_s is None:
        period_s = steady_time(opened, (sensor, *work), at_c=to_celsius(given["at"], unit))
    control, *others = steady_sensors(
        opened,
        (sensor, *work),
        period_s,
        corrections=corrections_of(opened, logbook, unit),
        certificates=certificates_of(given["certificates"], work, "--work"),
        logger_c=to_kelvin(given["logger"], unit),
    )
    found = measure_place(control, others, source=source, done_on=days[0], due_on=days[1])  # type: ignore[arg-type]
    point = replace(found.point, work_place=given["work_place"].strip(), why=given["note"].strip())
    return replace(found, point=point), period_s


def _show(found: MeasuredPlace, sensor: str, period_s: tuple[float, float], unit: Unit) -> None:
    """Print for people."""
    point = found.point
    shows = point.at_c - point.difference_c
    truly = "shows" if point.holds_error else "is, corrected, at"
    say(
        f"At the work ({', '.join(found.work)}) it is {temperature(point.at_c, unit)}; {sensor} {truly} "
        f"{temperature(shows, unit)}, over {duration(period_s[1] - period_s[0])}."
    )
    u = difference(point.expanded_c, unit)
    say(f"Place difference {difference(point.difference_c, unit, signed=True)} ± {u}.")
    if point.holds_error:
        say(f"{sensor} has no calibration in force: its own error is in the difference, no correction is added to it.")
    say("\nBudget:")
    say(table(rows_of_budget(found.budget, unit), indent="  "))


@place.command()
@click.argument("name", metavar="SENSOR")
@click.option("--furnace", required=True, help="Name of the furnace, as in its file.")
@click.option("--at", "at", type=Finite(-460, 5000), required=True, help="Temperature of the work.")
@click.option("--difference", "by", type=Finite(-500, 500), required=True, help="Work minus sensor: -12 if it is hot.")
@click.option("--uncertainty", type=Finite(min=0, min_open=True), required=True, help="U (k = 2) of the difference.")
@click.option("--of-the-display", is_flag=True, help="It was seen against the display: its own error is in it.")
@click.option("--work-place", default="", help="What the place is called, as in: piece charge --place.")
@click.option("--date", "day", metavar="DAY", help="Day from which it counts.  [default: today]")
@click.option("--due", metavar="DAY", help=f"Day it falls due.  [default: {MONTHS} months later]")
@why_option
@click.option("--by", "who", envvar="SOAKWITNESS_USER", help="Who enters this; else the name of the computer's user.")
@unit_option
@logbook_option
def enter(name: str, furnace: str, logbook: Path, unit: Unit | None, **given: Any) -> None:
    """Enter a place difference by hand, with the reason.

    Numbers are in --unit (C where none is given). It is added to the sensor's corrected reading; with --of-the-display
    to the reading itself, and no correction besides.

    Example: soakwitness place enter control --furnace shed --at 1040 --difference -12 --uncertainty 4 --why "tip sits
    by the rear element; blade hotter paint went over at 1052 shown"
    """
    from soakwitness.analysis.calibration.correcting.place_difference import entered_place
    from soakwitness.analysis.logbook.place_differences import keep_place
    from soakwitness.analysis.record.moments import moment_of

    done, due = days_of(given["day"], given["due"], MONTHS, None)
    point = entered_place(
        to_celsius(given["at"], unit),
        to_kelvin(given["by"], unit),
        to_kelvin(given["uncertainty"], unit),
        done_on=done,
        due_on=due,
        holds_error=given["of_the_display"],
        work_place=given["work_place"].strip(),
        why=given["why"],
    )
    with open_book(logbook, create=True) as book:
        stamp = new_stamp(given["who"])
        take_in_runs(book, stamp)
        named = furnace_named(book, furnace)
        at_utc = min(moment_of(done), stamp.at_utc)
        entry = keep_place(book, named, name, point, at_utc=at_utc, stamp=stamp)
    say(f"Entered as place difference {entry} of {name}: {_words(point, unit or 'C')}.")


@place.command("list")
@click.option("--furnace", help="Only this furnace.")
@zone_option
@unit_option
@json_option
@logbook_option
def list_(furnace: str | None, zone: str | None, unit: Unit | None, as_json: bool, logbook: Path) -> None:
    """List place differences, those that ended and were struck included.

    Example: soakwitness place list
    """
    from soakwitness.analysis.logbook.place_differences import places

    with open_book(logbook) as book:
        kept = places(book, furnace, struck=True)
    if as_json:
        print_json([{**vars(one), "point": vars(one.point)} for one in kept])
        return
    if not kept:
        say("No place difference is on record. Measure one with: soakwitness place measure", err=True)
    for one in kept:
        say(_line(one, zone, unit or "C"), hang=2)


def _line(one: KeptPlace, zone: str | None, unit: Unit) -> str:
    from soakwitness.cli.options.entering import shown_time

    words = f"{one.point.entry}  {one.sensor} of {one.furnace}: {_words(one.point, unit)}, by {one.entered_by}"
    if one.struck_why is not None:
        return f"{words}; STRUCK: {one.struck_why}"
    if one.ended_utc is not None:
        return f"{words}; ended {shown_time(one.ended_utc, zone)}: {one.ended_why}"
    if one.life_ended_utc is not None:
        return f"{words}; ended {shown_time(one.life_ended_utc, zone)} with sensor life {one.life}"
    return f"{words}; due {one.point.due_on or 'never'}"


def _words(point: PlacePoint, unit: Unit) -> str:
    """One place difference in a line."""
    by, u = difference(point.difference_c, unit, signed=True), difference(point.expanded_c, unit)
    where = f" in {point.work_place}" if point.work_place else ""
    own = " of what it shows" if point.holds_error else ""
    words = f"the work at {temperature(point.at_c, unit)}{where} has {by} ± {u}{own}, from {point.done_on}"
    return f"{words} ({point.why})" if point.why else words


@place.command()
@click.argument("number", type=click.IntRange(1, LARGEST_NUMBER))
@click.option("--at", "at", default="now", show_default=True, help="From when on.")
@why_option
@zone_option
@by_option
@logbook_option
def end(number: int, at: str, why: str, zone: str | None, by: str | None, logbook: Path) -> None:
    """End a place difference: the work stands elsewhere now, or elements or shelves were changed. Earlier runs keep it.

    It ends by itself when the sensor is fitted anew or moved (soakwitness sensor fitted). One that was wrong from the
    start is struck: soakwitness logbook strike place NUMBER.

    Example: soakwitness place end 2 --why "shelf raised by 40 mm"
    """
    from soakwitness.analysis.logbook.place_differences import end_place

    at_utc = moment(at, zone)
    assert at_utc is not None
    with open_book(logbook) as book:
        end_place(book, number, at_utc=at_utc, why=why, stamp=new_stamp(by))
    say(f"Place difference {number} has ended.")
