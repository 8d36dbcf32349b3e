"""How wide words are in the page's own type, and where lines break: measured in the font that the PDF embeds."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.ft2font import FT2Font

LEADING = 1.25
MEASURED_PT = 100.0  # widths are measured once at this size and scaled


def height_in(points: float) -> float:
    """Height of a line of type [in]."""
    return points * LEADING / 72.0


def width_in(words: str, points: float, *, bold: bool = False) -> float:
    """Width of a line of type [in]."""
    blank = _width_pt("n n", bold) - _width_pt("nn", bold)
    parts = words.split(" ")
    return (sum(_width_pt(part, bold) for part in parts) + blank * (len(parts) - 1)) * points / MEASURED_PT / 72.0


def wrapped(words: str, wide_in: float, points: float, *, bold: bool = False, first_in: float = 0.0) -> list[str]:
    """Break words into lines of a width, the first shorter by ``first_in``; a word too long for one is broken too."""
    lines: list[str] = []
    line, room = "", wide_in - first_in
    for word in words.split():
        longer = f"{line} {word}" if line else word
        if width_in(longer, points, bold=bold) <= room:
            line = longer
            continue
        if line or first_in and not lines:
            lines.append(line)
            room = wide_in
        line = word
        while width_in(line, points, bold=bold) > room:
            cut = next((n for n in range(len(line), 1, -1) if width_in(line[:n], points, bold=bold) <= room), 1)
            lines.append(line[:cut])
            line = line[cut:]
    return [*lines, line]


@lru_cache(maxsize=20_000)
def _width_pt(word: str, bold: bool) -> float:
    font = _font(bold)
    font.set_size(MEASURED_PT, 72.0)  # the font is matplotlib's too, which draws with it in between
    font.set_text(word, 0.0)
    return float(font.get_width_height()[0]) / 64.0


@lru_cache
def _font(bold: bool) -> FT2Font:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    from soakwitness.cli.charts.style import SANS_SERIF

    found = findfont(FontProperties(family=SANS_SERIF, weight="bold" if bold else "normal"))
    return get_font(found)
