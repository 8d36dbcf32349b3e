"""Writes a run sheet as one HTML file or as PDF."""

from __future__ import annotations

import io
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from soakwitness.cli.sheets.contents import SheetContents, SheetNotes, sheet_contents
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
) -> None:
    """Write the sheet; the ending of ``path`` says whether as HTML (opens offline) or as PDF (vectors)."""
    unit = unit or recipe.unit
    contents = sheet_contents(run, verification, recipe, unit=unit, notes=notes)
    if path.suffix.lower() == ".pdf":
        from soakwitness.cli.sheets.pdf import write_pdf

        write_pdf(run, verification, recipe, contents, path, unit=unit, paper=paper)
    else:
        chart = chart_svg(run, verification, recipe, unit=unit)
        path.write_text(sheet_html(contents, chart, paper=paper), encoding="utf-8")


def sheet_html(contents: SheetContents, chart: str, *, paper: Paper = "A4") -> str:
    """One HTML page; every word is escaped, ``chart`` is the SVG text that this project drew."""
    from jinja2 import Environment
    from markupsafe import Markup

    text = (files("soakwitness.cli.sheets") / "sheet.html").read_text(encoding="utf-8")
    template = Environment(autoescape=True, trim_blocks=False).from_string(text)
    return template.render(sheet=contents, chart=Markup(chart), paper=paper)


def chart_svg(run: Run, verification: Verification, recipe: Recipe, *, unit: Unit) -> str:
    """Return the run's chart as an SVG element to stand inside a page (text in it is escaped by matplotlib)."""
    from soakwitness.cli.charts import style
    from soakwitness.cli.charts.run_chart import run_figure

    drawn = io.StringIO()
    with style.own_look():
        figure = run_figure(run, verification, recipe, unit=unit, size=(10.0, 5.6))
        figure.savefig(drawn, format="svg", metadata={"Date": None})
    text = drawn.getvalue()
    return text[text.index("<svg") :]
