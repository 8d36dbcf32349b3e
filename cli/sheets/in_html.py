"""A picture inside an HTML page: drawn for the paper and for a phone, its colours the page's own, light and dark."""

from __future__ import annotations

import io
import re
from functools import cache
from importlib.resources import files
from typing import Literal

from soakwitness.cli.sheets.blocks import Block, Chart

Shape = Literal["wide", "flat", "narrow"]
SIZES_IN: dict[Shape, tuple[float, float]] = {"wide": (9.6, 5.2), "flat": (9.6, 3.1), "narrow": (3.8, 7.8)}
COLOURS = {  # of the charts' style, and the page's names for them
    "#000000": "ink",
    "#333333": "ink",
    "#444444": "ink",
    "#555555": "soft",
    "#666666": "soft",
    "#888888": "soft",
    "#999999": "soft",
    "#dddddd": "line",
    "#0072b2": "chamber",
    "#d55e00": "blade",
    "#cc79a7": "estimate",
    "#009e73": "third",
    "#8a8200": "edge",
    "#f0e442": "band",
}
_UNIT = re.compile(r"(?<=\d) (?=°|min\b|s\b|h\b|mm\b)")
_COLOUR = re.compile(r"(?P<what>fill|stroke)(?P<is>: |=\")(?P<colour>#[0-9a-f]{6})")
_TEXT = re.compile(r"<text [^>]*>")
_ALONE = "text { fill: var(--ink); font-family: ui-sans-serif, system-ui, sans-serif !important; }"


def kind_of(block: Block) -> str:
    """Name of a kind of block, for the page's template."""
    return type(block).__name__.lower()


def tied(words: str) -> str:
    """Words in which a number and its unit stay on one line."""
    return _UNIT.sub("\N{NO-BREAK SPACE}", words)


def chart_svg(chart: Chart, shape: Shape) -> str:
    """A chart as an SVG element to stand inside a page (text in it is escaped by matplotlib)."""
    import matplotlib
    from matplotlib.figure import Figure

    from soakwitness.cli.charts import style

    drawn = io.StringIO()
    with style.own_look(), matplotlib.rc_context({"svg.hashsalt": f"soakwitness {shape}"}):
        figure = Figure(figsize=SIZES_IN[shape])
        chart.draw(figure, (0.0, 0.0, 1.0, 1.0))
        figure.savefig(drawn, format="svg", metadata={"Date": None})
    text = drawn.getvalue()
    return in_own_colours(text[text.index("<svg") :])


def in_own_colours(svg: str) -> str:
    """The picture with the page's colours by name, so that a dark page draws it light on dark."""
    svg = _TEXT.sub(lambda found: found[0].replace("fill: #ffffff", "fill: var(--on-bar, #ffffff)"), svg)
    svg = svg.replace("fill: #ffffff", "fill: var(--card, #ffffff)").replace(
        'fill="#ffffff"', 'fill="var(--card, #ffffff)"'
    )

    def named(found: re.Match[str]) -> str:
        name = COLOURS.get(found["colour"])
        value = f"var(--{name}, {found['colour']})" if name else found["colour"]
        return f"{found['what']}{found['is']}{value}"

    return _COLOUR.sub(named, svg)


@cache
def colours() -> str:
    """What the page's names of colours stand for, light and dark, as CSS."""
    return (files("soakwitness.cli.sheets") / "colours.css").read_text(encoding="utf-8").rstrip("\n")


def svg_alone(chart: Chart, shape: Shape) -> str:
    """A chart as a file of its own, light or dark as the page that shows it."""
    opening, _, rest = chart_svg(chart, shape).partition(">")
    return f"{opening}><style>{colours()} {_ALONE}</style>{rest}"
