"""``soakwitness piece``: what each blade is, what was done to it, how hard it became."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soakwitness.analysis.logbook.treatments import KINDS
from soakwitness.cli.commands.piece_looks import hardness, inspect, note, photo
from soakwitness.cli.commands.pieces_table import pieces_from
from soakwitness.cli.options.common import (
    LARGEST_NUMBER,
    Finite,
    SuggestingGroup,
    WrongUse,
    json_option,
    logbook_option,
    print_json,
    unit_option,
)
from soakwitness.cli.options.entering import (
    by_option,
    entering,
    furnace_named,
    moment,
    new_stamp,
    open_book,
    seen_option,
    take_in_runs,
    why_option,
    zone_option,
)
from soakwitness.cli.options.screen import say, table
from soakwitness.firmware_bridge.common.surfaces import Field, NextCommand
from soakwitness.firmware_bridge.common.units import Unit, to_celsius
from soakwitness.firmware_bridge.common.wording import Says, counted, joined

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.pieces import Piece

ENTRIES = ("piece", "charge", "hardness", "treatment", "inspection", "load", "photo", "note")
names_argument = click.argument("names", metavar="PIECE...", nargs=-1, required=True)


@click.group(cls=SuggestingGroup)
def piece() -> None:
    """Pieces: add, change, charge, hardness, treatment, inspect, photo, note, history, find, strike.

    PIECE is a name such as B-041, or a range such as B-041..B-052.

    Example: soakwitness piece find
    """


piece.add_command(hardness)
piece.add_command(inspect)
piece.add_command(photo)
piece.add_command(note)


def facts_options(function: Any) -> Any:
    """Options for what is known of a piece."""
    for option in (
        click.option("--steel", help="Designation, such as S44004."),
        click.option("--lot", help="Heat or supplier's lot."),
        click.option("--thickness-mm", type=Finite(), help="Thickness of the blade in the furnace."),
        click.option("--stamp", help="What is stamped on it."),
        click.option("--customer", help="Whose it is."),
        click.option("--order", help="The customer's order."),
        click.option("--coupon/--blade", default=None, help="A scrap that goes along to be tested; else a blade."),
        click.option("--note", help="Anything else."),
    ):
        function = option(function)
    return function


@piece.command()
@click.argument("names", metavar="[PIECE...]", nargs=-1)
@click.option(
    "--file",
    "path",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="CSV with a column piece, and steel, lot, thickness_mm, stamp, customer, order, note as needed.",
)
@facts_options
@click.option("--batch", help="Put them into this batch too.")
@seen_option
@by_option
@logbook_option
def add(
    names: tuple[str, ...],
    path: Path | None,
    batch: str | None,
    seen: dict[str, int],
    by: str | None,
    logbook: Path,
    **facts: Any,
) -> None:
    """Enter pieces, many at once.

    Example: soakwitness piece add B-041..B-052 --steel S44004 --lot 7733 --thickness-mm 3
    """
    from soakwitness.analysis.logbook.batches import add_to_batch
    from soakwitness.analysis.logbook.pieces import Piece, add_pieces, spelled_out

    given = {name: value for name, value in facts.items() if value is not None}
    pieces = [Piece(id=name, **given) for name in spelled_out(names)]
    if path is not None:
        pieces += pieces_from(path, given)
    if not pieces:
        says = "Name the pieces, or give {file}. See: {help}"
        raise WrongUse(Says.of(says, file=Field("file"), help=NextCommand.of("piece", "add", "--help")))
    stamp = new_stamp(by)
    with open_book(logbook, create=True) as book, entering(book, stamp, seen):
        add_pieces(book, pieces, stamp=stamp)
        if batch is not None:
            add_to_batch(book, batch, [p.id for p in pieces], stamp=stamp)
    say(f"{counted(len(pieces), 'piece')} entered: {_few([p.id for p in pieces])}.")


@piece.command()
@click.argument("name", metavar="PIECE")
@facts_options
@why_option
@seen_option
@by_option
@logbook_option
def change(name: str, why: str, seen: dict[str, int], by: str | None, logbook: Path, **facts: Any) -> None:
    """Enter better facts of a piece; the old ones are struck through and stay.

    Example: soakwitness piece change B-041 --thickness-mm 2.6 --why "measured again"
    """
    from soakwitness.analysis.logbook.pieces import change_piece

    if all(value is None for value in facts.values()):
        raise WrongUse(Says.of("Say what changes, such as {such}.", such=Field("thickness-mm", "2.6")))
    facts["stamp_text"] = facts.pop("stamp")
    stamp = new_stamp(by)
    with open_book(logbook) as book, entering(book, stamp, seen):
        changed = change_piece(book, name, why=why, stamp=stamp, **facts)
    say(_line(changed))


@piece.command()
@click.argument("run", metavar="RUN|next")
@click.argument("names", metavar="[PIECE...]", nargs=-1)
@click.option("--furnace", help="With next: the furnace whose next run it is, by its name or its file.")
@click.option(
    "--charge", "number", type=click.IntRange(1, LARGEST_NUMBER), help="Which charge of the run; else a new one."
)
@click.option("--place", help="Slot of the rack, of several 1-6; or words, such as 'front left'.")
@click.option("--foil/--no-foil", default=None, help="Whether each piece is in a foil packet.")
@click.option("--heated-faces", type=click.IntRange(1, 2), help="1 where it lies on the hearth, else 2.")
@click.option("--blades", type=click.IntRange(1, 50), help="Blades in one packet.")
@click.option("--kg", type=Finite(), help="Mass of all that is in the furnace in this run, blades and fixtures.")
@click.option("--fixtures", help="Racks, plates and the like that are in it, such as 'rack of tube'.")
@click.option("--fixtures-kg", type=Finite(), help="Their share of the mass.")
@click.option("--empty", is_flag=True, help="Nothing is in it; no PIECE.")
@click.option("--note", default="", help="Anything else.")
@seen_option
@by_option
@logbook_option
def charge(
    run: str,
    names: tuple[str, ...],
    furnace: str | None,
    number: int | None,
    by: str | None,
    logbook: Path,
    kg: float | None,
    fixtures: str | None,
    fixtures_kg: float | None,
    empty: bool,
    seen: dict[str, int],
    **packet: Any,
) -> None:
    """Put pieces into a run: before it (next), during it, or afterwards. Or say what the whole run held.

    A piece that was pulled and loaded again into the same run is entered again with --charge 2, and so on. The next
    run is one that begins within two days, or is being recorded now for less than 15 minutes.

    --kg, --fixtures and --empty are said once a run, with the pieces or without.

    Example: soakwitness piece charge last B-041..B-046 --place 1-6 --foil --kg 3.2
    """
    from soakwitness.analysis.logbook.charges import charge_pieces
    from soakwitness.analysis.logbook.run_loads import enter_load, load_words, one_load
    from soakwitness.analysis.logbook.runs import run_named

    load = {"kg": kg, "fixtures": fixtures, "fixtures_kg": fixtures_kg, "empty": empty}
    held = any(load.values())
    if not names and not held:
        says = "Name the pieces, or say what the run held: {kg}, {empty}."
        raise WrongUse(Says.of(says, kg=Field("kg", "3.2"), empty=Field("empty")))
    if not names and (number is not None or any(v not in (None, "") for v in packet.values())):
        of_pieces = joined([Field(name) for name in ("charge", "place", "foil", "heated-faces", "blades")], ", ")
        raise WrongUse(Says.of("{these} and {note} are of pieces: name them.", these=of_pieces, note=Field("note")))
    if names and empty:
        says = "{empty}, and yet {names} in it: leave out one of the two."
        raise WrongUse(Says.of(says, empty=Field("empty"), names=_few(names)))

    if (run == "next") != (furnace is not None):
        says = "Give {furnace} with next, and only then: {such}"
        such = NextCommand.of("piece", "charge", "next", "B-041", "--furnace", "NAME")
        raise WrongUse(Says.of(says, furnace=Field("furnace"), such=such))
    stamp = new_stamp(by)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        furnace = None if furnace is None else furnace_named(book, furnace)
        with entering(book, stamp, seen):
            known = None if run == "next" else run_named(book, run).run
            if names:
                number = charge_pieces(book, names, stamp=stamp, run=known, next_of=furnace, number=number, **packet)
            entry = enter_load(book, stamp=stamp, run=known, next_of=furnace, **load) if held else None  # type: ignore[arg-type]
        take_in_runs(book, stamp)
        said = load_words(one_load(book, entry)) if entry is not None else ""
    where = f"run {known}" if known else f"the next run of {furnace}"
    if names:
        say(f"{_few(names)}: charge {number} of {where}.")
    if said:
        say(f"What {where} held: {said}, entry {entry}.")


@piece.command()
@click.argument("kind", type=click.Choice(KINDS))
@names_argument
@click.option("--start", default="now", help="When it began, ISO 8601; else now.")
@click.option("--end", help="When it ended.")
@click.option("--lowest", type=Finite(), help="Lowest temperature of a cold treatment.")
@click.option("--shown", type=Finite(), help="What oven, bath or plates showed.")
@click.option("--second", type=Finite(), help="What a second thermometer in it showed.")
@click.option("--oven", help="Which oven or bath, such as 'kitchen oven'.")
@click.option("--removed-mm", type=Finite(), help="What was ground off a face.")
@click.option("--not-done", is_flag=True, help="It was left out, and that is known; not the same as not on record.")
@click.option("--note", default="", help="Anything else.")
@unit_option
@zone_option
@seen_option
@by_option
@logbook_option
def treatment(
    kind: str,
    names: tuple[str, ...],
    unit: Unit | None,
    zone: str | None,
    seen: dict[str, int],
    by: str | None,
    logbook: Path,
    **said: Any,
) -> None:
    """Enter what was done without a run: quench, cold treatment, a temper in another oven, grinding; or was left out.

    Temperatures are in --unit (C where none is given).

    Example: soakwitness piece treatment "cold treatment" B-041 --start 2026-11-25T18:00+01:00 --lowest -78
    """
    from soakwitness.analysis.logbook.treatments import add_treatment

    stamp = new_stamp(by)
    with open_book(logbook) as book, entering(book, stamp, seen):
        entries = add_treatment(
            book,
            names,
            kind,
            start_utc=moment(said["start"], zone) or "",
            end_utc=moment(said["end"], zone),
            lowest_c=to_celsius(said["lowest"], unit),
            shown_c=to_celsius(said["shown"], unit),
            second_c=to_celsius(said["second"], unit),
            oven=said["oven"],
            removed_mm=said["removed_mm"],
            not_done=said["not_done"],
            note=said["note"],
            stamp=stamp,
        )
    what = f"{kind} not done," if said["not_done"] else kind
    say(f"{_few(names)}: {what} entered ({counted(len(entries), 'piece')}).")


@piece.command()
@click.argument("name", metavar="PIECE")
@click.option("--struck", is_flag=True, help="Show what was struck through too, with who, when and why.")
@unit_option
@json_option
@logbook_option
def history(name: str, struck: bool, unit: Unit | None, as_json: bool, logbook: Path) -> None:
    """One piece's whole life on one screen, with each run's verdict and gaps in the order of steps.

    Example: soakwitness piece history B-041
    """
    from soakwitness.analysis.logbook.charges import runs_of_piece
    from soakwitness.analysis.logbook.entries import struck_entries
    from soakwitness.analysis.logbook.history import piece_history
    from soakwitness.analysis.logbook.newer_entries import told_about
    from soakwitness.analysis.recomputing.refreshing import refresh
    from soakwitness.cli.words.piece_words import history_json, history_lines, struck_lines

    stamp = new_stamp(None)
    with open_book(logbook) as book:
        take_in_runs(book, stamp)
        troubles = refresh(book, stamp=stamp, runs=[c.run for c in runs_of_piece(book, name) if c.run]).troubles
        life = piece_history(book, name)
        former = struck_entries(book, life.piece.id) if struck else ()
        told = told_about(book, life.piece.id)
    for says in troubles:
        say(f"Not judged: {says}", err=True)
    if as_json:
        print_json(history_json(life, former, entries=len(told)))
        return
    for line in [*history_lines(life, unit or "C"), *struck_lines(former)]:
        say(line)


@piece.command()
@click.argument("words", nargs=-1)
@click.option("--customer", help="Exactly this customer's.")
@click.option("--order", help="Exactly this order.")
@click.option("--steel", help="Exactly this steel.")
@click.option("--lot", help="Exactly this lot.")
@click.option("--stamp", help="Exactly this stamp.")
@json_option
@logbook_option
def find(words: tuple[str, ...], as_json: bool, logbook: Path, **exact: str | None) -> None:
    """Find pieces by name, stamp, customer, order, steel, lot or note.

    Example: soakwitness piece find Huber
    """
    from dataclasses import asdict

    from soakwitness.analysis.logbook.pieces import search

    with open_book(logbook) as book:
        found = search(book, " ".join(words), exact={k: v for k, v in exact.items() if v is not None})
    if as_json:
        print_json({"schema": "soakwitness/pieces/1", "pieces": [asdict(p) for p in found]})
        return
    if not found:
        say("No such piece.", err=True)
        return
    rows = [("piece", "steel", "lot", "mm", "stamp", "customer", "order", "note")]
    rows += [
        (
            p.id,
            p.steel or "-",
            p.lot or "-",
            f"{p.thickness_mm:g}" if p.thickness_mm else "-",
            p.stamp or "-",
            p.customer or "-",
            p.order or "-",
            ", ".join(part for part in ("coupon" if p.coupon else "", p.note) if part),
        )
        for p in found
    ]
    say(table(rows))


@piece.command()
@click.argument("kind", type=click.Choice(ENTRIES))
@click.argument("entry", type=click.IntRange(1, LARGEST_NUMBER))
@why_option
@seen_option
@by_option
@logbook_option
def strike(kind: str, entry: int, why: str, seen: dict[str, int], by: str | None, logbook: Path) -> None:
    """Strike a wrong entry through; it stays readable with who, when and why.

    Numbers of entries are shown by history.

    Example: soakwitness piece strike hardness 12 --why "block was off"
    """
    from soakwitness.analysis.logbook.entries import KINDS as TABLES
    from soakwitness.analysis.logbook.entries import strike as strike_entry

    stamp = new_stamp(by)
    with open_book(logbook) as book, entering(book, stamp, seen):
        strike_entry(book, TABLES[kind], [entry], why=why, stamp=stamp)
    say(f"Entry {entry} ({kind}) is struck through.")


def _few(names: tuple[str, ...] | list[str]) -> str:
    return ", ".join(names) if len(names) <= 4 else f"{names[0]} to {names[-1]}"


def _line(p: Piece) -> str:
    parts = [
        p.id,
        "coupon" if p.coupon else None,
        p.steel,
        f"lot {p.lot}" if p.lot else None,
        f"{p.thickness_mm:g} mm" if p.thickness_mm else None,
    ]
    parts += [f"stamp {p.stamp}" if p.stamp else None, p.customer, f"order {p.order}" if p.order else None, p.note]
    return ", ".join(part for part in parts if part)
