"""The suspect run laid over the good ones, aligned on the hold, with the differences marked."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.charts import style
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import counted

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.audit.contrasts.aligning import Aligned
    from soakwitness.analysis.evidence.batch_evidence import Evidence

MOST_LABELS = 4


def save_audit_chart(
    evidence: Evidence, run: str, folders: Mapping[str, Path], path: Path, *, unit: Unit = "C"
) -> None:
    """Read the runs (``folders`` by run) and draw the suspect over the good ones as PNG, SVG or PDF."""
    from soakwitness.analysis.audit.contrasts.aligning import align
    from soakwitness.analysis.condition.measuring import control_trace
    from soakwitness.analysis.record.run import open_run

    traces = {name: control_trace(open_run(folder)) for name, folder in folders.items()}
    suspect = traces.pop(run, None)
    figures = evidence.runs.get(run)
    if suspect is None or figures is None:
        return
    good = {name: trace for name, trace in traces.items() if trace is not None and name in evidence.runs}
    aligned = align(suspect, figures, list(good.values()), evidence.runs, list(good))
    with style.own_look():
        style.save(audit_figure(aligned, run, unit=unit), path)


def audit_figure(aligned: Aligned, run: str, *, unit: Unit) -> Figure:
    """Figure: traces above, suspect minus the good ones' median below. Call within ``style.own_look()``."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.6, 6.4), layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(2.2, 1.0))
    _traces(upper, aligned, unit)
    _difference(lower, aligned, unit)
    _clock(lower, aligned)
    count = aligned.good_c.shape[0]
    beside = f"over {counted(count, 'good run')}" if count else "with no good run to compare"
    upper.set_title(f"{run} {beside}")
    return figure


def _traces(ax: Axes, aligned: Aligned, unit: Unit) -> None:
    t = aligned.t_s
    hold = aligned.hold
    if hold is not None:
        style.draw_band(ax, 0.0, hold.required_s, from_celsius(hold.lower_c, unit), from_celsius(hold.upper_c, unit))
        target = from_celsius(hold.target_c, unit)
        ax.plot([0.0, hold.required_s], [target, target], label="recipe", **style.RECIPE)
    for i, line in enumerate(aligned.good_c):
        ax.plot(t, from_celsius(line, unit), color="#8C8C8C", linewidth=0.9, label="good runs" if i == 0 else None)
    ax.plot(t, from_celsius(aligned.suspect_c, unit), label="suspect", **style.MEASURED)
    for number, (start, end, _) in enumerate(aligned.apart):
        ax.axvspan(start, end, ymax=0.015, color=style.VERMILION, linewidth=0, label="apart" if number == 0 else None)
    ax.set_ylabel(f"temperature, {style.degree(unit)}")
    ax.legend(loc="lower left", bbox_to_anchor=(0.25, 0.05), ncols=4)


def _difference(ax: Axes, aligned: Aligned, unit: Unit) -> None:
    t = aligned.t_s
    difference = from_kelvin(aligned.suspect_c - aligned.median_c, unit)
    spread = from_kelvin(aligned.spread_c, unit)
    ax.fill_between(t, -spread, spread, color="#CFCFCF", linewidth=0, label="spread of the good ones")
    ax.axhline(0.0, color="#8C8C8C", linewidth=0.9)
    ax.plot(t, difference, **style.MEASURED)
    widest = sorted(aligned.apart, key=lambda part: -abs(part[2]))[:MOST_LABELS]
    for start, end, kelvin in widest:
        shown = from_kelvin(kelvin, unit)
        ax.axvspan(start, end, color=style.VERMILION, alpha=0.12, linewidth=0, zorder=0.4)
        ax.annotate(
            f"{shown:+.0f} {style.degree(unit)}",
            (0.5 * (start + end), shown),
            ha="center",
            va="bottom" if shown > 0 else "top",
        )
    ax.margins(y=0.25)
    ax.set_ylabel(f"suspect minus good, {style.degree(unit)}")
    ax.legend(loc="lower left")


def _clock(ax: Axes, aligned: Aligned) -> None:
    ax.set_xlim(float(aligned.t_s[0]), float(aligned.t_s[-1]))
    style.clock_axis(ax, label=False)
    where = "the hold was entered" if aligned.hold is not None else "the run began"
    ax.set_xlabel(f"time since {where}, h:min")
