"""The chart of a plan: chamber and slowest blade as they are expected, with bounds, and when to do what."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import duration, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.planning.plan import HoldPlan, Plan, Span
    from soakwitness.cli.words.plan_words import When

INSET_BEFORE_S, INSET_AFTER_S = 420.0, 240.0
REACH = 3.0  # how far the inset reaches, in bands
HEADROOM, BAR_SHARE = 1.09, 0.02  # above the hottest chamber, as a share of it; from bar to bar, of the chart


def save_plan_chart(plan: Plan, when: When, path: Path, *, unit: Unit) -> None:
    """Draw a plan and write it as PNG, SVG or PDF."""
    from matplotlib.figure import Figure

    from soakwitness.cli.words.plan_words import headline

    with style.own_look():
        figure = Figure(figsize=(10.5, 6.4))
        draw_plan(figure, (0.0, 0.0, 1.0, 0.93), plan, when, unit)
        figure.text(0.012, 0.955, headline(plan, when, unit), fontsize=12)
        style.save(figure, path)


def draw_plan(figure: Figure, box: tuple[float, float, float, float], plan: Plan, when: When, unit: Unit) -> None:
    """Draw into a part of a figure (shares of it): the whole way, and the last hold's band beside or below it."""
    left, bottom, width, height = box
    wide_in, high_in = figure.get_size_inches()
    margin_x, margin_y = 0.62 / wide_in, 0.42 / high_in
    above_y, gap_x = 0.55 / high_in, 0.7 / wide_in
    if wide_in * width > high_in * height:
        free = width - margin_x - gap_x - 0.1 / wide_in
        whole = (left + margin_x, bottom + margin_y, 0.6 * free, height - margin_y - above_y)
        near = (left + margin_x + 0.6 * free + gap_x, whole[1], 0.4 * free, whole[3])
    else:
        each = (height - 2 * margin_y - 2 * above_y) / 2
        whole = (left + margin_x, bottom + 2 * margin_y + each + above_y, width - margin_x - 0.1 / wide_in, each)
        near = (whole[0], bottom + margin_y, whole[2], each)
    _draw_whole(figure.add_axes(whole), plan, when, unit)
    _draw_last(figure.add_axes(near), plan, when, unit)


def _draw_whole(ax: Axes, plan: Plan, when: When, unit: Unit) -> None:
    until_s = float(plan.expected.t_s[-1])
    _draw_curves(ax, plan, unit)
    for hold in plan.holds:
        begin_s = hold.enter.best_s
        end_s = min(begin_s + hold.typed_s, until_s)
        low, high = (from_celsius(edge, unit) for edge in (hold.lower_c, hold.upper_c))
        style.draw_asked(ax, begin_s, end_s, low, high, unit)
    ax.set_xlim(0.0, max(until_s, plan.out.high_s) * 1.01)
    hottest_c = float(plan.expected.chamber[2].max())
    ax.set_ylim(from_celsius(0.0, unit), from_celsius(HEADROOM * hottest_c, unit))
    ax.set_ylabel(style.degree(unit))
    for row, (span, words) in enumerate(_moments(plan, when)):
        _draw_moment(ax, span, words, row)
    ax.legend(loc="lower right", frameon=True, facecolor="white", edgecolor="none", framealpha=1.0)  # over moments
    _hours(ax, when)


def _moments(plan: Plan, when: When) -> Iterator[tuple[Span, str]]:
    if plan.load is not None:
        yield plan.load, f"load {when.hour(plan.load.best_s)}"
    yield plan.out, f"take out {when.span(plan.out)}"


def _draw_moment(ax: Axes, span: Span, words: str, row: int) -> None:
    """A line at the likely moment, its words above the chart, its bounds as a bar below the upper edge."""
    ax.axvline(span.best_s, color=style.BLACK, linewidth=1.0, linestyle=(0, (2, 2)), zorder=1.5)
    trans = ax.get_xaxis_transform()
    bar = 1.0 - BAR_SHARE * (row + 0.7)
    ax.plot([span.low_s, span.high_s], [bar, bar], color=style.BLACK, linewidth=2.2, transform=trans)
    low, high = ax.get_xlim()
    right = span.best_s < low + 0.5 * (high - low)
    ax.annotate(
        words,
        (span.best_s, 1.0),
        xycoords=trans,
        xytext=(2 if right else -2, 4 + 11 * row),
        textcoords="offset points",
        ha="left" if right else "right",
        fontweight="bold",
        fontsize="small",
        annotation_clip=False,
    )


def _draw_curves(ax: Axes, plan: Plan, unit: Unit) -> None:
    t_s = plan.expected.t_s
    low, best, high = (from_celsius(part, unit) for part in plan.expected.chamber)
    ax.fill_between(t_s, low, high, color=style.BLUE, alpha=0.15, linewidth=0)
    ax.plot(t_s, best, label="chamber, expected", zorder=3, **style.MEASURED)
    if plan.expected.blade is not None:
        low, best, high = (from_celsius(part, unit) for part in plan.expected.blade)
        ax.fill_between(t_s, low, high, color=style.PURPLE, alpha=0.18, linewidth=0)
        label = "slowest blade" if len(plan.inputs.pieces) > 1 else "blade"
        ax.plot(t_s, best, label=f"{label}, estimate", zorder=3, **style.ESTIMATE)


def _draw_last(ax: Axes, plan: Plan, when: When, unit: Unit) -> None:
    """The last hold of the likely run: when the chamber comes, when the blade, when it comes out."""
    last = plan.last
    low_c, high_c = (from_celsius(edge, unit) for edge in (last.lower_c, last.upper_c))
    t_s = plan.expected.t_s
    ax.plot(t_s, from_celsius(plan.expected.chamber[1], unit), **style.MEASURED)
    if plan.expected.blade is not None:
        ax.plot(t_s, from_celsius(plan.expected.blade[1], unit), **style.ESTIMATE)
    since_s = plan.out.best_s - last.pieces[0].out_s if last.pieces else last.enter.best_s
    style.draw_band(ax, last.enter.best_s, plan.out.best_s, low_c, high_c)
    _draw_lag(ax, last, since_s, low_c)
    ax.axvline(plan.out.best_s, color=style.BLACK, linewidth=1.0, linestyle=(0, (2, 2)))
    ax.set_xlim(last.enter.best_s - INSET_BEFORE_S, plan.out.best_s + INSET_AFTER_S)
    middle, reach = 0.5 * (low_c + high_c), 0.5 * REACH * (high_c - low_c)
    ax.set_ylim(middle - reach, middle + reach)
    ax.set_title(f"{temperature(last.target_c, unit)}, {duration(last.typed_s)} typed, as is likely", fontsize="medium")
    _hours(ax, when)


def _draw_lag(ax: Axes, last: HoldPlan, since_s: float, low: float) -> None:
    """The slowest blade's soak as a bar below the band: certain in full colour, within its bounds light."""
    if not last.pieces:
        return
    slowest = max(last.pieces, key=lambda one: one.lag.high_s)
    out_s, y = since_s + slowest.out_s, low - 0.12 * abs(ax.get_ylim()[1] - low or 1.0)
    lag, soak = slowest.shown_lag, slowest.soak
    ax.hlines(y, since_s + lag.high_s, out_s, colors=style.VERMILION, linewidth=5.0)
    ax.hlines(y, since_s + lag.low_s, since_s + lag.high_s, colors=style.VERMILION, linewidth=5.0, alpha=0.35)
    words = f"soak {duration(soak.best_s)}, at least {duration(soak.low_s)}"
    ax.annotate(words, (out_s, y), xytext=(0, -14), textcoords="offset points", ha="right", fontsize="small")


def _hours(ax: Axes, when: When) -> None:
    """Label a time axis in seconds from the start as hours of the day."""
    from matplotlib.ticker import FuncFormatter

    style.clock_axis(ax, label=False)
    ax.xaxis.set_major_formatter(FuncFormatter(lambda t, _: when.hour(t).partition(" ")[0]))
    ax.set_xlabel("hour of the day")
