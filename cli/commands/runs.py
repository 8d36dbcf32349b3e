"""``soakwitness runs``: the runs of the log book, or one of them as a table for a spreadsheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    LARGEST_NUMBER,
    WrongUse,
    check_output,
    find_run,
    force_option,
    json_option,
    logbook_option,
    unit_option,
)
from soakwitness.cli.options.entering import by_option
from soakwitness.cli.options.screen import say
from soakwitness.cli.verdicts.beside import compare_runs
from soakwitness.cli.verdicts.listed_runs import FILTERS, doubted_runs, print_runs, runs_to_list
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.finding_runs import Only

NEWEST = 20


@click.command()
@click.argument("named", metavar="[RUN]...", nargs=-1)
@click.option("--all", "everything", is_flag=True, help=f"All runs, not only the newest {NEWEST}.")
@click.option("--furnace", help="Only this furnace's, by its name or its file.")
@click.option("--month", help="Only those that began in a month, such as 2026-03.")
@click.option("--piece", help="Only those that this piece was in.")
@click.option("--steel", help="Only those with a piece of this steel, or whose recipe names it.")
@click.option("--verdict", help="Only those with this verdict: pass, fail, not proven, not judged.")
@click.option(
    "--words", help="Only those that all these words occur in: names, recipe, marks, what is known of pieces."
)
@click.option(
    "--page", type=click.IntRange(1, LARGEST_NUMBER), default=1, help=f"Page 2: the {NEWEST} before, and so on."
)
@click.option("--check", is_flag=True, help="Compare every run with its seal, which takes a while with many.")
@click.option(
    "--export", "export", type=click.Path(path_type=Path, dir_okay=False), help="Write RUN's readings to FILE."
)
@click.option("--decimal", type=click.Choice([".", ","]), default=".", help="Decimal mark in that file.")
@click.option("--strike", is_flag=True, help="Strike RUN out: it is kept, and counted nowhere.")
@click.option("--unstrike", is_flag=True, help="Have RUN stand again that was struck out.")
@click.option("--why", help="The reason for either.")
@click.option("--struck", "only_struck", is_flag=True, help="List the runs that were struck out.")
@click.option("--doubtful", "only_doubtful", is_flag=True, help="List the runs that may be no heatings.")
@click.option("--heating", is_flag=True, help="Say that RUN, which is doubtful, was a heating.")
@click.option("--compare", "beside", is_flag=True, help="Draw the named RUNs over each other; takes --chart.")
@click.option("--align", metavar="STEP", help="start, or the number of a hold: where their clocks are set to nought.")
@click.option("--chart", type=click.Path(path_type=Path), help="Draw them as FILE.png, .svg or .pdf.")
@by_option
@unit_option
@json_option
@logbook_option
@force_option
def runs(
    named: tuple[str, ...], by: str | None, unit: Unit | None, as_json: bool, logbook: Path, force: bool, **given: Any
) -> None:
    """List the runs of the log book, or write one out as a table (RUN, else the last one).

    A verdict stands behind the recipe once the run was verified. A run of a trial or a wrong import is struck out with
    a reason: runs RUN --strike --why "thermocouple outside". It is kept, and left out of lists, trends and checks.

    Which runs are listed is said by --furnace, --month, --piece, --steel, --verdict and --words, all of them at once:
    runs --piece C-03, runs --steel S44004 --verdict fail

    A run that may be a heating, or hot bricks behind a door, is kept apart until you say which: runs RUN --heating, or
    --strike it. A mark in it says so too.

    With a decimal comma the cells are parted by semicolons, as spreadsheets expect.

    Several runs are put over each other from when each came into the hottest hold, or into that of --align:
    runs --compare 20260302 20260303 --chart both.png

    Example: soakwitness runs --json
    """
    if given["beside"]:
        compare_runs(named, logbook, chart=given["chart"], align=given["align"], unit=unit, force=force)
        return
    asked = {name: given[name] for name in FILTERS}
    run = _one_run(named, given)
    if given["strike"] or given["unstrike"]:
        _strike(run, logbook, given["why"], by, given["unstrike"])
    elif given["heating"]:
        _confirm(run, logbook, given["why"], by)
    elif given["export"] is not None:
        _export(find_run(run or "last", logbook), given["export"], given["decimal"], force)
    elif run is None:
        _list(logbook, asked, given, as_json=as_json)
    elif given["page"] > 1 or any(asked.values()):
        raise WrongUse(f"{run}: a run is named. Leave it out to look for others: runs --month 2026-03.")
    else:
        compare = given["check"] or not given["everything"]
        print_runs([find_run(run, logbook)], logbook, doubted_runs(logbook), compare=compare, as_json=as_json)


def _one_run(named: Sequence[str], given: Mapping[str, Any]) -> str | None:
    """The run that is named, where one is; what only --compare takes is refused."""
    if given["chart"] is not None or given["align"] is not None:
        raise WrongUse(
            "--chart and --align belong to runs --compare A B; the chart of one: soakwitness verify --chart."
        )
    if len(named) > 1:
        raise WrongUse(f"{named[1]}: several runs are named. One at a time, or draw them together: runs --compare.")
    return named[0] if named else None


def _list(logbook: Path, asked: Mapping[str, str | None], given: Mapping[str, Any], *, as_json: bool) -> None:
    """A page of the runs that were asked for, and what is not on it."""
    from soakwitness.firmware_bridge.common.wording import counted

    only: Only = "struck" if given["only_struck"] else "doubtful" if given["only_doubtful"] else "standing"
    page, most = given["page"], None if given["everything"] else NEWEST
    paths, older = runs_to_list(logbook, asked, only=only, most=most, page=page)
    if not paths and not as_json:
        say(f"No {'such run' if any(asked.values()) else 'runs'} in {logbook}.", err=True)
    doubted = doubted_runs(logbook)
    print_runs(paths, logbook, doubted, compare=given["check"] or not given["everything"], as_json=as_json)
    if only == "standing" and doubted and not as_json:
        say(f"{counted(len(doubted), 'doubtful heating')} kept apart: soakwitness runs --doubtful", err=True)
    if only == "doubtful" and paths and not as_json:
        say('A heating: soakwitness runs RUN --heating; none: soakwitness runs RUN --strike --why "bricks"', err=True)
    if older:
        say(f"Not shown: {counted(older, 'older run')}: --page {page + 1}, or --all", err=True)


def _strike(run: str | None, logbook: Path, why: str | None, by: str | None, back: bool) -> None:
    from soakwitness.analysis.logbook.striking import restore_run, strike_run
    from soakwitness.cli.options.entering import new_stamp, open_book, take_in_runs
    from soakwitness.firmware_bridge.runfolder.listing import run_id

    if run is None or not why:
        raise WrongUse('Name the run and the reason: soakwitness runs RUN --strike --why "a trial"')
    path, stamp = find_run(run, logbook), new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        if back:
            restore_run(book, run_id(path), why=why, stamp=stamp)
        else:
            strike_run(book, run_id(path), why=why, stamp=stamp)
    say(f"{path.name} {'stands again' if back else 'is struck out: it is kept, and counted nowhere'}.")


def _confirm(run: str | None, logbook: Path, why: str | None, by: str | None) -> None:
    from soakwitness.analysis.logbook.doubting import confirm_run
    from soakwitness.cli.options.entering import new_stamp, open_book, take_in_runs
    from soakwitness.firmware_bridge.runfolder.listing import run_id

    if run is None:
        raise WrongUse("Name the run: soakwitness runs RUN --heating")
    path, stamp = find_run(run, logbook), new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        confirm_run(book, run_id(path), why=why or "", stamp=stamp)
    say(f"{path.name} is a heating, and counts as any other. Its verdict: soakwitness verify {path.name}")


def _export(path: Path, file: Path, decimal: str, force: bool) -> None:
    from soakwitness.firmware_bridge.runfolder.listing import look_at, readings

    check_output(file, force=force, suffixes=(".csv", ".txt", ".tsv"))
    found = look_at(path, compare=True)
    if found.intact is False:
        say(f"{path.name}: {found.says}; only rows whose checksum holds are written.", err=True)
    separator = "\t" if file.suffix.lower() == ".tsv" else ";" if decimal == "," else ","
    lines = readings(path, decimal=decimal, separator=separator)
    try:
        with open(file, "w", encoding="utf-8", newline="\n") as out:
            for line in lines:
                out.write(line + "\n")
    except OSError as error:
        raise WrongUse(f"{file} cannot be written: {error.strerror or error}.") from None
    click.echo(str(file))
