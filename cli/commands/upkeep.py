"""``soakwitness upkeep``: what was renewed or done to a furnace."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from soakwitness.analysis.evidence.upkeep import PARTS
from soakwitness.cli.options.common import LARGEST_NUMBER, WrongUse, json_option, logbook_option, print_json
from soakwitness.cli.options.entering import (
    by_option,
    furnace_named,
    moment,
    new_stamp,
    open_book,
    shown_time,
    take_in_runs,
    zone_option,
)
from soakwitness.cli.options.screen import say, table
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says


@click.command()
@click.argument("furnace")
@click.argument("part", required=False, type=click.Choice(PARTS))
@click.option("--at", "at", default="now", show_default=True, help="When it was done.")
@click.option("--note", default="", help="What was done, such as 'both renewed, 12.4 ohm'.")
@click.option("--strike", "struck", type=click.IntRange(1, LARGEST_NUMBER), help="Strike this entry through.")
@click.option("--why", default="", help="The reason to strike it.")
@zone_option
@by_option
@json_option
@logbook_option
def upkeep(
    furnace: str,
    part: str | None,
    at: str,
    note: str,
    struck: int | None,
    why: str,
    zone: str | None,
    by: str | None,
    as_json: bool,
    logbook: Path,
) -> None:
    """Enter what was renewed or done to FURNACE, or list it (without PART).

    From then on its figures are compared with those after the work: soakwitness condition FURNACE. A thermocouple that
    was fitted or moved is entered with: soakwitness sensor fitted.

    Example: soakwitness upkeep "small furnace" elements --at 2026-11-03 --note "both new"
    """
    from soakwitness.analysis.logbook.entries import strike
    from soakwitness.analysis.logbook.furnace_work import add_upkeep, upkeep_of

    if part is None and note:
        says = "{note} belongs to a part: name it, one of {parts}."
        raise WrongUse(Says.of(says, note=Field("note"), parts=", ".join(PARTS)))
    if struck is not None and part is not None:
        raise WrongUse("Enter work, or strike an entry; not both at once.")
    stamp = new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        name = furnace_named(book, furnace)
        if struck is not None:
            _check_of(struck, name, [u.entry for u in upkeep_of(book, name)])
            strike(book, "upkeep", [struck], why=why, stamp=stamp)
        if part is not None:
            done_utc = moment(at, zone)
            assert done_utc is not None
            add_upkeep(book, name, part, done_utc=done_utc, stamp=stamp, note=note)
        stands = upkeep_of(book, name)
    if as_json:
        print_json({"schema": "soakwitness/upkeep/1", "furnace": name, "upkeep": [asdict(u) for u in stands]})
        return
    if not stands:
        say(f"Nothing is entered that was done to {name}.", err=True)
        return
    rows = [(str(u.entry), shown_time(u.done_utc, zone), u.part, u.note, u.entered_by) for u in stands]
    say(table([("entry", "done", "part", "note", "by"), *rows]))


def _check_of(entry: int, furnace: str, known: list[int]) -> None:
    if entry not in known:
        there = ", ".join(map(str, known)) or "none"
        says = "{given}: {furnace} has no such entry. It has: {there}."
        raise WrongUse(Says.of(says, given=Field("strike", str(entry)), furnace=furnace, there=there))
