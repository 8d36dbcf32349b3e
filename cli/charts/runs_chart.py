"""Several runs over each other, from their start or from when each came into one hold."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.cli.charts.thinning import thin
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import duration_of, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import HoldResult, Verification

LOOKS: tuple[dict[str, Any], ...] = (
    {"color": style.BLUE, "linewidth": 2.0, "linestyle": "-"},
    {"color": style.VERMILION, "linewidth": 1.9, "linestyle": (0, (5, 1.5))},
    {"color": style.GREEN, "linewidth": 1.7, "linestyle": (0, (8, 2, 1.5, 2))},
    {"color": style.PURPLE, "linewidth": 1.7, "linestyle": (0, (2, 1.2))},
    {"color": style.ORANGE, "linewidth": 1.7, "linestyle": (0, (6, 1, 1, 1, 1, 1))},
    {"color": style.BLACK, "linewidth": 1.5, "linestyle": (0, (1, 1))},
)
MOST_RUNS = len(LOOKS)
HALF_ROW = 0.31


@dataclass(frozen=True)
class RunBeside:
    """One of the runs: its traces, what was found in it, and where its clock is set to nought [s]."""

    run: Run
    verification: Verification
    from_s: float
    hold: HoldResult | None


def beside(found: Sequence[tuple[Run, Verification]], step: int | None) -> list[RunBeside]:
    """The runs with their clocks set to where each came into the hold of this step; by their starts for None.

    A run that never came into it is left to its start.
    """
    runs = []
    for run, verification in found:
        hold = next((h for h in verification.holds if h.step == step), None)
        enter_s = None if hold is None else hold.control_enter_s if hold.control_enter_s is not None else hold.enter_s
        runs.append(RunBeside(run, verification, enter_s or 0.0, hold))
    return runs


def save_runs_chart(runs: Sequence[RunBeside], path: Path, *, unit: Unit) -> None:
    """Draw several runs and write them as PNG, SVG or PDF."""
    with style.own_look():
        style.save(runs_figure(runs, unit=unit), path)


def runs_figure(runs: Sequence[RunBeside], *, unit: Unit) -> Figure:
    """Figure of the control sensors above and the load sensors below, bars of the soak at the foot."""
    from matplotlib.figure import Figure

    holds = [one.hold for one in runs if one.hold is not None]
    rows = len(runs) if holds else 0
    figure = Figure(figsize=(10.5, 6.0 + 0.3 * rows))
    wide_in, high_in = figure.get_size_inches()
    title = textwrap.wrap(title_words(runs, unit), 105, break_on_hyphens=False)[:2]
    for row, line in enumerate(title):
        y = 1.0 - (0.14 + 0.23 * row) / high_in
        figure.text(0.12 / wide_in, y, line, ha="left", va="top", fontsize=12, fontweight="bold")
    top = 1.0 - (0.5 + 0.23 * len(title)) / high_in
    grid = figure.add_gridspec(
        2 if rows else 1,
        1,
        left=0.75 / wide_in,
        right=1.0 - 0.15 / wide_in,
        top=top,
        bottom=0.5 / high_in,
        height_ratios=(5.0, 0.3 * rows) if rows else None,
        hspace=0.06,
    )
    ax = figure.add_subplot(grid[0])
    for one, look in zip(runs, LOOKS, strict=False):
        _draw_run(ax, one, look, unit)
    for hold in holds[:1]:
        low, high = (from_celsius(edge, unit) for edge in hold.band_c)
        style.draw_band(ax, 0.0, hold.required_s, low, high)
    if holds:
        ends = [t - one.from_s for one in runs if one.hold is not None for t in _ends(one.hold)]
        reach = max(max(ends, default=holds[0].required_s), holds[0].required_s)
        ax.set_xlim(-0.6 * reach, 1.35 * reach)
        ax.set_ylim(*_near(runs, holds[0], unit))
    ax.set_ylabel(f"temperature, {style.degree(unit)}")
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.1, handlelength=3.0)
    if any(t.role == "load" for one in runs for t in one.run.traces):
        ax.set_title("thick: in the furnace, thin: in the charge", loc="right", fontsize="small")
    where = f"the furnace came into step {holds[0].step}" if holds else "the run began"
    if rows:
        ax.tick_params(labelbottom=False)
        below = figure.add_subplot(grid[1], sharex=ax)
        _draw_soaks(below, runs)
        ax = below
    style.clock_axis(ax, label=False)
    ax.set_xlabel(f"time since {where}, h:min")
    return figure


def _ends(hold: HoldResult) -> list[float]:
    return [t for t in (hold.pull_s, hold.leave_s) if t is not None]


def _near(runs: Sequence[RunBeside], hold: HoldResult, unit: Unit) -> tuple[float, float]:
    """Ends of the temperature axis: from where the slowest load was when the furnace came, to over the hottest."""
    import numpy as np

    seen = [hold.band_c[0], hold.band_c[1]]
    for one in runs:
        for trace in one.run.traces:
            inside = trace.temp_c[np.abs(trace.t_s - one.from_s) <= 60.0]
            inside = inside[np.isfinite(inside)]
            seen += [float(inside.min())] if inside.size and trace.role in ("control", "load") else []
        seen += [hold.target_c + one.hold.overshoot_c] if one.hold and one.hold.overshoot_c else []
    room = 0.15 * (max(seen) - min(seen))
    return from_celsius(min(seen) - room, unit), from_celsius(max(seen) + room, unit)


def title_words(runs: Sequence[RunBeside], unit: Unit) -> str:
    """What sets the runs apart, in one sentence."""
    parts, target_c = [], None
    for one in runs:
        soak = None if one.hold is None else one.hold.soak_s
        if one.hold is not None and soak is not None:
            target_c = one.hold.target_c
            parts.append(f"{run_words(one)} had {duration_of(soak.best, one.hold.required_s)}")
    if not parts:
        return ", ".join(f"{run_words(one)}: {one.verification.verdict}" for one in runs)
    return f"At {temperature(target_c, unit)}: {', '.join(parts)}."


def run_words(one: RunBeside) -> str:
    """A run in few words: its day and the end of its name."""
    header = one.run.header
    return f"{header.started_utc[:10]} {header.run.rpartition('_')[2]}"


def _draw_run(ax: Axes, one: RunBeside, look: dict[str, Any], unit: Unit) -> None:
    """The control sensor as a full line; load sensors thinner in the same colour and dashes."""
    label = f"{run_words(one)}: {one.verification.verdict}"
    for trace in one.run.traces:
        if trace.name != one.verification.sensor and trace.role != "load":
            continue
        t_s, temp_c = thin(trace.t_s, trace.temp_c, most=3000, gap_s=3 * trace.period_s)
        load = trace.role == "load"
        own = look | ({"linewidth": 0.9, "alpha": 0.9} if load else {})
        words = None if load else label
        ax.plot(t_s - one.from_s, from_celsius(temp_c, unit), label=words, zorder=2.5 if load else 3, **own)


def _draw_soaks(ax: Axes, runs: Sequence[RunBeside]) -> None:
    """A bar a run: from where its work came into the hold, had in full, missing hatched."""
    ax.set_ylim(len(runs) - 0.5, -0.5)
    ax.set_yticks(range(len(runs)), [run_words(one).split()[-1] for one in runs])
    ax.tick_params(axis="y", length=0)
    ax.grid(False)
    ax.spines["left"].set_visible(False)
    for row, (one, look) in enumerate(zip(runs, LOOKS, strict=False)):
        hold = one.hold
        if hold is None or hold.soak_s is None:
            continue
        end_s = min((t for t in (hold.pull_s, hold.leave_s) if t is not None), default=one.from_s) - one.from_s
        had_s, missing_s = hold.soak_s.best, max(hold.required_s - hold.soak_s.best, 0.0)
        ax.barh(row, had_s, left=end_s - had_s, height=2 * HALF_ROW, color=look["color"])
        if missing_s > 0.0:
            lack: dict[str, Any] = {
                "facecolor": "white",
                "edgecolor": look["color"],
                "hatch": "/////",
                "linewidth": 0.9,
            }
            ax.barh(row, missing_s, left=end_s, height=2 * HALF_ROW, **lack)
        words = f"  had {duration_of(had_s, hold.required_s)}"
        ax.text(end_s + missing_s, row, words, ha="left", va="center", fontsize="small")
