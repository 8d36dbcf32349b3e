"""The chart of one run over its recipe, with an inset for each hold's band."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.cli.charts.thinning import thin
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import difference, duration, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.packet.estimate import PacketEstimate
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import Run, Trace
    from soakwitness.analysis.verification.results.verification import HoldResult, Verification, WorkTemperature

LEAST_ADDED_C = 0.05
MOST_INSETS = 4
MARK_WORDS = {"load": "load", "pull": "pull", "plates": "plates", "hand-warm": "hand-warm", "door": "door"}


def save_run_chart(
    run: Run, verification: Verification, recipe: Recipe, path: Path, *, unit: Unit | None = None
) -> None:
    """Draw a run and write it as PNG, SVG or PDF; ``unit`` defaults to the recipe's."""
    with style.own_look():
        style.save(run_figure(run, verification, recipe, unit=unit or recipe.unit), path)


def run_figure(
    run: Run, verification: Verification, recipe: Recipe, *, unit: Unit, size: tuple[float, float] = (10.5, 6.6)
) -> Figure:
    """Figure of the whole run above and of each hold's band below. Call within ``style.own_look()``."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=size)
    draw_run(figure, (0.005, 0.01, 0.99, 0.93), run, verification, recipe, unit=unit)
    figure.suptitle(_headline(verification, recipe), x=0.01, ha="left", fontsize=12)
    return figure


def draw_run(
    figure: Figure,
    box: tuple[float, float, float, float],
    run: Run,
    verification: Verification,
    recipe: Recipe,
    *,
    unit: Unit,
) -> None:
    """Draw into a part of a figure: ``box`` is left, bottom, width and height as shares of the figure."""
    holds = [h for h in verification.holds if h.found and h.enter_s is not None][:MOST_INSETS]
    wide_in, high_in = figure.get_size_inches()
    left, right = box[0] + 0.6 / wide_in, box[0] + box[2] - 0.12 / wide_in
    bottom, top = box[1] + 0.25 / high_in, box[1] + box[3] - 0.25 / high_in
    split = bottom + 0.34 * (top - bottom) if holds else bottom + 0.2 / high_in
    upper = figure.add_gridspec(1, 1, left=left, right=right, bottom=split + 0.4 / high_in, top=top)
    whole = figure.add_subplot(upper[0, 0])
    _draw_lines(whole, run, verification, unit)
    _draw_recipe(whole, run, verification, unit)
    frame_whole(whole, run, verification.record.gaps, unit)
    if holds:
        lower = figure.add_gridspec(
            1, len(holds), left=left, right=right, bottom=bottom, top=split - 0.24 / high_in, wspace=0.16
        )
        for i, hold in enumerate(holds):
            _draw_inset(figure.add_subplot(lower[0, i]), run, verification, hold, unit)


def _headline(verification: Verification, recipe: Recipe) -> str:
    basis = ", as read" if verification.decided_on == "reading" and verification.verdict == "pass" else ""
    if basis and verification.known.place is not None:
        basis += " at the work's place"
    codes = dict.fromkeys(f.code for f in verification.findings if f.severity == "fail")
    reason = f" ({', '.join(codes)})" if codes else ""
    return f"{recipe.name}: {verification.verdict}{basis}{reason}"


def _roles(run: Run, verification: Verification) -> list[tuple[Trace, dict[str, Any]]]:
    """Give each trace with something to see its line: the judged sensor thick, loads dashed, others thinner."""
    others = iter([*style.OTHERS, *style.OTHERS, *style.OTHERS])
    lines: list[tuple[Trace, dict[str, Any]]] = []
    for trace in run.traces:
        if trace.role == "load":
            lines.append((trace, dict(style.LOAD)))
        elif trace.name == verification.sensor or trace.role in ("control", "recording"):
            lines.append((trace, dict(style.MEASURED)))
        elif trace.role != "ambient":
            lines.append((trace, dict(next(others, style.OTHERS[0]))))
    return lines


def _draw_lines(ax: Axes, run: Run, verification: Verification, unit: Unit, *, most: int = 3000) -> None:
    for trace, look in _roles(run, verification):
        t_s, temp_c = thin(trace.t_s, trace.temp_c, most=most, gap_s=3 * trace.period_s)
        label = f"{trace.name} (measured)" if trace.role != "load" else f"{trace.name} (load, measured)"
        ax.plot(t_s, from_celsius(temp_c, unit), label=label, zorder=3, **look)
    setpoint = run.signal("setpoint")
    if setpoint is not None:
        t_s, temp_c = thin(run.t_s, setpoint, most=most, gap_s=None)
        ax.plot(t_s, from_celsius(temp_c, unit), color="#888888", linewidth=0.9, label="setpoint", zorder=2)
    work = verification.work
    if work is not None and work.source == "packet estimate":
        draw_estimate(ax, work, unit)


def draw_estimate(ax: Axes, work: WorkTemperature | PacketEstimate, unit: Unit, *, most: int = 6000) -> None:
    """Draw the estimate of the blade in its packet: its band, and the best of it as a line."""
    some = slice(None, None, max(1, len(work.t_s) // most))
    t_s = work.t_s[some]
    low, best, high = (from_celsius(temp_c[some], unit) for temp_c in (work.low_c, work.best_c, work.high_c))
    ax.fill_between(t_s, low, high, color=style.PURPLE, alpha=0.25, linewidth=0, zorder=2)
    kind = "fitted" if work.fitted else "a model, not measured"
    ax.plot(t_s, best, label=f"blade in its packet, estimated ({kind})", **style.ESTIMATE)


def _draw_recipe(ax: Axes, run: Run, verification: Verification, unit: Unit) -> None:
    """Draw the recipe over the run: each hold's band and target where it was found, joined by dashes."""
    points: list[tuple[float, float]] = []
    for hold in verification.holds:
        if not hold.found or hold.enter_s is None:
            continue
        end = hold.enter_s + hold.required_s
        low, high = (from_celsius(edge, unit) for edge in hold.band_c)
        style.draw_band(ax, hold.enter_s, end, low, high)
        target = from_celsius(hold.target_c, unit)
        points += [(hold.enter_s, target), (end, target), (end, float("nan"))]
        ramp = verification.step(hold.step - 1)
        if ramp is not None and ramp.kind == "ramp" and ramp.found and ramp.start_s is not None:
            started = _temperature_at(run, verification, ramp.start_s)
            if started is not None:
                ax.plot([ramp.start_s, hold.enter_s], [from_celsius(started, unit), target], **style.RECIPE)
    if points:
        ax.plot([t for t, _ in points], [v for _, v in points], label="recipe", **style.RECIPE)


def _temperature_at(run: Run, verification: Verification, t_s: float) -> float | None:
    import numpy as np

    trace = run.trace(verification.sensor)
    if trace is None or not len(trace.t_s):
        return None
    good = np.isfinite(trace.temp_c)
    return float(np.interp(t_s, trace.t_s[good], trace.temp_c[good])) if good.any() else None


def frame_whole(ax: Axes, run: Run, gaps: Sequence[tuple[float, float]], unit: Unit) -> None:
    """Give the chart of a whole run its gaps, marks, axes and legend."""
    for start, stop in gaps:
        style.draw_gap(ax, start, stop)
    if len(run.t_s) > 1:
        ax.set_xlim(float(run.t_s[0]), float(run.t_s[-1]))
    draw_marks(ax, run)
    ax.set_ylabel(f"temperature, {style.degree(unit)}")
    low, high = ax.get_ylim()
    ax.set_ylim(min(low, from_celsius(0.0, unit)), high + 0.06 * (high - low))
    style.clock_axis(ax)
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, borderaxespad=0.1, handlelength=3.2)


def draw_marks(ax: Axes, run: Run) -> None:
    """Draw each mark as a fine line with its word; crowded ones share the words of the first."""
    last = -1e18
    span = float(run.t_s[-1] - run.t_s[0]) if len(run.t_s) else 1.0
    for mark in sorted(run.marks, key=lambda m: m.t_s):
        if mark.struck or mark.act not in MARK_WORDS:
            continue
        ax.axvline(mark.t_s, color="#444444", linewidth=0.6, linestyle=(0, (1, 3)), zorder=1)
        if mark.t_s - last > 0.035 * span:
            words = MARK_WORDS[mark.act] + (f" {mark.pieces[0]}" if len(mark.pieces) == 1 else "")
            write_upright(ax, mark.t_s, words)
            last = mark.t_s


def _draw_inset(ax: Axes, run: Run, verification: Verification, hold: HoldResult, unit: Unit) -> None:
    assert hold.enter_s is not None
    leave = hold.leave_s if hold.leave_s is not None else hold.enter_s + hold.required_s
    margin = max(120.0, 0.12 * (leave - hold.enter_s))
    window = (hold.enter_s - margin, max(leave, hold.enter_s + hold.required_s) + margin)
    _draw_lines(ax, _cut(run, window), verification, unit, most=1500)
    low, high = (from_celsius(edge, unit) for edge in hold.band_c)
    _draw_as_decided(ax, run, hold, window, unit)
    style.draw_band(ax, *window, low, high)
    ax.hlines(from_celsius(hold.target_c, unit), *window, **_as_hlines(style.RECIPE))
    for start, stop in verification.record.gaps:
        style.draw_gap(ax, start, stop)
    reach = 1.6 * (high - low)
    middle = (low + high) / 2
    over = from_kelvin(hold.overshoot_c or 0.0, unit)
    ax.set_ylim(middle - reach, max(middle + reach, from_celsius(hold.target_c, unit) + 1.2 * over))
    ax.set_xlim(*window)
    for t_s, words in ((hold.enter_s, "enter"), (hold.leave_s, "leave")):
        if t_s is not None:
            ax.axvline(t_s, color="#444444", linewidth=0.8, linestyle=(0, (1, 2)))
            write_upright(ax, t_s, words)
    style.clock_axis(ax, label=False)
    soak = hold.soak_s
    minutes = f"soak {duration(soak.best)} of {duration(hold.required_s)}, " if soak else ""
    ax.set_title(f"Step {hold.step}, {temperature(hold.target_c, unit)}: {minutes}{hold.verdict}")


def _draw_as_decided(ax: Axes, run: Run, hold: HoldResult, window: tuple[float, float], unit: Unit) -> None:
    """Draw what decides beside what was measured, where anything was added to that."""
    trace = run.trace(hold.measured_by) if hold.measured_by is not None else None
    if trace is None or hold.temperature_from == "packet estimate" or abs(hold.added_c) < LEAST_ADDED_C:
        return
    inside = (trace.t_s >= window[0]) & (trace.t_s <= window[1])
    added = difference(hold.added_c, unit, signed=True)
    words = f"{trace.name} {added}, " + ("corrected" if hold.shown_by.place is None else "where the work is")
    t_s, temp_c = thin(trace.t_s[inside], trace.temp_c[inside] + hold.added_c, most=1500, gap_s=3 * trace.period_s)
    ax.plot(t_s, from_celsius(temp_c, unit), label=words, zorder=4, **style.ESTIMATE)
    white = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
    ax.text(0.01, 0.97, f"dotted: {words}", transform=ax.transAxes, va="top", fontsize="small", bbox=white)


def write_upright(ax: Axes, t_s: float, words: str) -> None:
    """Write words upright beside the line at a time, along the foot of the axes and inside them."""
    first, last = ax.get_xlim()
    side = "left" if t_s < first + 0.02 * (last - first) else "right"
    ax.text(t_s, 0.02, words, transform=ax.get_xaxis_transform(), rotation=90, ha=side, va="bottom", fontsize="small")


def _as_hlines(look: dict[str, Any]) -> dict[str, Any]:
    return {"colors": look["color"], "linewidth": look["linewidth"], "linestyles": [look["linestyle"]]}


def _cut(run: Run, window: tuple[float, float]) -> Run:
    """Return the run between two times, for a line that shows every reading."""
    from dataclasses import replace

    import numpy as np

    def part(t_s: Any) -> slice:
        first, last = np.searchsorted(t_s, window)
        return slice(max(0, int(first) - 1), int(last) + 1)

    traces = tuple(replace(tr, t_s=tr.t_s[part(tr.t_s)], temp_c=tr.temp_c[part(tr.t_s)]) for tr in run.traces)
    here = part(run.t_s)
    return replace(run, t_s=run.t_s[here], values={k: v[here] for k, v in run.values.items()}, traces=traces)
