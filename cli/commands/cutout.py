"""``soakwitness cutout``: tests of a furnace's over-temperature cut-out."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.cli.options.common import (
    LARGEST_NUMBER,
    Finite,
    WrongUse,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import by_option, furnace_named, new_stamp, open_book, take_in_runs
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.units import Unit, to_celsius
from soakwitness.firmware_bridge.common.wording import Says, difference, joined, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.cutouts import CutOutTest


@click.command()
@click.argument("furnace")
@click.option("--set", "set_", type=Finite(-460, 5000), help="What the cut-out is set to.")
@click.option("--tripped-at", type=Finite(-460, 5000), help="What the furnace showed when it cut.")
@click.option("--no-trip-up-to", type=Finite(-460, 5000), help="How hot the furnace was let become without a cut.")
@click.option("--in-run", help="It cut by itself in this run, and nobody tested it.")
@click.option("--day", help="Day it was done, ISO 8601; else today, or the run's.")
@click.option("--note", default="", help="Anything else.")
@click.option("--strike", type=click.IntRange(1, LARGEST_NUMBER), metavar="ENTRY", help="Strike this entry through.")
@click.option("--why", help="Why it is struck through.")
@by_option
@unit_option
@json_option
@logbook_option
def cutout(furnace: str, by: str | None, unit: Unit | None, as_json: bool, logbook: Path, **said: Any) -> None:
    """Enter a test of FURNACE's over-temperature cut-out, or show all so far.

    Such as: set it just above the furnace's temperature and see that it cuts; then set it back. Temperatures are in
    --unit (C where none is given).

    Example: soakwitness cutout "small furnace" --set 900 --tripped-at 908
    """
    from soakwitness.analysis.logbook.cutouts import add_cutout_test, cutout_tests
    from soakwitness.analysis.logbook.entries import strike

    new = [name for name in ("set_", "tripped_at", "no_trip_up_to", "in_run") if said[name] is not None]
    if new and said["strike"] is not None:
        says = "{strike} takes an entry back, the others make one: one thing at a time."
        raise WrongUse(Says.of(says, strike=Field("strike")))
    if new and said["set_"] is None:
        raise WrongUse(joined(["Say what the cut-out is set to:", Field("set", "1150")]))
    stamp = new_stamp(by)
    with open_book(logbook, create=bool(new)) as book:
        take_in_runs(book, stamp)
        name = furnace_named(book, furnace)
        if said["strike"] is not None:
            strike(book, "cutout_tests", [said["strike"]], why=said["why"] or "", stamp=stamp)
            say(f"Entry {said['strike']} (cutout) is struck through.", err=as_json)
        made = None
        if new:
            run, day = _run_and_day(book, name, said["in_run"], said["day"])
            made = add_cutout_test(
                book,
                name,
                done_on=day,
                set_c=to_celsius(said["set_"], unit),
                tripped_c=to_celsius(said["tripped_at"], unit),
                reached_c=to_celsius(said["no_trip_up_to"], unit),
                by_itself=run is not None,
                run=run,
                note=said["note"],
                stamp=stamp,
            )
        tests = cutout_tests(book, name)
    if as_json:
        print_json({"schema": "soakwitness/cutout/1", "furnace": name, "tests": [asdict(t) for t in tests]})
        return
    if not tests:
        say(f"No test of the cut-out of {name} is on record. See: soakwitness cutout --help", err=True)
    for test in tests:
        if made in (None, test.entry):
            say(cutout_line(test, unit or "C"))


def _run_and_day(book: Any, furnace: str, in_run: str | None, day: str | None) -> tuple[str | None, str]:
    from soakwitness.analysis.logbook.runs import run_named
    from soakwitness.analysis.record.moments import local_day, read_day

    if in_run is not None:
        run = run_named(book, in_run)
        if run.furnace != furnace:
            says = "{given}: that was a run of {other}, not of {furnace}."
            raise WrongUse(Says.of(says, given=Field("in-run", run.run), other=run.furnace, furnace=furnace))
        return run.run, local_day(run.started_utc, run.zone) if day is None else read_day(day)
    return None, datetime.now().astimezone().date().isoformat() if day is None else read_day(day)


def cutout_line(test: CutOutTest, unit: Unit) -> str:
    """One test in a line."""
    return f"{test.done_on}  {cutout_words(test, unit)}, entry {test.entry}"


def cutout_words(test: CutOutTest, unit: Unit) -> str:
    """What a test showed: where it cut beside what it is set to."""
    at = temperature(test.set_c, unit)
    note = f" ({test.note})" if test.note else ""
    if test.tripped_c is None:
        assert test.reached_c is not None
        verdict = "it did NOT cut" if test.did_not_cut else "not hot enough to tell"
        return f"set to {at}, no cut up to {temperature(test.reached_c, unit)}: {verdict}{note}"
    from soakwitness.analysis.logbook.cutouts import SPREAD_C

    off = test.tripped_c - test.set_c
    word = "as it should" if abs(off) <= SPREAD_C else "early" if off < 0 else "late"
    itself = f" by itself in {test.run}" if test.by_itself else ""
    shown = f"{temperature(test.tripped_c, unit)} ({difference(off, unit, signed=True)}, {word})"
    return f"set to {at}, cut{itself} at {shown}{note}"
