"""The chart of a packet estimate: chamber, estimated blade, and each hold's band with what the packet eats of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.cli.charts.marks import write_upright
from soakwitness.cli.charts.run_chart import draw_estimate, frame_whole, last_pull_s
from soakwitness.cli.charts.thinning import thin
from soakwitness.cli.words.packet_words import eaten_words, piece
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import duration, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.packet_runs.prediction import HoldLag, Prediction
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run

MOST_INSETS = 4


def save_packet_chart(run: Run, prediction: Prediction, recipe: Recipe | None, path: Path, *, unit: Unit) -> None:
    """Draw an estimate, with recipe and piece above it, and write it as PNG, SVG or PDF."""
    about = piece(prediction.estimate.packet)
    headline = f"{recipe.name}: {about[0].lower()}{about[1:]}" if recipe else about
    with style.own_look():
        style.save(packet_figure(run, prediction, recipe, unit=unit, headline=headline), path)


def packet_figure(
    run: Run,
    prediction: Prediction,
    recipe: Recipe | None,
    *,
    unit: Unit,
    headline: str,
    size: tuple[float, float] = (10.5, 6.6),
) -> Figure:
    """Figure of the whole run above and of each hold's band below. Call within ``style.own_look()``."""
    from matplotlib.figure import Figure

    holds = [hold for hold in prediction.holds if hold.enter_s is not None]
    shown = holds[:MOST_INSETS]
    figure = Figure(figsize=size, layout="constrained")
    grid = figure.add_gridspec(2 if shown else 1, max(1, len(shown)), height_ratios=[1.9, 1] if shown else [1])
    whole = figure.add_subplot(grid[0, :])
    _draw_lines(whole, run, prediction, unit)
    for hold in holds:
        _draw_band(whole, hold, recipe, unit, whole=True)
    frame_whole(whole, run, prediction.estimate.gaps, unit)
    for place, hold in enumerate(shown):
        _draw_inset(figure.add_subplot(grid[1, place]), run, prediction, recipe, hold, unit)
    figure.suptitle(headline, x=0.01, ha="left", fontsize=12)
    return figure


def _draw_lines(ax: Axes, run: Run, prediction: Prediction, unit: Unit, *, most: int = 3000) -> None:
    """Draw the chamber, a load sensor where there is one, and the estimate."""
    for trace in run.traces:
        if trace.name != prediction.chamber and trace.role != "load":
            continue
        t_s, temp_c = thin(trace.t_s, trace.temp_c, most=most, gap_s=3 * trace.period_s)
        load = trace.name != prediction.chamber
        label = f"{trace.name} ({'load, ' if load else ''}measured)"
        ax.plot(t_s, from_celsius(temp_c, unit), label=label, zorder=3, **(style.LOAD if load else style.MEASURED))
    draw_estimate(ax, prediction.estimate, unit, until_s=last_pull_s(run))


def _draw_band(ax: Axes, hold: HoldLag, recipe: Recipe | None, unit: Unit, *, whole: bool = False) -> None:
    assert hold.enter_s is not None
    end_s = hold.enter_s + hold.required_s
    step = next((h for h in recipe.holds if h.number == hold.step), None) if recipe is not None else None
    if step is not None:
        low, high = from_celsius(step.lower_c, unit), from_celsius(step.upper_c, unit)
        if whole:
            style.draw_asked(ax, hold.enter_s, end_s, low, high, unit, label=style.ASKED if hold.number == 1 else None)
        else:
            style.draw_band(ax, hold.enter_s, end_s, low, high)
    target = from_celsius(hold.target_c, unit)
    label = "recipe" if hold.number == 1 else None
    ax.plot([hold.enter_s, end_s], [target, target], label=label, **style.RECIPE)


def _draw_inset(ax: Axes, run: Run, prediction: Prediction, recipe: Recipe | None, hold: HoldLag, unit: Unit) -> None:
    """Draw one hold's band from before the chamber was there until it left, and when the blade was there."""
    assert hold.enter_s is not None
    leave_s = hold.leave_s if hold.leave_s is not None else hold.enter_s + hold.required_s
    margin = max(120.0, 0.12 * (leave_s - hold.enter_s))
    _draw_lines(ax, run, prediction, unit, most=30_000)
    _draw_band(ax, hold, recipe, unit)
    for start, stop in prediction.estimate.gaps:
        style.draw_gap(ax, start, stop)
    lag = hold.lag
    since_s = max(hold.enter_s, prediction.estimate.load_t_s)
    ax.axvline(hold.enter_s, color="#444444", linewidth=0.8, linestyle=(0, (1, 2)))
    write_upright(ax, hold.enter_s, "chamber")
    if lag.best_s is not None:
        ax.axvline(since_s + lag.best_s, color=style.PURPLE, linewidth=1.0, linestyle=(0, (1, 2)))
        write_upright(ax, since_s + lag.best_s, "blade")
    step = next((h for h in recipe.holds if h.number == hold.step), None) if recipe is not None else None
    reach = 1.6 * from_kelvin(step.below_c + step.above_c if step is not None else 20.0, unit)
    middle = from_celsius(hold.target_c, unit)
    ax.set_ylim(middle - reach, middle + reach)
    ax.set_xlim(hold.enter_s - margin, max(leave_s, hold.enter_s + hold.required_s) + margin)
    style.clock_axis(ax, label=False)
    ax.set_title(f"Step {hold.step}, {temperature(hold.target_c, unit)}: {_eaten(hold)}")


def _eaten(hold: HoldLag) -> str:
    """How much of a hold the packet eats; one that lags for longer than is asked for cannot eat more than all."""
    asked = duration(hold.required_s)
    if hold.lag.low_s is None:
        return f"eats all of {asked}"
    if hold.lag.best_s is not None and hold.lag.best_s >= hold.required_s:
        return f"blade later by {eaten_words(hold)}, {asked} asked"
    return f"eats {eaten_words(hold)} of {asked}"
