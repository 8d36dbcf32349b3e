"""``soakwitness sheet``: a run, a blade or a batch of blades as printed pages."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from soakwitness.cli.options.common import (
    WrongUse,
    check_output,
    find_run,
    force_option,
    logbook_option,
    unit_option,
)
from soakwitness.cli.verdicts.verified import given_packet, packet_option
from soakwitness.firmware_bridge.common.units import Unit

Paper = Literal["A4", "letter"]


@click.command()
@click.argument("run", required=False)
@click.option("--piece", help="A blade's whole life instead of a run.")
@click.option("--batch", help="The same of every blade of this batch, a page each.")
@click.option("--recipe", "recipe_path", type=click.Path(path_type=Path), help="Recipe file; else the run's own.")
@packet_option
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="FILE.html or FILE.pdf; else in the run's reports folder, of a blade in this folder.",
)
@click.option("--paper", type=click.Choice(["A4", "letter"]), default="A4", show_default=True)
@click.option("--customer", help="Judge and tell of this customer's pieces alone, without advice to the shop.")
@click.option("--annex", is_flag=True, help="Add every step in full, sensors and events, also where one page holds it.")
@unit_option
@logbook_option
@force_option
def sheet(
    run: str | None,
    piece: str | None,
    batch: str | None,
    recipe_path: Path | None,
    packet_path: Path | None,
    out: Path | None,
    paper: Paper,
    customer: str | None,
    annex: bool,
    unit: Unit | None,
    logbook: Path,
    force: bool,
) -> None:
    """Print RUN as one page: its verdict, what was asked and had, what was flagged. Or a blade's life.

    Example: soakwitness sheet sample_logs/good --out good.html
    """
    if sum(given is not None for given in (run, piece, batch)) != 1:
        raise WrongUse("say what to print, one of them: soakwitness sheet RUN, --piece NAME or --batch NAME.")
    if run is None:
        given = {"--recipe": recipe_path, "--packet": packet_path, "--customer": customer, "--annex": annex or None}
        if wrong := [name for name, value in given.items() if value is not None]:
            raise WrongUse(f"{wrong[0]} goes with a run, not with --piece or --batch. Leave it out.")
        _print_pieces(piece, batch, out, paper=paper, unit=unit, logbook=logbook, force=force)
        return
    from soakwitness.cli.sheets.sources import sheet_sources
    from soakwitness.cli.sheets.writing import SUFFIXES, write_sheet

    packet = given_packet(packet_path)
    folder = find_run(run, logbook)
    target = out or folder / "reports" / "sheet.html"
    if out is None:
        target.parent.mkdir(exist_ok=True)
        force = True
    check_output(target, force=force, suffixes=SUFFIXES)
    sources = sheet_sources(folder, recipe_path, logbook, unit=unit, customer=customer, packet=packet)
    write_sheet(
        sources.run,
        sources.verification,
        sources.recipe,
        target,
        unit=unit,
        notes=sources.notes,
        paper=paper,
        with_annex=annex,
    )
    click.echo(str(target))


def _print_pieces(
    piece: str | None,
    batch: str | None,
    out: Path | None,
    *,
    paper: Paper,
    unit: Unit | None,
    logbook: Path,
    force: bool,
) -> None:
    """A page for each blade into one file."""
    from soakwitness.cli.sheets.piece_contents import piece_sheet
    from soakwitness.cli.sheets.piece_sources import lives_of, names_in_batch
    from soakwitness.cli.sheets.shop import shop_lines
    from soakwitness.cli.sheets.writing import SUFFIXES, write_sheets
    from soakwitness.firmware_bridge.runfolder.writer import reduced_name

    kind, name = ("piece", piece) if piece is not None else ("batch", batch or "")
    target = check_output(out or Path(f"{kind}-{reduced_name(name)}.html"), force=force, suffixes=SUFFIXES)
    names = (name,) if batch is None else names_in_batch(logbook, batch)
    shop = shop_lines(logbook)
    write_sheets([piece_sheet(found, unit=unit, shop=shop) for found in lives_of(logbook, names)], target, paper=paper)
    click.echo(str(target))
