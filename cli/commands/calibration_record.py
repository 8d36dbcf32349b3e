"""``soakwitness sensor calibration`` and ``apply``: a calibration shown, printed, and counted from an earlier day."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import (
    CHART_ENDINGS,
    LARGEST_NUMBER,
    WrongUse,
    check_output,
    force_option,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import by_option, new_stamp, open_book, why_option
from soakwitness.cli.options.screen import say, say_words, table
from soakwitness.cli.terminal.calibrating import a_file
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says, counted

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.from_run import Pair
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.cli.sheets.calibration_sheet import Recorded

NUMBER = click.IntRange(1, LARGEST_NUMBER)
SHEETS = (".html", ".pdf")


@click.command()
@click.argument("number", type=NUMBER, metavar="CALIBRATION")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Page to print: .html or .pdf.")
@click.option("--chart", type=a_file, help="Draw errors and correction, and how they were found: .png, .svg or .pdf.")
@click.option("--paper", type=click.Choice(["A4", "letter"]), default="A4", show_default=True, help="Of the page.")
@unit_option
@json_option
@force_option
@logbook_option
def calibration(
    number: int,
    out: Path | None,
    chart: Path | None,
    paper: str,
    unit: Unit | None,
    as_json: bool,
    force: bool,
    logbook: Path,
) -> None:
    """Show the whole record of a calibration, computed again from what was kept of it.

    Who, when, where and with what; points, budgets and correction; what a level measured twice was apart; the change
    since the one before; limits of use; a withdrawal. The page that --out writes has every reading too, and --chart
    draws what calibrate drew.

    Example: soakwitness sensor calibration 1 --out calibration-1.pdf
    """
    if out is not None:
        check_output(out, force=force, suffixes=SHEETS)
    if chart is not None:
        check_output(chart, force=force, suffixes=CHART_ENDINGS)
    with open_book(logbook) as book:
        one = recorded(book, number, unit or "C")
        if chart is not None:
            _draw(book, one, chart, unit or "C")
    if out is not None:
        from soakwitness.cli.sheets.calibration_sheet import write_calibration_sheet

        write_calibration_sheet(one, out, unit=unit or "C", paper="letter" if paper == "letter" else "A4")
    if as_json:
        print_json({"schema": "soakwitness/calibration/1", **vars(one.kept), "record": one.record.record})
    elif out is None:
        _show(one, unit or "C")
    if out is not None:
        say(f"Record: {out}", err=as_json)
    if chart is not None:
        say(f"Chart: {chart}", err=as_json)


def recorded(book: LogBook, number: int, unit: Unit) -> Recorded:
    """A calibration with its record.

    Raises WrongUse where there is none, or it was kept before records were.
    """
    from soakwitness.analysis.calibration.correcting.calibration_record import calibration_again
    from soakwitness.analysis.calibration.correcting.correction import correction_from_dict
    from soakwitness.analysis.logbook.calibration_records import record_of_calibration
    from soakwitness.analysis.logbook.sensors import calibration_numbered
    from soakwitness.cli.sheets.calibration_sheet import Recorded
    from soakwitness.cli.words.budget_words import rows_of_budget

    kept = calibration_numbered(book, number)
    record = record_of_calibration(book, number)
    if record is None:
        raise WrongUse(
            f"Calibration {number} of {kept.done_on} was kept before records were: only its correction is there, see "
            "soakwitness sensor list."
        )
    found = calibration_again(record.record, record.levels)
    budgets = tuple(rows_of_budget(point.budget, unit) for point in found.points)
    return Recorded(kept, record, found, correction_from_dict(kept.correction), budgets)


def _draw(book: LogBook, one: Recorded, chart: Path, unit: Unit) -> None:
    """The picture that ``calibrate`` drew: of one made in a run that is there, the difference over time as well."""
    from soakwitness.analysis.calibration.correcting.correction import correction_from_dict
    from soakwitness.analysis.logbook.sensors import calibrations
    from soakwitness.cli.charts.calibration_chart import draw_calibration

    earlier = [
        c for c in calibrations(book, one.kept.life) if (c.done_on, c.entry) < (one.kept.done_on, one.kept.entry)
    ]
    before = correction_from_dict(earlier[-1].correction) if earlier else None
    draw_calibration(chart, one.found, one.correction, pair=_pair_of(book, one), before=before, unit=unit)


def _pair_of(book: LogBook, one: Recorded) -> Pair | None:
    """Sensor and reference in the run that a calibration was made from; None where it is not to be had."""
    from soakwitness.analysis.calibration.from_run import pair_in_run
    from soakwitness.analysis.errors import AnalysisError
    from soakwitness.analysis.logbook.runs import runs_listed
    from soakwitness.analysis.record.run import open_run
    from soakwitness.firmware_bridge.errors import BridgeError

    about = one.record.record
    runs = runs_listed(book, [about["run"]]) if about["method"] == "run" and about.get("run") else ()
    if not runs or runs[0].missing:
        return None
    try:
        return pair_in_run(
            open_run(runs[0].folder), reference=about["columns"]["reference"]["name"], sensor=about["sensor"]
        )
    except (AnalysisError, BridgeError, OSError):
        return None


def _show(one: Recorded, unit: Unit) -> None:
    from soakwitness.cli.sheets.blocks import Lines, SheetTable
    from soakwitness.cli.sheets.calibration_sheet import calibration_contents

    contents = calibration_contents(one, unit)
    say(contents.title)
    for name, words in contents.facts:
        say(f"  {name}: {words}")
    say(" ".join((contents.sentence, *contents.below)))
    for part in (*contents.blocks, *contents.annex):
        if not isinstance(part, SheetTable) or part.heading.startswith("Readings used"):
            continue
        say(f"\n{part.heading}")
        say(table([list(part.head), *(list(row) for row in part.rows)], indent="  "))
    readings = f"{counted(sum(map(len, one.record.levels)), 'reading')} in {counted(len(one.record.levels), 'level')}"
    say_words(Says.of("\n{readings}{out}.", readings=readings, out=Field("out", around=": {}")))
    for part in contents.blocks:
        if isinstance(part, Lines) and not part.small:
            say("\n".join(f"- {line}" for line in part.lines))


@click.command()
@click.argument("number", type=NUMBER, metavar="CALIBRATION")
@click.option("--from", "day", required=True, metavar="DAY", help="Day from which it counts, before it was done.")
@why_option
@by_option
@logbook_option
def apply(number: int, day: str, why: str, by: str | None, logbook: Path) -> None:
    """Have a calibration count from a day before it was done, on purpose.

    For a sensor that was found off, and of which it is known since when. Runs from that day on are judged anew; what
    was judged before stays beside it. The day cannot lie before the sensor life.

    Example: soakwitness sensor apply 1 --from 2026-09-01 --why "the offset was typed in on that day"
    """
    from soakwitness.analysis.logbook.calibration_records import apply_from

    with open_book(logbook) as book:
        entry = apply_from(book, number, day=day, why=why, stamp=new_stamp(by))
    say(
        f"Calibration {number} counts from {day}. Runs since then: soakwitness logbook recompute. "
        f"To take it back: soakwitness logbook strike applied {entry} --why ..."
    )
