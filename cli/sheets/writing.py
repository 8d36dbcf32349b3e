"""Writes sheets as one HTML file or as PDF, from the same contents."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from soakwitness.cli.sheets.blocks import TONES, Sheet
from soakwitness.cli.sheets.contents import SheetNotes, sheet_contents
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import Verification

Paper = Literal["A4", "letter"]
SUFFIXES = (".html", ".pdf")


def write_sheet(
    run: Run,
    verification: Verification,
    recipe: Recipe,
    path: Path,
    *,
    unit: Unit | None = None,
    notes: SheetNotes | None = None,
    paper: Paper = "A4",
    with_annex: bool = False,
) -> None:
    """Write a run's sheet."""
    unit = unit or recipe.unit
    write_sheets(
        [sheet_contents(run, verification, recipe, unit=unit, notes=notes, with_annex=with_annex)], path, paper=paper
    )


def write_sheets(sheets: Sequence[Sheet], path: Path, *, paper: Paper = "A4") -> None:
    """Write sheets; the ending of ``path`` says whether as HTML (opens offline) or as PDF (vectors)."""
    if path.suffix.lower() == ".pdf":
        from soakwitness.cli.sheets.pdf import write_pdf

        write_pdf(sheets, path, paper=paper)
    else:
        path.write_text(sheets_html(sheets, paper=paper), encoding="utf-8")


def sheets_html(sheets: Sequence[Sheet], *, paper: Paper = "A4") -> str:
    """One HTML page; every word is escaped, the charts are the SVG text that this project drew."""
    from jinja2 import Environment
    from markupsafe import Markup

    from soakwitness.cli.sheets.in_html import chart_svg, colours, kind_of, tied

    text = (files("soakwitness.cli.sheets") / "sheet.html").read_text(encoding="utf-8")
    template = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True).from_string(text)
    return template.render(
        sheets=sheets,
        paper=paper,
        colours=Markup(colours()),
        svg=lambda chart, shape: Markup(chart_svg(chart, shape)),
        own_svg=lambda chart: Markup(chart.svg()),
        kind=kind_of,
        tied=tied,
        tones=TONES,
    )
