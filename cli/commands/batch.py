"""``soakwitness batch``: pieces that belong together."""

from __future__ import annotations

from pathlib import Path

import click

from soakwitness.cli.options.common import SuggestingGroup, json_option, logbook_option, print_json
from soakwitness.cli.options.entering import by_option, new_stamp, open_book, why_option
from soakwitness.cli.options.screen import say, table
from soakwitness.firmware_bridge.common.wording import counted

names_argument = click.argument("names", metavar="PIECE...", nargs=-1, required=True)


@click.group(cls=SuggestingGroup)
def batch() -> None:
    """Batches of pieces: add, remove, show, list.

    Example: soakwitness batch list
    """


@batch.command()
@click.argument("name", metavar="BATCH")
@names_argument
@click.option("--note", default="", help="Note of a new batch.")
@by_option
@logbook_option
def add(name: str, names: tuple[str, ...], note: str, by: str | None, logbook: Path) -> None:
    """Put pieces into a batch; it is made where there is none.

    Example: soakwitness batch add spring-chef B-041..B-052
    """
    from soakwitness.analysis.logbook.batches import add_to_batch

    with open_book(logbook) as book:
        made = add_to_batch(book, name, names, stamp=new_stamp(by), note=note)
    say(f"{made.name}: {counted(len(made.pieces), 'piece')}.")


@batch.command()
@click.argument("name", metavar="BATCH")
@names_argument
@why_option
@by_option
@logbook_option
def remove(name: str, names: tuple[str, ...], why: str, by: str | None, logbook: Path) -> None:
    """Strike pieces out of a batch; the pieces stay.

    Example: soakwitness batch remove spring-chef B-044 --why "other steel"
    """
    from soakwitness.analysis.logbook.batches import take_from_batch

    with open_book(logbook) as book:
        left = take_from_batch(book, name, names, why=why, stamp=new_stamp(by))
    say(f"{left.name}: {counted(len(left.pieces), 'piece')}.")


@batch.command()
@click.argument("name", metavar="BATCH")
@json_option
@logbook_option
def show(name: str, as_json: bool, logbook: Path) -> None:
    """Show a batch's pieces with their newest hardness.

    Example: soakwitness batch show spring-chef
    """
    from dataclasses import asdict

    from soakwitness.analysis.logbook.batches import batch_named
    from soakwitness.analysis.logbook.hardness import hardness_of
    from soakwitness.analysis.logbook.pieces import piece_named

    with open_book(logbook) as book:
        found = batch_named(book, name)
        pieces = [(piece_named(book, p), hardness_of(book, p)) for p in found.pieces]
    if as_json:
        print_json({"schema": "soakwitness/batch/1", **asdict(found)})
        return
    say(f"{found.name}: {counted(len(found.pieces), 'piece')}. {found.note}".rstrip())
    rows = [("piece", "steel", "lot", "mm", "hardness")]
    for piece, tests in pieces:
        newest = f"{tests[-1].test.mean:.1f} {tests[-1].test.scale} {tests[-1].stage}" if tests else "-"
        thick = f"{piece.thickness_mm:g}" if piece.thickness_mm else "-"
        rows.append((piece.id, piece.steel or "-", piece.lot or "-", thick, newest))
    say(table(rows, indent="  "))


@batch.command("list")
@json_option
@logbook_option
def list_batches(as_json: bool, logbook: Path) -> None:
    """List all batches, the newest first.

    Example: soakwitness batch list
    """
    from dataclasses import asdict

    from soakwitness.analysis.logbook.batches import all_batches

    with open_book(logbook) as book:
        found = all_batches(book)
    if as_json:
        print_json({"schema": "soakwitness/batches/1", "batches": [asdict(b) for b in found]})
        return
    if not found:
        say("There is no batch yet. Make one with: soakwitness batch add NAME PIECE...", err=True)
        return
    rows = [(b.name, counted(len(b.pieces), "piece"), b.entered_utc[:10], b.note) for b in found]
    say(table(rows))
