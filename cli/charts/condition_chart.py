"""The furnace's own figures over the dates: a strip each, what it was at first beside what it is now, in words."""

from __future__ import annotations

import textwrap
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.condition.trends import LEAST_CHANGE
from soakwitness.cli.charts import style
from soakwitness.cli.words.condition_words import MAIN, change_words, figure_words
from soakwitness.firmware_bridge.common.units import Unit, from_kelvin
from soakwitness.firmware_bridge.common.wording import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.condition.judging import Condition
    from soakwitness.analysis.condition.trends import Trend

MOST = 5
LEAST_APART = 0.2  # of a strip's height: two names of levels below each other
IN_PERCENT = ("output", "top")


def save_condition_chart(condition: Condition, path: Path, *, unit: Unit = "C") -> None:
    """Draw the figures that matter most and write them as PNG, SVG or PDF."""
    with style.own_look():
        style.save(condition_figure(condition, unit=unit), path)


def chosen_trends(condition: Condition) -> tuple[Trend, ...]:
    """TrendsByKind to draw: those that moved, then the main ones; in the order of the table."""
    ranked = sorted(condition.trends, key=lambda t: (not t.moved, t.kind not in MAIN, -t.shift.gain))[:MOST]
    ranked = [t for t in ranked if t.moved or t.kind in MAIN]
    return tuple(t for t in condition.trends if t in ranked)


def condition_figure(condition: Condition, *, unit: Unit) -> Figure:
    """Figure with one strip a figure. Call within ``style.own_look()``."""
    from matplotlib.figure import Figure

    trends = chosen_trends(condition)
    title = textwrap.fill(condition.says.text(unit), 92)
    if condition.parts:
        title += "\n" + textwrap.fill(f"Measure: {condition.parts[0].measure}", 92)
    height = 0.9 + 0.2 * title.count("\n") + 1.35 * max(1, len(trends))
    figure = Figure(figsize=(9.6, height), layout="constrained")
    figure.suptitle(title, x=0.01, ha="left", fontsize=11)
    if not trends:
        figure.text(0.5, 0.4, "Too few runs to see a trend.", ha="center")
        return figure
    axes = figure.subplots(len(trends), 1, squeeze=False, sharex=True)[:, 0]
    for ax, trend in zip(axes, trends, strict=True):
        _strip(ax, trend, unit)
    _work(list(axes), condition)
    axes[-1].tick_params(labelbottom=True)
    return figure


def _strip(ax: Axes, trend: Trend, unit: Unit) -> None:
    """Runs as dots, the line through them, the first level drawn on to today, both levels named at its end."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    days: list[Any] = [datetime.fromisoformat(day) for day in trend.days]
    values = [_on_scale(trend.figure.shown(float(v)), trend, unit) for v in trend.shift.cleaned]
    level = [_on_scale(trend.figure.shown(float(v)), trend, unit) for v in trend.level]
    usual = _on_scale(trend.usual, trend, unit)
    colour = style.VERMILION if trend.moved else style.BLUE
    ax.plot(days, values, color="#9A9A9A", marker="o", markersize=3.0, linestyle="none")
    for first, last in _parts(trend):
        ax.plot(days[first:last], level[first:last], color=colour, linewidth=2.2, marker="_", markersize=4)
    ax.plot([days[trend.fresh], days[-1]], [usual] * 2, **_FIRST)
    ax.set_title(_heading(trend, unit), fontweight="bold" if trend.moved else "normal")
    _set_height(ax, trend, [*values, *level], unit)
    ax.yaxis.set_major_locator(MaxNLocator(3, steps=[1, 2, 5, 10], min_n_ticks=2))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: number(value, 2)))
    ax.set_ylabel(_scale_words(trend, unit))
    ax.grid(visible=True, axis="y")
    ax.grid(visible=False, axis="x")
    _name_levels(ax, trend, (usual, level[-1]), colour, unit)


def _name_levels(ax: Axes, trend: Trend, levels: tuple[float, float], colour: str, unit: Unit) -> None:
    """What it was at first and is now, beside the strip: apart where both are near, once where they are one."""
    low, high = ax.get_ylim()
    at = [(value - low) / (high - low) for value in levels]
    if abs(at[1] - at[0]) < LEAST_APART:
        middle, way = sum(at) / 2.0, 1.0 if at[1] >= at[0] else -1.0
        at = [middle - way * LEAST_APART / 2.0, middle + way * LEAST_APART / 2.0]
    began = "as new" if trend.begun_by else "at first"
    usual, now = (figure_words(value, trend.kind, unit) for value in (trend.usual, trend.now))
    place: dict[str, Any] = {"va": "center", "ha": "left", "transform": ax.transAxes}
    if usual == now:
        ax.text(
            1.01,
            sum(at) / 2.0,
            f"now {now}, as {'when new' if trend.begun_by else 'at first'}",
            color="#333333",
            **place,
        )
        return
    ax.text(1.01, at[0], f"{began} {usual}", color="#333333", **place)
    ax.text(1.01, at[1], f"now {now}", color=colour, fontweight="bold" if trend.moved else "normal", **place)


def _on_scale(value: float, trend: Trend, unit: Unit) -> float:
    """A value of a figure as its scale shows it."""
    if trend.kind in IN_PERCENT:
        return value
    return 100.0 * value if trend.kind == "missed" else from_kelvin(value, unit)


def _scale_words(trend: Trend, unit: Unit) -> str:
    """The unit of a strip's scale."""
    if trend.kind in IN_PERCENT or trend.kind == "missed":
        return "%"
    return f"{style.degree(unit)}/h" if trend.kind in ("climb", "cooling") else style.degree(unit)


_FIRST: dict[str, Any] = {"color": "#333333", "linewidth": 1.0, "linestyle": (0, (6, 4))}


def _parts(trend: Trend) -> list[tuple[int, int]]:
    """First and last index of the parts of the line, which breaks where it changed at once."""
    breaks = {trend.fresh, *(p.begins for p in trend.shift.pieces if trend.moved and p.way == "at once")}
    edges = sorted({0, len(trend.days), *breaks})
    return list(zip(edges, edges[1:], strict=False))


def _set_height(ax: Axes, trend: Trend, values: list[float], unit: Unit) -> None:
    """From the lowest to the highest but for odd single runs, and never so near that scatter looks like a change."""
    import numpy as np

    low, high = np.percentile(values, (1.0, 99.0))
    change = trend.figure.shown(2.0 * LEAST_CHANGE[trend.kind]) - trend.figure.shown(0.0)
    least = _on_scale(change, trend, unit)
    room = max(0.25 * (high - low), 0.5 * (2.0 * least - (high - low)))
    ax.set_ylim(low - room, high + room)


def _heading(trend: Trend, unit: Unit) -> str:
    name = trend.figure.name.text(unit)
    if trend.moved:
        way = "slowly" if trend.way == "slowly" else "at once"
        return f"{name}: {change_words(trend, unit)}, {way} since {trend.since}"
    if trend.restless_since:
        return f"{name}: up and down since {trend.restless_since}"
    return f"{name}: as it was"


def _work(axes: list[Axes], condition: Condition) -> None:
    """What was done to the furnace: a line through all strips, its name above the first."""
    first, last = condition.first_day or "", condition.last_day or ""
    for work in condition.upkeep:
        if not first <= work.done_utc[:10] <= last:
            continue
        day: Any = datetime.fromisoformat(work.done_utc[:10])
        for ax in axes:
            ax.axvline(day, color=style.BLACK, linewidth=1.1, linestyle=(0, (2, 2)))
        axes[0].annotate(
            f" {work.part}", (day, 1.0), xycoords=("data", "axes fraction"), va="top", ha="left", color=style.BLACK
        )
