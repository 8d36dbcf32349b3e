"""Lays a run sheet out as PDF pages with matplotlib's own writer: vectors, one page where it fits."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.cli.sheets.contents import SheetContents, SheetTable
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import Verification
    from soakwitness.cli.sheets.writing import Paper

PAPER_IN = {"A4": (8.27, 11.69), "letter": (8.5, 11.0)}
MARGIN_IN = 0.45
BODY_PT = 6.9
SMALL_PT = 6.0
LEADING = 1.24
CHARACTER = 0.55  # mean width of a character over its height in matplotlib's serif type
CHART_IN = 3.5


class Pages:
    """Writes from the top down and opens the next page when one is full."""

    def __init__(self, size_in: tuple[float, float]) -> None:
        self.size_in = size_in
        self.pages: list[Figure] = []
        self.y_in = 0.0
        self.new_page()

    @property
    def width_in(self) -> float:
        """Width between the margins."""
        return self.size_in[0] - 2 * MARGIN_IN

    def new_page(self) -> None:
        """Begin a page."""
        from matplotlib.figure import Figure

        self.pages.append(Figure(figsize=self.size_in))
        self.y_in = self.size_in[1] - MARGIN_IN

    def room(self, height_in: float) -> None:
        """Turn the page where less than this height is left."""
        if self.y_in - height_in < MARGIN_IN:
            self.new_page()

    def put(self, words: str, *, x_in: float = 0.0, points: float = BODY_PT, down_in: float = 0.0, **look: Any) -> None:
        """Write one line with its top at the cursor, ``down_in`` below it."""
        x, y = (MARGIN_IN + x_in) / self.size_in[0], (self.y_in - down_in) / self.size_in[1]
        self.pages[-1].text(x, y, words, fontsize=points, va="top", ha="left", **look)

    def paragraph(self, words: str, *, points: float = BODY_PT, **look: Any) -> None:
        """Write wrapped words over the full width."""
        lines = wrap(words, self.width_in, points)
        self.room(len(lines) * height(points))
        for line in lines:
            self.put(line, points=points, **look)
            self.y_in -= height(points)

    def rule(self) -> None:
        """Draw a fine line across at the cursor."""
        from matplotlib.lines import Line2D

        left, right = MARGIN_IN / self.size_in[0], 1 - MARGIN_IN / self.size_in[0]
        y = self.y_in / self.size_in[1]
        self.pages[-1].add_artist(Line2D([left, right], [y, y], color="#BBBBBB", linewidth=0.4))


def height(points: float) -> float:
    """Height of a line of type [inch]."""
    return points * LEADING / 72


def wrap(words: str, width_in: float, points: float) -> list[str]:
    """Break words into lines of a width; a word that is too long is broken too."""
    most = max(4, int(width_in * 72 / (points * CHARACTER)))
    return textwrap.wrap(words, most) or [""]


def column_widths(table: SheetTable, width_in: float) -> list[float]:
    """Share the width by what the columns hold: as long as their longest word, then by their text."""
    cells = [table.head, *table.rows]
    longest = [max(len(row[i]) for row in cells) for i in range(len(table.head))]
    words = [max((len(w) for row in cells for w in row[i].split()), default=1) for i in range(len(table.head))]
    weights = [max(min(w, 20) + 1.5, min(n, 70) ** 0.85) for w, n in zip(words, longest, strict=True)]
    return [width_in * w / sum(weights) for w in weights]


def draw_table(pages: Pages, table: SheetTable) -> None:
    """Write a table; rows are never cut by the page's end."""
    pages.y_in -= 0.05
    pages.room(4 * height(BODY_PT))
    pages.put(table.heading, points=8.2, fontweight="bold")
    pages.y_in -= height(8.6)
    if not table.rows:
        pages.paragraph(table.empty)
        return
    widths = column_widths(table, pages.width_in)
    draw_row(pages, table.head, widths, color="#555555")
    verdict = table.head.index("verdict") if "verdict" in table.head else None
    for row in table.rows:
        draw_row(pages, row, widths, bold=verdict)


def draw_row(pages: Pages, row: Sequence[str], widths: list[float], *, bold: int | None = None, **look: Any) -> None:
    """Write one row of wrapped cells with a fine line above."""
    cells = [wrap(words, width - 0.06, BODY_PT) for words, width in zip(row, widths, strict=True)]
    tall = max(len(lines) for lines in cells) * height(BODY_PT) + 0.02
    pages.room(tall)
    pages.rule()
    x_in = 0.0
    for i, (lines, width) in enumerate(zip(cells, widths, strict=True)):
        weight: dict[str, Any] = {"fontweight": "bold"} if i == bold else {}
        for n, line in enumerate(lines):
            pages.put(line, x_in=x_in, down_in=0.015 + n * height(BODY_PT), **weight, **look)
        x_in += width
    pages.y_in -= tall


def draw_chart(pages: Pages, run: Run, verification: Verification, recipe: Recipe, unit: Unit) -> None:
    """Draw the run's chart over the full width."""
    from soakwitness.cli.charts.run_chart import draw_run

    page, box = chart_place(pages)
    with style.own_look(points=7.0):
        draw_run(page, box, run, verification, recipe, unit=unit)


def chart_place(pages: Pages) -> tuple[Figure, tuple[float, float, float, float]]:
    """Page and place of a chart over the full width; the cursor stands below it then."""
    pages.room(CHART_IN)
    page = pages.pages[-1]
    bottom = (pages.y_in - CHART_IN) / pages.size_in[1]
    left = MARGIN_IN / pages.size_in[0]
    pages.y_in -= CHART_IN + 0.05
    return page, (left, bottom, 1 - 2 * left, CHART_IN / pages.size_in[1])


def write_pdf(
    run: Run,
    verification: Verification,
    recipe: Recipe,
    contents: SheetContents,
    path: Path,
    *,
    unit: Unit,
    paper: Paper,
) -> None:
    """Write the sheet of a run as PDF; same run, same bytes."""
    lay_out(contents, path, lambda pages: draw_chart(pages, run, verification, recipe, unit), paper=paper)


def lay_out(contents: SheetContents, path: Path, chart: Callable[[Pages], None], *, paper: Paper) -> None:
    """Write any sheet as PDF: its words, its first table, its chart, the other tables."""
    from matplotlib.backends.backend_pdf import PdfPages

    with style.own_look():
        pages = Pages(PAPER_IN[paper])
        pages.paragraph(contents.title, points=13)
        pages.paragraph(contents.verdict, points=12, fontweight="bold")
        pages.paragraph(contents.measured)
        pages.paragraph("; ".join(f"{name}: {words.rstrip('.')}" for name, words in contents.facts) + ".")
        draw_table(pages, contents.tables[0])
        chart(pages)
        for table in (contents.findings, *contents.tables[1:]):
            draw_table(pages, table)
        pages.y_in -= 0.05
        for line in (*contents.lines, " ".join(contents.cautions)):
            pages.paragraph(line, points=SMALL_PT)
        pages.paragraph(contents.foot, fontweight="bold")
        dates = {"CreationDate": datetime(2000, 1, 1, tzinfo=UTC)}
        with PdfPages(path, metadata={**dates, "Title": contents.title}) as pdf:
            for page in pages.pages:
                pdf.savefig(page)
