"""The chart of one run over its recipe, with an inset for each hold's band."""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.recipes.program import program_setpoints
from soakwitness.cli.charts import style
from soakwitness.cli.charts.flags import MOST_ROWS, draw_flags, flags_of
from soakwitness.cli.charts.hold_panels import MOST_PANELS, begin_s, draw_panel, placed_holds, shown_holds
from soakwitness.cli.charts.marks import draw_marks, failed_pieces
from soakwitness.cli.charts.ramp_panels import PacedRamp, draw_ramp_panel, failed_ramps
from soakwitness.cli.charts.thinning import thin
from soakwitness.cli.words import figures
from soakwitness.firmware_bridge.common.units import Unit, from_celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.packet.estimate import PacketEstimate
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.record.run import FloatArray, Run, Trace
    from soakwitness.analysis.verification.results.verification import HoldResult, Verification, WorkTemperature

NARROW_IN = 5.5  # a picture for a phone: its panels stand below each other
LEGEND_LINE_IN = 0.17


def save_run_chart(
    run: Run, verification: Verification, recipe: Recipe, path: Path, *, unit: Unit | None = None
) -> None:
    """Draw a run and write it as PNG, SVG or PDF; ``unit`` defaults to the recipe's."""
    with style.own_look():
        style.save(run_figure(run, verification, recipe, unit=unit or recipe.unit), path)


def run_figure(
    run: Run, verification: Verification, recipe: Recipe, *, unit: Unit, size: tuple[float, float] = (10.5, 7.6)
) -> Figure:
    """Figure of the whole run above and of each hold's band below. Call within ``style.own_look()``."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=size)
    top_in = _write_heading(figure, run, verification, recipe, unit)
    draw_run(figure, (0.0, 0.0, 1.0, 1.0 - top_in / size[1]), run, verification, recipe, unit=unit)
    return figure


def _write_heading(figure: Figure, run: Run, verification: Verification, recipe: Recipe, unit: Unit) -> float:
    """Write what was found, what to do next, and which run it is, at the top; return how high that is [in]."""
    wide_in, high_in = figure.get_size_inches()
    act = verification.in_short.next
    begun = figures.begin_to_end(run.header.started_utc, float(run.t_s[-1]) if len(run.t_s) else 0.0, run.header.zone)
    named = f"{recipe.name}, {run.header.furnace_name}, {begun}"
    parts: list[tuple[str, int, float, float, dict[str, Any]]] = [  # words, most lines, letters in an inch, line [in]
        (title_words(verification, unit), 3, 10.2, 0.23, {"fontsize": 12, "fontweight": "bold"}),
        ("" if act is None else act.text(unit), 2, 13.0, 0.19, {"fontsize": 10}),
        (named, 1, 100.0, 0.22, {"fontsize": 9, "color": "#555555"}),
    ]
    down_in = 0.14
    for words, most, letters, line_in, look in parts:
        for line in textwrap.wrap(words, int(wide_in * letters), break_on_hyphens=False)[:most]:
            figure.text(0.12 / wide_in, 1.0 - down_in / high_in, line, ha="left", va="top", **look)
            down_in += line_in
    return down_in + 0.02


def title_words(verification: Verification, unit: Unit) -> str:
    """What was found, and where the record does not show what brought it about that it does not."""
    says = verification.in_short.says.text(unit)
    return says if verification.in_short.shows_cause else f"{says} Cause not on record."


def draw_run(
    figure: Figure,
    box: tuple[float, float, float, float],
    run: Run,
    verification: Verification,
    recipe: Recipe,
    *,
    unit: Unit,
    local: bool = False,
) -> None:
    """Draw into a part of a figure: ``box`` is left, bottom, width and height as shares of the figure.

    ``local``: its times are those of the clock on the wall, else of the run.
    """
    clock = style.LocalClock(run.header.started_utc, run.header.zone) if local else None
    panels = shown_panels(run, verification, recipe)
    wide_in, high_in = figure.get_size_inches()
    left, right = box[0] + 0.68 / wide_in, box[0] + box[2] - 0.15 / wide_in
    across_in = (right - left) * wide_in
    legend_in = LEGEND_LINE_IN * legend_rows(_labels(run, verification, recipe), across_in)[1]
    bottom, top = box[1] + 0.28 / high_in, box[1] + box[3] - (0.09 + legend_in) / high_in
    narrow = box[2] * wide_in < NARROW_IN
    share = 0.66 if narrow and len(panels) > 1 else 0.43
    split = bottom + share * (top - bottom) if panels else bottom + 0.2 / high_in
    ends = (float(run.t_s[0]), float(run.t_s[-1])) if len(run.t_s) > 1 else (0.0, 1.0)
    flags = flags_of(verification, *ends, across_in, run)
    strip_in = 0.17 * (max(flag.row for flag in flags) + 1) if flags else 0.0
    upper = figure.add_gridspec(
        1, 1, left=left, right=right, bottom=split + 0.42 / high_in, top=top - (strip_in + 0.02) / high_in
    )
    whole = figure.add_subplot(upper[0, 0])
    _draw_lines(whole, run, verification, unit)
    _draw_recipe(whole, run, verification, recipe, unit)
    frame_whole(
        whole,
        run,
        verification.record.gaps,
        unit,
        above_in=strip_in,
        clock=clock,
        failed=failed_pieces(verification),
    )
    if flags:
        here = whole.get_position()
        strip = figure.add_axes((here.x0, here.y1, here.width, MOST_ROWS * 0.17 / high_in))
        draw_flags(strip, whole, flags)
    if panels:
        shape = (len(panels), 1) if narrow else (1, len(panels))
        lower = figure.add_gridspec(
            *shape, left=left, right=right, bottom=bottom, top=split - 0.24 / high_in, wspace=0.2, hspace=0.35
        )
        for i, panel in enumerate(panels):
            if isinstance(panel, PacedRamp):
                draw_ramp_panel(figure, lower[i], run, verification, panel, unit, _draw_lines, clock)
            else:
                draw_panel(figure, lower[i], run, verification, panel, unit, _draw_lines, clock)


def shown_panels(run: Run, verification: Verification, recipe: Recipe) -> list[HoldResult | PacedRamp]:
    """What has a panel, in the order of time: the ramps that failed, and the holds worth one beside them."""
    ramps = failed_ramps(verification, recipe, run)[: MOST_PANELS - 1]
    panels: list[HoldResult | PacedRamp] = [
        *ramps,
        *shown_holds(placed_holds(run, verification), MOST_PANELS - len(ramps)),
    ]
    return sorted(panels, key=lambda one: one.ramp.step if isinstance(one, PacedRamp) else one.step)


def _labels(run: Run, verification: Verification, recipe: Recipe) -> list[str]:
    """What the lines of a run are called in its legend."""
    from matplotlib.figure import Figure

    ax = Figure().add_subplot()
    _draw_lines(ax, run, verification, recipe.unit, most=2)
    _draw_recipe(ax, run, verification, recipe, recipe.unit)
    return list(ax.get_legend_handles_labels()[1])


def legend_rows(labels: Sequence[str], across_in: float) -> tuple[int, int]:
    """How many columns of a legend find room in a width [in], and how many rows that makes."""
    import matplotlib
    import numpy as np

    letter_in = 0.53 * matplotlib.rcParams["font.size"] / 72.0
    for columns in range(min(5, len(labels)), 1, -1):
        each = np.array_split([len(label) + 8 for label in labels], columns)  # as a legend fills its columns
        if letter_in * sum(int(some.max()) for some in each) <= across_in:
            return columns, len(each[0])
    return 1, max(len(labels), 1)


def _roles(run: Run, verification: Verification) -> list[tuple[Trace, dict[str, Any]]]:
    """Give each trace with something to see its line: the judged sensor thick, loads dashed, others thinner."""
    others = itertools.cycle(style.OTHERS)
    lines: list[tuple[Trace, dict[str, Any]]] = []
    for trace in run.traces:
        if trace.role == "load":
            lines.append((trace, dict(style.LOAD)))
        elif trace.name == verification.sensor or trace.role in ("control", "recording"):
            lines.append((trace, dict(style.MEASURED)))
        elif trace.role != "ambient":
            lines.append((trace, dict(next(others))))
    return lines


def _draw_lines(ax: Axes, run: Run, verification: Verification, unit: Unit, *, most: int = 3000) -> None:
    for trace, look in _roles(run, verification):
        t_s, temp_c = thin(trace.t_s, trace.temp_c, most=most, gap_s=3 * trace.period_s)
        label = f"{trace.name} (in the furnace)" if trace.role != "load" else f"{trace.name} (in the charge)"
        ax.plot(t_s, from_celsius(temp_c, unit), label=label, zorder=3, **look)
    setpoint = run.signal("setpoint")
    if setpoint is not None:
        _draw_setpoint(ax, run.t_s, setpoint, verification.record.gaps, unit, most)
    work = verification.work
    if work is not None and work.source == "packet estimate":
        draw_estimate(ax, work, unit, until_s=last_pull_s(run))


def _draw_setpoint(
    ax: Axes, t_s: FloatArray, setpoint_c: FloatArray, gaps: Sequence[tuple[float, float]], unit: Unit, most: int
) -> None:
    """Draw the setpoint, which may be read seldom, but not through a gap in which it was not read either."""
    import numpy as np

    read = np.isfinite(setpoint_c)
    unread = [(a, b) for a, b in gaps if not (read & (t_s > a) & (t_s < b)).any()]
    for number, (start, stop) in enumerate(style.outside(unread, float(t_s[0]), float(t_s[-1])) if len(t_s) else ()):
        part = (t_s >= start) & (t_s <= stop)
        thin_s, temp_c = thin(t_s[part], setpoint_c[part], most=most, gap_s=None)
        label = None if number else "setpoint"
        ax.plot(thin_s, from_celsius(temp_c, unit), label=label, zorder=2, **style.SETPOINT)


def last_pull_s(run: Run) -> float | None:
    """When the last piece was marked to come out [s]: an estimate of what lies in the furnace ends there."""
    return max((m.t_s for m in run.marks if m.act == "pull" and not m.struck), default=None)


def draw_estimate(
    ax: Axes, work: WorkTemperature | PacketEstimate, unit: Unit, *, until_s: float | None = None, most: int = 6000
) -> None:
    """Draw the estimate of the blade in its packet up to its pull: its band, and the best of it as a line."""
    count = len(work.t_s) if until_s is None else int(work.t_s.searchsorted(until_s, side="right"))
    some = slice(0, max(count, 2), max(1, count // most))
    t_s = work.t_s[some]
    low, best, high = (from_celsius(temp_c[some], unit) for temp_c in (work.low_c, work.best_c, work.high_c))
    ax.fill_between(t_s, low, high, color=style.PURPLE, alpha=0.25, linewidth=0, zorder=2)
    kind = "fitted" if work.fitted else "a model, not measured"
    ax.plot(t_s, best, label=f"blade in its packet, estimated ({kind})", **style.ESTIMATE)


def _draw_recipe(ax: Axes, run: Run, verification: Verification, recipe: Recipe, unit: Unit) -> None:
    """Draw what the recipe's program meant, in its own times, and each hold's band where it was found."""
    import numpy as np

    label: str | None = style.ASKED
    for hold in shown_holds(placed_holds(run, verification), len(verification.holds)):
        low, high = (from_celsius(edge, unit) for edge in hold.band_c)
        style.draw_asked(ax, begin_s(hold), begin_s(hold) + hold.required_s, low, high, unit, label=label)
        label = None
    points = meant_course(run, verification, recipe)
    if len(points) < 2:
        return
    label = "recipe"
    until_s = min(points[-1][0], float(run.t_s[-1]))  # what would have come after the record sets no scale
    for start, stop in style.outside(verification.record.gaps, points[0][0], until_s):
        t_s = [start, *(t for t, _ in points if start < t < stop), stop]
        temp_c = np.interp(t_s, [t for t, _ in points], [c for _, c in points])
        ax.plot(t_s, from_celsius(temp_c, unit), label=label, **style.RECIPE)
        label = None


def meant_course(run: Run, verification: Verification, recipe: Recipe) -> list[tuple[float, float]]:
    """The program's course from the first ramp on, as times [s of the run] and temperatures [degC].

    A hold lasts as long as is to be typed, a ramp as its rate says; at full power it takes what the furnace took,
    or nothing where that is not on record.
    """
    found = {step.step: step for step in verification.steps}
    at_s = next((s.start_s for s in verification.steps if s.kind == "ramp" and s.start_s is not None), None)
    if at_s is None:
        at_s = next((h.enter_s for h in verification.holds if h.enter_s is not None), 0.0)
    at_c = _temperature_at(run, verification, at_s)
    if at_c is None:
        return []
    points = [(at_s, at_c)]
    for step in program_setpoints(recipe):
        if step.cycle > 1:
            break
        if step.hold_s is not None:
            at_s += step.hold_s
        elif step.rate_c_per_h:
            at_s += abs(step.setpoint_c - at_c) / step.rate_c_per_h * 3600.0
        else:
            took = found.get(step.number)
            if took is not None and took.kind == "ramp" and took.start_s is not None and took.end_s is not None:
                at_s += took.end_s - took.start_s
        at_c = step.setpoint_c
        points.append((at_s, at_c))
    return points


def _temperature_at(run: Run, verification: Verification, t_s: float) -> float | None:
    import numpy as np

    trace = run.trace(verification.sensor)
    if trace is None or not len(trace.t_s):
        return None
    good = np.isfinite(trace.temp_c)
    return float(np.interp(t_s, trace.t_s[good], trace.temp_c[good])) if good.any() else None


def frame_whole(
    ax: Axes,
    run: Run,
    gaps: Sequence[tuple[float, float]],
    unit: Unit,
    *,
    above_in: float = 0.0,
    clock: style.LocalClock | None = None,
    failed: Collection[str] = (),
) -> None:
    """Give the chart of a whole run its gaps, marks, axes, and its legend ``above_in`` inches over it.

    ``failed``: pieces whose pull is to be seen as such.
    """
    for start, stop in gaps:
        style.draw_gap(ax, start, stop)
    if len(run.t_s) > 1:
        ax.set_xlim(float(run.t_s[0]), float(run.t_s[-1]))
    ax.set_ylabel(f"temperature, {style.degree(unit)}")
    low, high = ax.get_ylim()
    ax.set_ylim(min(low, from_celsius(0.0, unit)), high + 0.06 * (high - low))
    draw_marks(ax, run.marks, failed=failed)
    style.clock_axis(ax, clock=clock)
    lift = above_in / (ax.get_position().height * style.inches_of(ax)[1])
    _, labels = ax.get_legend_handles_labels()
    columns, _ = legend_rows(labels, ax.get_position().width * style.inches_of(ax)[0])
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0 + lift), ncols=columns, borderaxespad=0.1, handlelength=3.0)
