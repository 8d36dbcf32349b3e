"""``soakwitness today``: what is waiting, one sentence each, with the command that settles it."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soakwitness.cli.options.common import WrongUse, json_option, logbook_option, print_json, unit_option
from soakwitness.cli.options.entering import by_option, new_stamp, open_book, take_in_runs, zone_option
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.record.moments import Stamp

LOOK_BACK_DAYS = 30  # as what_waits has it: no command loads the analysis to print its help


@click.command()
@click.argument("subjects", metavar="[SUBJECT]...", nargs=-1)
@click.option("--all", "every", is_flag=True, help="All of it, however long.")
@click.option("--days", type=click.IntRange(1, 3660), default=LOOK_BACK_DAYS, show_default=True, help="How far back.")
@click.option("--not-needed", metavar="KIND", help="Do not ask for this any more: of SUBJECT, or at all.")
@click.option("--until", help="Up to this day, such as 2026-12-24; else for good.")
@click.option("--why", default="", help="The reason.")
@click.option("--set-aside", "listing", is_flag=True, help="List what was set aside.")
@click.option("--first-runs", "first", is_flag=True, help="The three runs by which each furnace is got to know.")
@zone_option
@by_option
@unit_option
@json_option
@logbook_option
def today(
    subjects: tuple[str, ...],
    every: bool,
    days: int,
    not_needed: str | None,
    until: str | None,
    why: str,
    listing: bool,
    first: bool,
    zone: str | None,
    by: str | None,
    unit: Unit | None,
    as_json: bool,
    logbook: Path,
) -> None:
    """What is waiting, what matters most first, each with the command that settles it.

    Blades and runs of the last 30 days are asked for (--days), and furnaces that had a run in the last 90. Not on
    record is not the same as not done: enter what was done, or say that it was left out (piece treatment --not-done).
    What need not be asked for is set aside with a reason; KIND stands in --json, SUBJECT is a piece, run, furnace or
    "control of small furnace":

    soakwitness today --not-needed hardness B-041..B-046 --why "no tester here"

    Example: soakwitness today
    """
    if not_needed is None and (subjects or why or until):
        raise WrongUse("SUBJECT, --until and --why belong to --not-needed KIND: it says what is not asked for.")
    stamp = new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        if not_needed is not None:
            _set_aside(book, not_needed, subjects, why=why, until=until, stamp=stamp)
        elif listing:
            _list(book, as_json=as_json)
        elif first:
            _first_runs(book, stamp, unit or "C", as_json=as_json)
        else:
            _tell(book, stamp, zone=zone, days=days, every=every, unit=unit or "C", as_json=as_json)


def _tell(book: LogBook, stamp: Stamp, *, zone: str | None, days: int, every: bool, unit: Unit, as_json: bool) -> None:
    from soakwitness.analysis.waiting.what_waits import what_waits
    from soakwitness.cli.words.waiting_words import today_json, today_lines
    from soakwitness.firmware_bridge.common.zones import computer_zone, zone_of

    here = computer_zone() if zone is None else zone
    zone_of(here)
    waiting = what_waits(
        book, now_utc=stamp.at_utc, zone=here, days=days, free_bytes=shutil.disk_usage(book.folder).free
    )
    if as_json:
        print_json(today_json(waiting, unit))
        return
    for line in today_lines(waiting, unit, every=every):
        click.echo(line)


def _first_runs(book: LogBook, stamp: Stamp, unit: Unit, *, as_json: bool) -> None:
    """What the first runs of each furnace in use gave, the simulated ones too."""
    from soakwitness.analysis.logbook.lately import furnaces_in_use
    from soakwitness.analysis.record.moments import later
    from soakwitness.analysis.waiting.waiting_first_runs import first_runs
    from soakwitness.analysis.waiting.what_waits import IN_USE_DAYS
    from soakwitness.cli.words.first_runs_words import first_runs_json, first_runs_lines

    in_use = furnaces_in_use(book, since_utc=later(stamp.at_utc, -IN_USE_DAYS * 86400.0))
    found = {one.furnace: first_runs(book, one.furnace) for one in in_use}
    if as_json:
        print_json(first_runs_json(found, unit))
        return
    for line in first_runs_lines(found, unit):
        click.echo(line)
    if not found:
        click.echo(f"No furnace had a run in the last {IN_USE_DAYS} days.", err=True)


def _set_aside(
    book: LogBook, kind: str, subjects: tuple[str, ...], *, why: str, until: str | None, stamp: Stamp
) -> None:
    """Enter what need not be asked for; a subject that is nothing known is refused."""
    from soakwitness.analysis.logbook.set_aside import set_aside
    from soakwitness.analysis.record.moments import read_day
    from soakwitness.analysis.waiting.waiting_acts import KINDS

    if kind not in KINDS:
        raise WrongUse(f"--not-needed {kind}: no such kind. It is one of: {', '.join(KINDS)}.")
    until_day = None if until is None else read_day(until)
    names = [name for subject in subjects for name in _named(book, subject)] or [None]
    with book.writing(stamp):
        entries = [set_aside(book, kind, name, why=why, stamp=stamp, until_day=until_day) for name in names]
    about = f" of {', '.join(subjects)}" if subjects else ""
    numbers = f"entry {entries[0]}" if len(entries) == 1 else f"entries {entries[0]} to {entries[-1]}"
    click.echo(f"Not asked for any more: {kind}{about}{f', until {until_day}' if until_day else ''} ({numbers}).")
    click.echo(f"Taken back: soakwitness logbook strike set-aside {entries[0]} --why REASON", err=True)


def _named(book: LogBook, subject: str) -> list[str | None]:
    """A furnace, a sensor, a run or pieces by what was typed, as the log book calls them."""
    from soakwitness.analysis.logbook.runs import find_run_entry, furnaces
    from soakwitness.analysis.logbook.sensors import sensor_lives

    sensors = {f"{life.sensor} of {life.furnace}" for life in sensor_lives(book)}
    known = {name.casefold(): name for name in (*sensors, *furnaces(book), "log book")}
    if subject.casefold() in known:
        return [known[subject.casefold()]]
    run = None if ".." in subject else find_run_entry(book, subject)
    return [run.run] if run is not None else list(_pieces(book, subject))


def _pieces(book: LogBook, subject: str) -> list[str]:
    """Names of pieces; those that only marks name count too."""
    from soakwitness.analysis.logbook.pieces import spelled_out

    there = "SELECT 1 FROM run_marks WHERE piece = ?1 UNION SELECT 1 FROM piece_facts WHERE piece = ?1"
    names = [subject] if book.row(there, subject) is not None else list(spelled_out([subject]))
    for name in names:
        if book.row(there, name) is None:
            hint = "What waits is named by: soakwitness today --json"
            raise WrongUse(f"{name}: no such piece, run, furnace or sensor in {book.folder}. {hint}")
    return names


def _list(book: LogBook, *, as_json: bool) -> None:
    from dataclasses import asdict

    from soakwitness.analysis.logbook.set_aside import set_aside_entries
    from soakwitness.cli.words.waiting_words import set_aside_words

    found = set_aside_entries(book)
    if as_json:
        print_json({"schema": "soakwitness/set-aside/1", "set_aside": [asdict(one) for one in found]})
        return
    for one in found:
        click.echo(set_aside_words(one))
    if not found:
        click.echo("Nothing was set aside.", err=True)
