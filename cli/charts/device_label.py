"""A label for a device at the furnace: its name, its link as a square code, what it does and what it does not."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts.style import save
from soakwitness.cli.words.device_words import label_words

if TYPE_CHECKING:
    from matplotlib.transforms import Affine2D

WIDE_IN, HIGH_IN = 4.0, 2.4
CODE_IN = 2.1
MARGIN_IN = 0.15
NAME_LETTERS, NAME_LINES = 14, 4


def write_label(path: Path, *, name: str, rights: str, link: str) -> None:
    """Draw the label; the ending says which format."""
    import matplotlib as mpl
    import segno
    from matplotlib.figure import Figure
    from matplotlib.patches import PathPatch, Rectangle
    from matplotlib.path import Path as Outline

    figure = Figure(figsize=(WIDE_IN, HIGH_IN), facecolor="white")
    ax = figure.add_axes((0, 0, 1, 1), xlim=(0, WIDE_IN), ylim=(0, HIGH_IN))
    ax.set_axis_off()
    ax.add_patch(Rectangle((0.02, 0.02), WIDE_IN - 0.04, HIGH_IN - 0.04, fill=False, ec="#1D1F22", lw=0.8))
    rows = [list(row) for row in segno.make_qr(link, error="m").matrix_iter(border=4)]
    size = CODE_IN / len(rows)
    left, top = MARGIN_IN, HIGH_IN - (HIGH_IN - CODE_IN) / 2
    dark = [
        Outline.unit_rectangle().transformed(_placed(left + column * size, top - (row + 1) * size, size))
        for row, line in enumerate(rows)
        for column, one in enumerate(line)
        if one
    ]
    ax.add_patch(PathPatch(Outline.make_compound_path(*dark), fc="black", ec="none", lw=0, snap=False))
    at = left + CODE_IN + MARGIN_IN / 2
    words = textwrap.wrap(name, NAME_LETTERS, max_lines=NAME_LINES, placeholder="…")
    ink: dict[str, Any] = {"va": "top", "color": "#1D1F22", "parse_math": False}
    ax.text(at, HIGH_IN - 0.3, "\n".join(words), fontsize=13, fontweight="bold", linespacing=1.15, **ink)
    ax.text(at, 0.95, "\n".join(textwrap.wrap(label_words(rights), 22)), fontsize=9.5, linespacing=1.2, **ink)
    ax.text(at, 0.36, "Furnace log book", fontsize=8, **ink)
    with mpl.rc_context({"svg.fonttype": "path", "svg.hashsalt": "label"}):
        save(figure, path)


def _placed(x: float, y: float, size: float) -> Affine2D:
    from matplotlib.transforms import Affine2D

    return Affine2D().scale(size).translate(x, y)
