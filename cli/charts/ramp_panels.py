"""One ramp that failed, beside the line it had to keep to, with bars of its time and of the output over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.cli.charts.hold_panels import BAR, bar_points, cut
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import duration, rate, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import RampResult, Verification

FULL_OUTPUT = 95.0  # percent: at its end
ROOM = 0.06  # of a panel's height and width, around the ramp


@dataclass(frozen=True)
class PacedRamp:
    """A ramp with the limit it broke: from, to [s of the run] and [degC], the time that the limit would take [s]."""

    ramp: RampResult
    start_s: float
    end_s: float
    from_c: float
    limit_c_per_h: float
    at_limit_s: float

    @property
    def slow(self) -> bool:
        """Whether it took too long; else it was too fast."""
        return self.end_s - self.start_s > self.at_limit_s


def failed_ramps(verification: Verification, recipe: Recipe, run: Run) -> list[PacedRamp]:
    """The ramps that broke a rate, in the order of time."""
    limits = {step.number: step for step in recipe.steps if step.kind == "ramp"}
    found = []
    for ramp in verification.steps:
        if ramp.kind != "ramp" or ramp.verdict != "fail" or ramp.step not in limits:
            continue
        if ramp.start_s is None or ramp.end_s is None or ramp.rate_c_per_h is None:
            continue
        step, pace = limits[ramp.step], abs(ramp.rate_c_per_h)
        slow = step.min_rate_c_per_h is not None and pace < step.min_rate_c_per_h
        limit = step.min_rate_c_per_h if slow else step.max_rate_c_per_h
        from_c = _read_at(run, verification.sensor, ramp.start_s)
        if limit and from_c is not None:
            at_limit_s = abs(ramp.to_c - from_c) / limit * 3600.0
            found.append(PacedRamp(ramp, ramp.start_s, ramp.end_s, from_c, limit, at_limit_s))
    return found


def draw_ramp_panel(
    figure: Figure,
    spec: Any,
    run: Run,
    verification: Verification,
    paced: PacedRamp,
    unit: Unit,
    draw_lines: Any,
    clock: style.LocalClock | None = None,
) -> None:
    """Draw one ramp into a cell of a grid: the readings beside the rate asked, the bars below on the same clock."""
    output = run.signal("output")
    rows = spec.subgridspec(2, 1, height_ratios=(5.0, 1.0 if output is None else 1.55), hspace=0.04)
    ax = figure.add_subplot(rows[0])
    below = figure.add_subplot(rows[1], sharex=ax)
    long_s = max(paced.end_s - paced.start_s, paced.at_limit_s)
    window = (paced.start_s - ROOM * long_s, paced.start_s + (1.0 + ROOM) * long_s)
    draw_lines(ax, cut(run, window), verification, unit, most=1500)
    first, last = (from_celsius(temp_c, unit) for temp_c in (paced.from_c, paced.ramp.to_c))
    asked = "at least" if paced.slow else "at most"
    ax.plot([paced.start_s, paced.start_s + paced.at_limit_s], [first, last], **style.RECIPE)
    for start, stop in verification.record.gaps:
        style.draw_gap(ax, start, stop)
    room = ROOM * abs(last - first)
    ax.set_xlim(*window)
    ax.set_ylim(min(first, last) - room, max(first, last) + room)
    ax.tick_params(labelbottom=False)
    ax.set_title(f"Step {paced.ramp.step}, ramp to {temperature(paced.ramp.to_c, unit)}: fail")
    white = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
    off_s = abs(paced.end_s - paced.start_s - paced.at_limit_s)
    rest = f"crossed: {duration(off_s)} too long" if paced.slow else f"hatched: {duration(off_s)} too short"
    words = f"dashed: {asked} {rate(paced.limit_c_per_h, unit)}\n{rest}"
    y, foot = (0.03, "bottom") if paced.ramp.to_c > paced.from_c else (0.97, "top")  # the corner that the line leaves
    ax.text(0.99, y, words, transform=ax.transAxes, ha="right", va=foot, fontsize="small", bbox=white)
    _draw_bars(below, paced, run, unit, clock)


def _draw_bars(ax: Axes, paced: PacedRamp, run: Run, unit: Unit, clock: style.LocalClock | None) -> None:
    """The time it took, what is over or missing of it hatched; below it when the output was at its end."""
    took_s, at_limit_s = paced.end_s - paced.start_s, paced.at_limit_s
    kept_s = min(took_s, at_limit_s)
    ax.barh(0, kept_s, left=paced.start_s, height=BAR, color=style.BLUE)
    rest: dict[str, Any] = {"facecolor": "white", "edgecolor": "#333333", "lw": 0.8, "height": BAR}
    hatch = "xxxxx" if paced.slow else "/////"
    ax.barh(0, abs(took_s - at_limit_s), left=paced.start_s + kept_s, hatch=hatch, **rest)
    names = ["ramp"]
    look: dict[str, Any] = {"va": "center", "fontsize": bar_points(ax, 2), "fontweight": "bold", "color": "white"}
    ax.text(paced.start_s, 0, f"  {pace_bar_words(paced, unit)}", ha="left", **look)
    full = full_stretches(run, paced.start_s, paced.end_s)
    if run.signal("output") is not None:
        names.append("output")
        for start_s, stop_s in full:
            ax.barh(1, stop_s - start_s, left=start_s, height=BAR, color="#666666")
        full_s = sum(stop_s - start_s for start_s, stop_s in full)
        words = f"  full for {duration(full_s)}" if full_s else "  never full"
        look["color"] = "white" if full_s > 0.5 * took_s else "#333333"
        ax.text(paced.start_s, 1, words, ha="left", **look)
    ax.set_ylim(len(names) - 0.4, -0.6)
    ax.set_yticks(range(len(names)), names)
    ax.tick_params(axis="y", length=0)
    ax.grid(False)
    ax.spines["left"].set_visible(False)
    style.clock_axis(ax, label=False, clock=clock)


def pace_bar_words(paced: PacedRamp, unit: Unit) -> str:
    """``ran at 183 °C/h, 84.5 min``."""
    return f"{rate(abs(paced.ramp.rate_c_per_h or 0.0), unit)}, {duration(paced.end_s - paced.start_s)}"


def full_stretches(run: Run, start_s: float, end_s: float) -> Sequence[tuple[float, float]]:
    """When the output was at its end in a time [s]."""
    import numpy as np

    output = run.signal("output")
    if output is None:
        return ()
    inside = (run.t_s >= start_s) & (run.t_s <= end_s)
    t_s, full = run.t_s[inside], (output[inside] >= FULL_OUTPUT).astype(int)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], full, [0]))))
    return [(float(t_s[a]), float(t_s[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _read_at(run: Run, sensor: str, at_s: float) -> float | None:
    import numpy as np

    trace = run.trace(sensor)
    if trace is None:
        return None
    good = np.isfinite(trace.temp_c)
    return float(np.interp(at_s, trace.t_s[good], trace.temp_c[good])) if good.any() else None
