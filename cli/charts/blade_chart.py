"""The map of a blade on paper: the outline, places and shades of ``blade_map``, drawn into a figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from soakwitness.cli.charts.blade_map import HEIGHT, SHADES, WIDTH, light, outline, placed, point, shade
from soakwitness.cli.words.hardness_words import one_reading

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from soakwitness.analysis.logbook.hardness import HardnessEntry

OUTLINE, SOFT, FILL = "#1d1f22", "#5b6068", "#f7f5ef"
ON_LIGHT, ON_DARK = "#000000", "#ffffff"
_BELOW = 60  # of the picture's height: a page has no legend, the numbers tell it


def draw_blade(figure: Figure, box: tuple[float, float, float, float], tests: Sequence[HardnessEntry]) -> None:
    """Draw what was read where into a part of the figure, as shares of it (left, bottom, wide, high)."""
    axes = figure.add_axes(box)
    axes.set_axis_off()
    axes.set_xlim(0, WIDTH)
    axes.set_ylim(HEIGHT - _BELOW, 0)
    axes.set_aspect("equal", anchor="W")
    xs, ys = zip(*outline(), strict=True)
    axes.fill(xs, ys, facecolor=FILL, edgecolor=OUTLINE, linewidth=1.0, joinstyle="round")
    read = placed(tests)
    means = [one.mean for one in read]
    for one in read:
        x, y = point(one.place)
        number = shade(one.mean, means)
        axes.text(
            x,
            y,
            one_reading(one.mean, one.scale),
            ha="center",
            va="center",
            fontsize=6.5,
            color=ON_LIGHT if light(number) else ON_DARK,
            bbox={"boxstyle": "round,pad=0.25", "facecolor": SHADES[number], "edgecolor": "white", "linewidth": 0.6},
        )
    for x, word, side in ((125.0, "heel", "left"), (985.0, "tip", "right")):
        axes.text(x, 335.0, word, ha=side, va="bottom", fontsize=6.5, color=SOFT)
