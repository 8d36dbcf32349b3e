"""The furnace's own figures run by run: single values with limits, the smoothed line, the sums below."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.units import Unit, from_kelvin

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.condition.judging import Condition
    from soakwitness.analysis.condition.trends import Trend

MOST = 4


def save_condition_chart(condition: Condition, path: Path, *, unit: Unit = "C") -> None:
    """Draw the trends that matter most and write them as PNG, SVG or PDF."""
    with style.own_look():
        style.save(condition_figure(condition, unit=unit), path)


def chosen_trends(condition: Condition) -> tuple[Trend, ...]:
    """Trends to draw: those that moved most first, then one of each other kind."""
    main = condition.groups[0][0] if condition.groups else ""
    mine = [t for t in condition.trends if t.series.group in (main, "all runs")]
    ordered = sorted(mine, key=lambda t: (not t.moved, -abs(t.smoothed.smoothed[-1] - t.usual)))
    kinds: dict[str, Trend] = {}
    for t in ordered:
        kinds.setdefault(t.series.kind, t)
    return tuple(kinds.values())[:MOST]


def condition_figure(condition: Condition, *, unit: Unit) -> Figure:
    """Figure with two axes a trend: values above, sums below. Call within ``style.own_look()``."""
    from matplotlib.figure import Figure

    trends = chosen_trends(condition)
    figure = Figure(figsize=(9.6, 1.0 + 2.3 * max(1, len(trends))), layout="constrained")
    figure.suptitle(condition.says, x=0.01, ha="left", fontsize=11)
    if not trends:
        figure.text(0.5, 0.5, "Too few runs to see a trend.", ha="center")
        return figure
    axes = figure.subplots(len(trends), 2, squeeze=False, width_ratios=(2.4, 1.0))
    for (left, right), trend in zip(axes, trends, strict=True):
        _values(left, trend, unit)
        _sums(right, trend)
    axes[-1][0].set_xlabel("run")
    axes[-1][1].set_xlabel("run")
    return figure


def _scale(trend: Trend, unit: Unit) -> float:
    plain = trend.series.kind == "output"
    return 1.0 if plain else 100.0 if trend.series.kind == "missed" else from_kelvin(1.0, unit)


def _values(ax: Axes, trend: Trend, unit: Unit) -> None:
    scale = _scale(trend, unit)
    number = range(1, trend.series.values.size + 1)
    singles = trend.singles
    ax.fill_between(
        [1, trend.series.values.size], scale * singles.lower, scale * singles.upper, color=style.BAND_FILL, alpha=0.25,
        linewidth=0, label="limits of single runs",
    )  # fmt: skip
    ax.axhline(scale * trend.usual, **style.RECIPE)
    for limit in (trend.smoothed.lower, trend.smoothed.upper):
        ax.axhline(scale * limit, color=style.PURPLE, linewidth=0.8, linestyle=(0, (2, 2)))
    ax.plot(
        number, scale * singles.values, color="#8C8C8C", marker="o", markersize=2.5, linewidth=0.6, label="single runs"
    )
    ax.plot(number, scale * trend.smoothed.smoothed, label="smoothed", **style.MEASURED)
    if trend.since:
        first = trend.series.days.index(trend.since) + 1
        ax.axvline(first, color=style.VERMILION, linewidth=1.0, linestyle=(0, (5, 2)))
        ax.annotate(f"since {trend.since}", (first, ax.get_ylim()[0]), color=style.VERMILION, va="bottom")
    ax.set_title(f"{_title(trend, unit)} ({trend.series.group})")
    ax.legend(loc="upper left", ncols=3)


def _title(trend: Trend, unit: Unit) -> str:
    sign = style.degree(unit)
    units = {"rate": f"{sign}/h", "cooling": f"{sign}/h", "output": "%", "missed": "%"}
    return f"{trend.series.name.text(unit)}, {units.get(trend.series.kind, sign)}"


def _sums(ax: Axes, trend: Trend) -> None:
    limit = trend.sums.limit or 1.0
    number = range(1, trend.series.values.size + 1)
    ax.plot(number, trend.sums.high / limit, color=style.VERMILION, linewidth=1.5, label="up")
    ax.plot(number, -trend.sums.low / limit, color=style.BLUE, linewidth=1.5, linestyle=(0, (4, 1.5)), label="down")
    for side in (-1.0, 1.0):
        ax.axhline(side, color="#555555", linewidth=0.9, linestyle=(0, (6, 3)))
    ax.set_title("summed deviation over its limit")
    ax.legend(loc="upper left", ncols=2)
