"""The chart of a recipe: what was asked, dashed, with each hold's band and an inset of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import duration, number, rate, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.recipes.profile import Corner, HoldSpan, Profile
    from soakwitness.analysis.recipes.recipe import Recipe

MOST_INSETS = 4


def save_recipe_chart(recipe: Recipe, path: Path, *, unit: Unit | None = None) -> None:
    """Draw a recipe and write it as PNG, SVG or PDF; ``unit`` defaults to the recipe's."""
    with style.own_look():
        style.save(recipe_figure(recipe, unit=unit or recipe.unit), path)


def recipe_figure(recipe: Recipe, *, unit: Unit, size: tuple[float, float] = (10.5, 6.2)) -> Figure:
    """Figure of the whole recipe above and of each hold's band below. Call within ``style.own_look()``."""
    from matplotlib.figure import Figure

    from soakwitness.analysis.recipes.profile import recipe_profile

    profile = recipe_profile(recipe)
    spans = [span for span in profile.holds if span.hold.cycle == 1][:MOST_INSETS]
    figure = Figure(figsize=size, layout="constrained")
    grid = figure.add_gridspec(2 if spans else 1, max(1, len(spans)), height_ratios=[1.9, 1] if spans else [1])
    _draw_whole(figure.add_subplot(grid[0, :]), profile, unit)
    for place, span in enumerate(spans):
        _draw_inset(figure.add_subplot(grid[1, place]), profile, span, unit)
    figure.suptitle(f"{recipe.name}: what is asked", x=0.01, ha="left", fontsize=12)
    return figure


def _draw_whole(ax: Axes, profile: Profile, unit: Unit) -> None:
    _draw_line(ax, profile.corners, unit, label="recipe")
    for span in profile.holds:
        low, high = from_celsius(span.hold.lower_c, unit), from_celsius(span.hold.upper_c, unit)
        style.draw_asked(ax, span.start_s, span.end_s, low, high, unit)
        words = f"{temperature(span.hold.target_c, unit)}, {duration(span.hold.required_s)}"
        ax.annotate(words, (span.start_s, high), xytext=(2, 3), textcoords="offset points", ha="right")
    ax.set_ylabel(f"temperature, {style.degree(unit)}")
    ax.set_xlim(0.0, 1.02 * profile.corners[-1].t_s)
    low, high = ax.get_ylim()
    ax.set_ylim(low, high + 0.1 * (high - low))
    style.clock_axis(ax)
    if profile.assumed_c_per_h is not None:
        says = f"full-power ramps and free cooling are drawn at {rate(profile.assumed_c_per_h, unit)}: only a guess"
        ax.set_title(says, fontsize=8.5)


def _draw_line(ax: Axes, corners: tuple[Corner, ...], unit: Unit, *, label: str | None = None) -> None:
    ax.plot(
        [corner.t_s for corner in corners],
        [from_celsius(corner.temp_c, unit) for corner in corners],
        label=label,
        **style.RECIPE,
    )


def _draw_inset(ax: Axes, profile: Profile, span: HoldSpan, unit: Unit) -> None:
    hold = span.hold
    margin = 0.15 * (span.end_s - span.start_s)
    _draw_line(ax, profile.corners, unit)
    low, high = from_celsius(hold.lower_c, unit), from_celsius(hold.upper_c, unit)
    style.draw_band(ax, span.start_s, span.end_s, low, high)
    for edge, above in ((low, 3), (high, -9)):
        ax.annotate(number(edge), (span.start_s, edge), xytext=(4, above), textcoords="offset points", fontsize=7.5)
    if hold.max_overshoot_c is not None:
        most = from_celsius(hold.target_c + hold.max_overshoot_c, unit)
        ax.hlines(most, span.start_s, span.end_s, colors=style.VERMILION, linewidth=1.1, linestyles=(0, (2, 2)))
        ax.annotate("most", (span.end_s, most), xytext=(-22, 3), textcoords="offset points", fontsize=7.5)
    reach = 1.8 * max(high - low, 2.0 * from_kelvin(hold.max_overshoot_c or 0.0, unit))
    ax.set_ylim((low + high - reach) / 2, (low + high + reach) / 2)
    ax.set_xlim(span.start_s - margin, span.end_s + margin)
    style.clock_axis(ax, label=False)
    judged = "" if hold.judged else ", not judged"
    ax.set_title(f"Step {hold.number}: {duration(hold.required_s)}{judged}")
