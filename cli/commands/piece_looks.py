"""``piece hardness``, ``inspect``, ``photo``, ``note``: what a tester, a file, an eye or a camera tells of a blade."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from soakwitness.analysis.logbook.hardness import STEPS
from soakwitness.analysis.logbook.inspections import KINDS as LOOKS
from soakwitness.cli.options.common import Finite, WrongUse, logbook_option
from soakwitness.cli.options.entering import (
    by_option,
    entering,
    moment,
    new_stamp,
    open_book,
    seen_option,
    zone_option,
)
from soakwitness.cli.options.screen import say
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says, joined


@click.command()
@click.argument("name", metavar="PIECE")
@click.argument("readings", metavar="READING...", nargs=-1, required=True, type=Finite())
@click.option("--after", type=click.Choice(STEPS), help="Which step had been done last.")
@click.option("--before", type=click.Choice(STEPS), help="Which step comes next.")
@click.option("--at", default="now", help="When, ISO 8601; else now.")
@click.option("--scale", type=click.Choice(["HRC", "HRA", "HR15N", "HR30N", "HV"]), default="HRC", show_default=True)
@click.option("--load-n", type=Finite(), help="Test load [N].")
@click.option("--block", type=Finite(), help="Value of the test block.")
@click.option("--block-reading", type=Finite(), multiple=True, help="What the tester read on the block; repeat it.")
@click.option("--tester", help="Which tester.")
@click.option("--spot", help="Where on the piece, such as edge, spine, tip.")
@click.option("--along", type=Finite(), help="Place along the blade in per cent, from heel (0) to tip (100).")
@click.option("--across", type=Finite(), help="Place across it in per cent, from edge (0) to spine (100).")
@click.option("--ground-off-mm", type=Finite(), help="What had been ground off the skin there.")
@click.option("--spacing-mm", type=Finite(), help="Distance between indentations, centre to centre.")
@click.option("--edge-mm", type=Finite(), help="Distance from an edge.")
@click.option("--section-mm", type=Finite(), help="Thickness there; else the piece's.")
@click.option("--as-read", is_flag=True, help="The readings are as typed, though they look like slips.")
@click.option("--note", default="", help="Anything else.")
@zone_option
@seen_option
@by_option
@logbook_option
def hardness(
    name: str, readings: tuple[float, ...], seen: dict[str, int], by: str | None, logbook: Path, **said: Any
) -> None:
    """Enter hardness readings of a piece, at least three, with the test block's if it was read.

    Example: soakwitness piece hardness B-041 60.1 60.4 59.9 --after quench --block 60.3 --block-reading 60.5
    """
    from soakwitness.analysis.logbook.hardness import add_hardness
    from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading, hrc_of_hv, hv_of_hrc, slip_of

    if (said["after"] is None) == (said["before"] is None):
        says = "Say after which step it was read: {after}{before}."
        raise WrongUse(
            Says.of(
                says, after=Field("after", "quench"), before=Field("before", "temper", around=", or before which: {}")
            )
        )
    test = HardnessReading(
        readings,
        said["scale"],
        said["load_n"],
        said["block"],
        said["block_reading"],
        said["spacing_mm"],
        said["edge_mm"],
        said["section_mm"],
    )
    slip = slip_of(test)
    if slip is not None and not said["as_read"]:
        so = Says.of("If it was read so, say {as_read}. Nothing was entered.", as_read=Field("as-read"))
        raise WrongUse(joined([f"{name}: {slip}", so]))
    stamp = new_stamp(by)
    with open_book(logbook) as book, entering(book, stamp, seen):
        entry, warnings = add_hardness(
            book,
            name,
            test,
            measured_utc=moment(said["at"], said["zone"]) or "",
            side="after" if said["after"] else "before",
            step=said["after"] or said["before"],
            stamp=stamp,
            spot=said["spot"],
            along_pct=said["along"],
            across_pct=said["across"],
            ground_off_mm=said["ground_off_mm"],
            tester=said["tester"],
            note=said["note"],
        )
    other = {"HRC": (hv_of_hrc, "HV"), "HV": (hrc_of_hv, "HRC")}.get(test.scale)
    converted = other[0](test.mean) if other else None
    about = f" (about {converted} {other[1]})" if other and converted else ""
    say(f"{name}: {test.mean:.1f} {test.scale}{about}, entry {entry}.")
    for says in warnings:
        say(f"Note: {says}", err=True)


@click.command()
@click.argument("look", type=click.Choice(LOOKS))
@click.argument("names", metavar="PIECE...", nargs=-1, required=True)
@click.option(
    "--result",
    help="What it showed. File test: skates, bites. Fracture: fine, coarse, mixed. Magnet: strong, weak, none. "
    "Inside of the foil: clean, coloured, scale.",
)
@click.option("--mm", type=Finite(), help="Warp: off straight. Crack: how long; 0 where one looked and found none.")
@click.option("--place", help="Where on the blade, such as edge, tip, heel, tang.")
@click.option("--after", type=click.Choice(STEPS), help="Which step had been done last.")
@click.option("--before", type=click.Choice(STEPS), help="Which step comes next.")
@click.option("--at", default="now", help="When, ISO 8601; else now.")
@click.option("--note", default="", help="Anything else.")
@zone_option
@seen_option
@by_option
@logbook_option
def inspect(
    look: str, names: tuple[str, ...], seen: dict[str, int], by: str | None, logbook: Path, **said: Any
) -> None:
    """Enter what was seen of pieces: file test, fracture, magnet, inside of the foil, warp, crack.

    Warp and crack are told in millimetres, the others with a word (--result).

    Example: soakwitness piece inspect warp B-041 --mm 0.8 --place tip --after quench
    """
    from soakwitness.analysis.logbook.inspections import add_inspection, inspections_of
    from soakwitness.analysis.logbook.pieces import pieces_named

    if said["after"] is not None and said["before"] is not None:
        says = "{after} and {before}: say one of the two."
        raise WrongUse(Says.of(says, after=Field("after"), before=Field("before")))
    stamp = new_stamp(by)
    with open_book(logbook) as book, entering(book, stamp, seen):
        entries = add_inspection(
            book,
            names,
            look,
            seen_utc=moment(said["at"], said["zone"]) or "",
            side="after" if said["after"] else "before",
            step=said["after"] or said["before"],
            result=said["result"],
            mm=said["mm"],
            place=said["place"],
            note=said["note"],
            stamp=stamp,
        )
        kept = {one.entry: one for piece in pieces_named(book, names) for one in inspections_of(book, piece.id)}
    for entry in entries:
        say(f"{kept[entry].piece}: {look}, {kept[entry].says}, entry {entry}.")


@click.command()
@click.argument("name", metavar="PIECE")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--at", default="now", help="When it was taken, ISO 8601; else now.")
@click.option("--note", default="", help="What it shows.")
@zone_option
@seen_option
@by_option
@logbook_option
def photo(
    name: str,
    file: Path,
    at: str,
    note: str,
    zone: str | None,
    seen: dict[str, int],
    by: str | None,
    logbook: Path,
) -> None:
    """Keep a photograph with a piece: JPEG, PNG, WebP or TIFF, up to 50 MB.

    It is made anew, upright and at most 2000 pixels long; place, camera and whatever else the file says are left out.
    FILE itself stays as it is.

    Example: soakwitness piece photo B-041 edge.jpg --note "after the temper"
    """
    from soakwitness.analysis.logbook.photos import add_photo
    from soakwitness.cli.photographs.reencoding import photograph

    made, stamp = photograph(file), new_stamp(by)
    with open_book(logbook) as book, entering(book, stamp, seen):
        entry = add_photo(
            book,
            name,
            made.data,
            width_px=made.width_px,
            height_px=made.height_px,
            taken_utc=moment(at, zone) or "",
            note=note,
            stamp=stamp,
        )
    say(f"{name}: photograph of {made.width_px} x {made.height_px} pixels kept, entry {entry}.")


@click.command()
@click.argument("names", metavar="PIECE...", nargs=-1, required=True)
@click.option("--words", required=True, help="What is to be noted.")
@click.option("--at", default="now", help="The moment it is about, ISO 8601; else now.")
@zone_option
@seen_option
@by_option
@logbook_option
def note(
    names: tuple[str, ...],
    words: str,
    at: str,
    zone: str | None,
    seen: dict[str, int],
    by: str | None,
    logbook: Path,
) -> None:
    """Note something about pieces, with the moment; what is known of them stays as it is.

    Example: soakwitness piece note B-041 --words "the handle's scales were glued"
    """
    from soakwitness.analysis.logbook.piece_notes import add_note

    stamp = new_stamp(by)
    with open_book(logbook) as book, entering(book, stamp, seen):
        entries = add_note(book, names, words, at_utc=moment(at, zone) or "", stamp=stamp)
    for entry in entries:
        say(f"Noted, entry {entry}.")
