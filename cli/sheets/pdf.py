"""Lays sheets out as PDF pages with matplotlib's own writer: vectors, each sheet's first page whole, then its annex."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.cli.sheets.blocks import TONES, Block, Chart, Item, Items, Lines, Sheet, SheetTable, Signature
from soakwitness.cli.sheets.typesetting import height_in, width_in, wrapped

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from soakwitness.cli.sheets.writing import Paper

PAPER_IN = {"A4": (8.27, 11.69), "letter": (8.5, 11.0)}
MARGIN_IN = 0.42
SENTENCE_PT, BELOW_PT, BODY_PT, FULL_PT, SMALL_PT, CHART_PT = 15.0, 9.0, 7.4, 6.8, 6.3, 7.0
CARD_PTS, CARD_CHART_IN = (9.6, 9.0, 8.4, 7.9), 3.0  # the largest type that leaves a card's picture so much
INK, SOFT, LINE = "#1D1F22", "#5B6068", "#CFCABC"
INKS = {"good": "#00785A", "wait": "#8A5A00", "bad": "#B3261E", "": INK}
TAG_IN, BROAD_TAG_IN = 0.42, 0.52
GAP_IN = 0.11
ROW_IN = 0.022  # from a row's fine line to its words
WIDEST = 0.42  # of a table: no column is wider before the others have what they need

Draw = Callable[["Page", float], None]


@dataclass(frozen=True)
class Strip:
    """A strip of a page that is not parted: how high it is [in], and how it is drawn with its top at a height [in]."""

    height_in: float
    draw: Draw


@dataclass(frozen=True)
class Setting:
    """What blocks are set in: width between the margins [in], size of the body's type [pt]."""

    wide_in: float
    points: float = BODY_PT

    @property
    def line_in(self) -> float:
        """Height of a line of the body [in]."""
        return height_in(self.points)


class Page:
    """One page under the pen; heights are counted from its foot [in]."""

    def __init__(self, size_in: tuple[float, float]) -> None:
        from matplotlib.figure import Figure

        self.size_in = size_in
        self.figure: Figure = Figure(figsize=size_in)

    def put(self, words: str, top_in: float, *, x_in: float = 0.0, points: float = BODY_PT, **look: Any) -> None:
        """Write one line with its top at a height."""
        x, y = (MARGIN_IN + x_in) / self.size_in[0], top_in / self.size_in[1]
        look.setdefault("color", INK)
        self.figure.text(x, y, words, fontsize=points, va="top", ha=look.pop("ha", "left"), **look)

    def rule(self, y_in: float, *, color: str = LINE, to_in: float | None = None, from_in: float = 0.0) -> None:
        """Draw a fine line across."""
        from matplotlib.lines import Line2D

        left = (MARGIN_IN + from_in) / self.size_in[0]
        right = 1 - MARGIN_IN / self.size_in[0] if to_in is None else (MARGIN_IN + to_in) / self.size_in[0]
        y = y_in / self.size_in[1]
        self.figure.add_artist(Line2D([left, right], [y, y], color=color, linewidth=0.5))


def write_pdf(sheets: Sequence[Sheet], path: Path, *, paper: Paper) -> None:
    """Write sheets as PDF; same sheets, same bytes."""
    from matplotlib.backends.backend_pdf import PdfPages

    size = PAPER_IN[paper]
    dates = {"CreationDate": datetime(2000, 1, 1, tzinfo=UTC)}
    with style.own_look(points=CHART_PT), PdfPages(path, metadata={**dates, "Title": sheets[0].title}) as pdf:
        for sheet in sheets:
            for page in _pages(sheet, size):
                pdf.savefig(page.figure)


def _pages(sheet: Sheet, size_in: tuple[float, float]) -> Iterator[Page]:
    usual = FULL_PT if sheet.full else BODY_PT
    for points in (*CARD_PTS, usual) if sheet.card else (usual,):
        setting = Setting(size_in[0] - 2 * MARGIN_IN, points)
        head, body, foot = list(_head(sheet, setting)), list(_body(sheet.blocks, setting)), list(_foot(sheet, setting))
        left = size_in[1] - 2 * MARGIN_IN - sum(strip.height_in for strip in (*head, *body, *foot))
        if left > CARD_CHART_IN + GAP_IN:
            break
    charts = [block for block in sheet.blocks if isinstance(block, Chart) and not block.own_in]
    if charts:
        tall = min(max(left - GAP_IN, charts[0].least_in), charts[0].most_in)
        body = list(_body(sheet.blocks, setting, chart_in=tall))
    yield from _filled([*head, *body, *foot], size_in)
    if sheet.annex:
        title = Strip(height_in(13.0) + GAP_IN, lambda page, y: page.put(f"Annex. {sheet.title}", y, points=11.0))
        yield from _filled([title, *_body(sheet.annex, setting)], size_in)


def _filled(strips: Sequence[Strip], size_in: tuple[float, float]) -> Iterator[Page]:
    """Pages filled from the top down; the next one begins where a strip finds no room."""
    page, y = Page(size_in), size_in[1] - MARGIN_IN
    for strip in strips:
        if y - strip.height_in < MARGIN_IN - 0.02 and y < size_in[1] - MARGIN_IN:
            yield page
            page, y = Page(size_in), size_in[1] - MARGIN_IN
        strip.draw(page, y)
        y -= strip.height_in
    yield page


def _gap(high_in: float = GAP_IN) -> Strip:
    return Strip(high_in, lambda page, y: None)


def _line(words: str, points: float = BODY_PT, x_in: float = 0.0, **look: Any) -> Strip:
    return Strip(height_in(points), lambda page, y: page.put(words, y, x_in=x_in, points=points, **look))


def _paragraph(words: str, wide_in: float, points: float, **look: Any) -> Iterator[Strip]:
    bold = look.get("fontweight") == "bold"
    for line in wrapped(words, wide_in, points, bold=bold):
        yield _line(line, points, **look)


def _head(sheet: Sheet, setting: Setting) -> Iterator[Strip]:
    wide = setting.wide_in
    tag_in = width_in(sheet.tag, BODY_PT, bold=True)

    def where(page: Page, y: float) -> None:
        page.put(wrapped(sheet.where, wide - tag_in - 0.3, 8.0)[0], y, points=8.0, color=SOFT)
        box = {"boxstyle": "round,pad=0.3", "facecolor": "none", "edgecolor": INKS[sheet.tone], "linewidth": 0.9}
        look: dict[str, Any] = {"ha": "right", "fontweight": "bold", "color": INKS[sheet.tone], "bbox": box}
        page.put(sheet.tag, y, x_in=wide - 0.05, points=BODY_PT, **look)

    if sheet.shop:
        yield from _paragraph(" · ".join(sheet.shop), wide, 8.0, color=INK, fontweight="bold")
    yield Strip(height_in(8.0), where)
    for rest in wrapped(sheet.where, wide - tag_in - 0.3, 8.0)[1:]:
        yield _line(rest, 8.0, color=SOFT)
    yield _gap(0.06)
    yield from _paragraph(sheet.sentence, wide, SENTENCE_PT, fontweight="bold")
    yield _gap(0.05)
    yield from _paragraph(" ".join(sheet.below), wide, BELOW_PT)
    facts = " · ".join(f"{name}: {words}" for name, words in sheet.facts)
    yield _gap(0.03)
    yield from _paragraph(facts, wide, BODY_PT, color=SOFT)


def _foot(sheet: Sheet, setting: Setting) -> Iterator[Strip]:
    yield _gap(0.05)
    yield Strip(0.03, lambda page, y: page.rule(y, color=INK))
    yield from _paragraph(sheet.foot, setting.wide_in, BODY_PT, fontweight="bold")


def _body(blocks: Sequence[Block], setting: Setting, *, chart_in: float = 0.0) -> Iterator[Strip]:
    for block in blocks:
        if isinstance(block, Chart):
            if (tall_in := block.own_in or chart_in) > 0.0:
                yield _gap()
                yield _chart(block, tall_in)
        elif isinstance(block, SheetTable):
            yield from _table(block, setting)
        elif isinstance(block, Items):
            yield from _items(block, setting)
        elif isinstance(block, Lines):
            yield from _lines(block, setting)
        else:
            yield from _signature(block, setting)


def _heading(words: str) -> Iterator[Strip]:
    yield _gap()
    if words:
        yield _line(words, 8.6, fontweight="bold")


def _chart(chart: Chart, tall_in: float) -> Strip:
    def draw(page: Page, y: float) -> None:
        left = MARGIN_IN / page.size_in[0]
        box = (left, (y - tall_in) / page.size_in[1], 1 - 2 * left, tall_in / page.size_in[1])
        chart.draw(page.figure, box)

    return Strip(tall_in, draw)


def _lines(block: Lines, setting: Setting) -> Iterator[Strip]:
    yield from _heading(block.heading)
    points, look = (SMALL_PT, {"color": SOFT}) if block.small else (setting.points, {})
    for words in block.lines:
        yield from _paragraph(words, setting.wide_in, points, **look)


def _after(words: str, setting: Setting) -> Iterator[Strip]:
    if words:
        yield from _paragraph(words, setting.wide_in, setting.points, color=SOFT)


def _items(block: Items, setting: Setting) -> Iterator[Strip]:
    yield from _heading(block.heading)
    tag_in = (BROAD_TAG_IN if block.broad else TAG_IN) * max(setting.points / BODY_PT, 1.0)
    yield from (_item(item, setting, tag_in) for item in block.items)
    yield from _after(block.after if block.items else block.empty, setting)


def _item(item: Item, setting: Setting, tag_in: float) -> Strip:
    """A sentence behind its tag; what is said more goes on in its last line."""
    tone = INKS[TONES.get(item.tag, "")] if item.tag in TONES else SOFT
    wide, points, line_in = setting.wide_in - tag_in, setting.points, setting.line_in
    lines = wrapped(item.text, wide, points)
    end_in = width_in(lines[-1] + "  ", points)
    more = wrapped(item.more, wide, points, first_in=end_in) if item.more else []
    count = len(lines) + max(len(more) - 1, 0)

    def draw(page: Page, y: float) -> None:
        page.rule(y)
        page.put(item.tag, y - ROW_IN, points=points, color=tone, fontweight="bold")
        for n, words in enumerate(lines):
            page.put(words, y - ROW_IN - n * line_in, x_in=tag_in, points=points)
        for n, words in enumerate(more):
            x, row = tag_in + (end_in if n == 0 else 0.0), len(lines) - 1 + n
            page.put(words, y - ROW_IN - row * line_in, x_in=x, points=points, color=SOFT)

    return Strip(count * line_in + 1.4 * ROW_IN, draw)


def _table(table: SheetTable, setting: Setting) -> Iterator[Strip]:
    yield from _heading(table.heading)
    if table.rows:
        widths = column_widths(table, setting)
        verdict = table.head.index("verdict") if "verdict" in table.head else None
        yield _row(table.head, widths, setting, color=SOFT)
        for row in table.rows:
            yield _row(row, widths, setting, verdict=verdict)
    yield from _after(table.after if table.rows else table.empty, setting)


def column_widths(table: SheetTable, setting: Setting) -> list[float]:
    """Share the width [in]: every column what its longest word needs, then by what its cells would fill."""

    def widest(words: Iterable[str]) -> float:
        return max((width_in(one, setting.points, bold=True) for one in words), default=0.0) + GAP_IN

    wide_in, columns = setting.wide_in, list(zip(table.head, *table.rows, strict=True))
    full = [widest(cells) for cells in columns]
    if sum(full) <= wide_in:
        spare = (wide_in - sum(full)) / len(full)
        return [width + spare for width in full]
    need = [min(widest(word for cell in cells for word in cell.split()), WIDEST * wide_in) for cells in columns]
    wish = [max(width - least, 0.0) for width, least in zip(full, need, strict=True)]
    spare, scale = max(wide_in - sum(need), 0.0), wide_in / max(sum(need), wide_in)
    return [scale * least + spare * more / max(sum(wish), 1e-9) for least, more in zip(need, wish, strict=True)]


def _row(
    row: Sequence[str], widths: Sequence[float], setting: Setting, *, verdict: int | None = None, color: str = INK
) -> Strip:
    """One row of wrapped cells with a fine line above."""
    points, line_in = setting.points, setting.line_in
    cells = [
        wrapped(words, width - 0.06, points, bold=i == verdict)
        for i, (words, width) in enumerate(zip(row, widths, strict=True))
    ]

    def draw(page: Page, y: float) -> None:
        page.rule(y)
        x_in = 0.0
        for i, (lines, width) in enumerate(zip(cells, widths, strict=True)):
            look: dict[str, Any] = {"color": color}
            if i == verdict:
                look = {"fontweight": "bold", "color": INKS[TONES.get(row[i], "")]}
            for n, line in enumerate(lines):
                page.put(line, y - ROW_IN - n * line_in, x_in=x_in, points=points, **look)
            x_in += width

    return Strip(max(map(len, cells)) * line_in + 1.4 * ROW_IN, draw)


def _signature(block: Signature, setting: Setting) -> Iterator[Strip]:
    yield _gap(0.45)
    each = setting.wide_in / len(block.places)

    def draw(page: Page, y: float) -> None:
        for n, words in enumerate(block.places):
            page.rule(y, color=INK, from_in=n * each, to_in=(n + 1) * each - 0.3)
            page.put(words, y - 0.03, x_in=n * each, points=SMALL_PT, color=SOFT)

    yield Strip(height_in(SMALL_PT) + 0.05, draw)
