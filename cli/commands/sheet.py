"""``soakwitness sheet``: a run as one printed page."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from soakwitness.cli.options.common import check_output, find_run, force_option, logbook_option, unit_option
from soakwitness.cli.verdicts.verified import given_packet, packet_option
from soakwitness.firmware_bridge.common.units import Unit


@click.command()
@click.argument("run")
@click.option("--recipe", "recipe_path", type=click.Path(path_type=Path), help="Recipe file; else the run's own.")
@packet_option
@click.option("--out", type=click.Path(path_type=Path), help="FILE.html or FILE.pdf; else in the run's reports folder.")
@click.option("--paper", type=click.Choice(["A4", "letter"]), default="A4", show_default=True)
@click.option("--customer", help="Judge and tell of this customer's pieces alone, without advice to the shop.")
@click.option("--annex", is_flag=True, help="Add every step in full, sensors and events, also where one page holds it.")
@unit_option
@logbook_option
@force_option
def sheet(
    run: str,
    recipe_path: Path | None,
    packet_path: Path | None,
    out: Path | None,
    paper: Literal["A4", "letter"],
    customer: str | None,
    annex: bool,
    unit: Unit | None,
    logbook: Path,
    force: bool,
) -> None:
    """Print RUN as one page: what was intended, what was measured, what was flagged.

    Example: soakwitness sheet sample_logs/good --out good.html
    """
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
