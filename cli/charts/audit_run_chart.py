"""The run of an audit: each step over the good runs' on its own start, the blade, pulls, doors and gaps, the pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from soakwitness.cli.charts import style
from soakwitness.cli.charts.marks import draw_marks
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, from_kelvin
from soakwitness.firmware_bridge.common.wording import counted, duration, percent, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.audit.contrasts.aligning import AlignedStep
    from soakwitness.analysis.record.run import FloatArray
    from soakwitness.firmware_bridge.runfolder.contents import Mark

GOOD: dict[str, Any] = {"color": "#8C8C8C", "linewidth": 0.9}
HEADROOM = 0.16
FEWEST_BANDS, DEEPEST_C = 5.0, 350.0
MOST_BARS = 9
MOST_DIFFERENCES = 2
MOST_ROWS, LETTER_IN = 2, 0.085
LINES_END = 0.88  # of a panel's height: above it stand words


@dataclass(frozen=True)
class BladeLine:
    """The blade's temperature on the run's clock: ``words`` say where it is from; all [degC], shape (n,)."""

    words: str
    t_s: FloatArray
    low_c: FloatArray
    best_c: FloatArray
    high_c: FloatArray


@dataclass(frozen=True)
class SuspectSoak:
    """Soak of one piece, with its hardness in words; ``required_s`` [s]. ``known``: suspect, good, or not tested."""

    piece: str
    soak_s: float
    required_s: float
    hardness: str
    known: Literal["suspect", "good", "not tested"]


@dataclass(frozen=True)
class RunPictured:
    """All that the picture of a run shows.

    ``marks``: (when [s], what was done); ``falls``: (from, to) in which it stood low and no mark says why [s];
    ``gaps``: (from, to) without readings [s]; ``pulls``: who came out, ``suspects``: whom it is about.
    """

    steps: tuple[AlignedStep, ...]
    blade: BladeLine | None = None
    marks: tuple[tuple[float, str], ...] = ()
    falls: tuple[tuple[float, float], ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()
    bars: tuple[SuspectSoak, ...] = ()
    good_soak_s: float | None = None
    pulls: tuple[Mark, ...] = ()
    suspects: tuple[str, ...] = ()


def draw_run_steps(figure: Figure, shown: RunPictured, unit: Unit) -> None:
    """Draw the steps in a row, below them soaks and differences. Call within ``style.own_look()``."""
    compared = [s for s in shown.steps if s.comparable_s is not None and s.apart]
    below = bool(shown.bars) + bool(compared)
    grid = figure.add_gridspec(2 if below else 1, 1, height_ratios=(2.1, 1.0) if below else None)
    lengths = [float(np.sqrt(s.t_s[-1] - s.t_s[0])) for s in shown.steps]
    upper = grid[0].subgridspec(1, len(shown.steps), width_ratios=[max(v, 0.45 * max(lengths)) for v in lengths])
    for number, step in enumerate(shown.steps):
        ax = figure.add_subplot(upper[0, number])
        _draw_step(ax, step, shown, unit)
        if number == 0:
            ax.set_ylabel(f"temperature, {style.degree(unit)}")
    _legend(figure)
    if not below:
        return
    lower = grid[1].subgridspec(1, below, width_ratios=(1.0, 1.0)[:below])
    if shown.bars:
        _draw_bars(figure.add_subplot(lower[0, 0]), shown)
    if compared:
        last = compared[-1]
        _draw_difference(figure.add_subplot(lower[0, below - 1]), last, unit)


def _legend(figure: Figure) -> None:
    """One legend for all panels, outside them."""
    found: dict[str, Any] = {}
    for ax in figure.axes:
        for handle, label in zip(*ax.get_legend_handles_labels(), strict=True):
            found.setdefault(label, handle)
    figure.legend(list(found.values()), list(found), loc="outside lower left", ncols=6, handlelength=2.8)


def _draw_step(ax: Axes, step: AlignedStep, shown: RunPictured, unit: Unit) -> None:
    t, first, last = step.t_s, float(step.t_s[0]), float(step.t_s[-1])
    ax.set_xlim(first, last)
    if step.kind == "hold" and step.hold is not None:
        low, high = from_celsius(step.hold.lower_c, unit), from_celsius(step.hold.upper_c, unit)
        style.draw_band(ax, 0.0, step.hold.required_s, low, high)
        ax.fill_between([], [], [], color=style.BAND_FILL, alpha=0.5, label="band, as long as asked")
    for i, line in enumerate(step.good_c):
        ax.plot(t, from_celsius(line, unit), label="good runs" if i == 0 else None, zorder=2, **GOOD)
    _draw_blade(ax, step, shown.blade, unit)
    ax.plot(t, from_celsius(step.suspect_c, unit), label="this run", zorder=3, **style.MEASURED)
    _limit(ax, step, shown.blade, unit)
    for start, end in shown.gaps:
        if start - step.zero_s < last and end - step.zero_s > first:
            style.draw_gap(ax, max(first, start - step.zero_s), min(last, end - step.zero_s))
    _draw_events(ax, step, shown)
    style.clock_axis(ax, label=False)
    from matplotlib.ticker import MaxNLocator

    ax.xaxis.set_major_locator(_minutes(last - first))
    ax.yaxis.set_major_locator(MaxNLocator(6))
    ax.set_title(_step_words(step, unit))
    began = "the climb began" if step.kind == "climb" else "loading" if step.by_load else "it was reached"
    ax.set_xlabel(f"since {began}, h:min")


def _minutes(span_s: float) -> Any:
    from matplotlib.ticker import MultipleLocator

    steps = (60, 120, 300, 600, 900, 1200, 1800, 3600, 7200, 14400)
    return MultipleLocator(next((s for s in steps if span_s / s <= 5), 28800))


def _draw_blade(ax: Axes, step: AlignedStep, blade: BladeLine | None, unit: Unit) -> None:
    if blade is None:
        return
    t = blade.t_s - step.zero_s
    inside = (t >= step.t_s[0]) & (t <= step.t_s[-1])
    if not inside.any():
        return
    low, best, high = (from_celsius(c[inside], unit) for c in (blade.low_c, blade.best_c, blade.high_c))
    if np.nanmax(high - low) > 0:
        ax.fill_between(t[inside], low, high, color=style.PURPLE, alpha=0.22, linewidth=0, zorder=2)
    look = style.ESTIMATE | {"linewidth": 2.0}
    ax.plot(t[inside], best, label=blade.words, zorder=3.5, **look)


def _limit(ax: Axes, step: AlignedStep, blade: BladeLine | None, unit: Unit) -> None:
    """Show a hold's band wide enough to see, and what fell out of it; leave room above for words."""
    inside = (step.t_s >= 0.0) & (step.t_s <= max(step.ends_s - step.zero_s, 1.0))
    parts = [step.suspect_c[inside], step.good_c[:, (step.t_s >= 0)].ravel() if step.kind == "climb" else np.empty(0)]
    if step.kind == "climb":
        parts.append(step.suspect_c)
    if blade is not None:
        t = blade.t_s - step.zero_s
        parts.append(blade.best_c[(t >= 0.0) & (t <= max(step.ends_s - step.zero_s, 1.0))])
    values = np.concatenate([p[np.isfinite(p)] for p in parts])
    low, high = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
    if step.kind == "hold" and step.hold is not None:
        wide = step.hold.upper_c - step.hold.lower_c
        low = max(min(low, step.hold.lower_c - FEWEST_BANDS * wide), step.hold.target_c - DEEPEST_C)
        high = max(high, step.hold.upper_c + wide)
    low, high = from_celsius(low, unit), from_celsius(high, unit)
    reach = (high - low) or 1.0
    ax.set_ylim(low - 0.04 * reach, high + (HEADROOM + 0.04) * reach)


def _draw_events(ax: Axes, step: AlignedStep, shown: RunPictured) -> None:
    """Loads, pulls, doors and gaps in the room above the lines: a fine line each, its word on the upper edge."""
    first, last = float(step.t_s[0]), float(step.t_s[-1])
    from_s, until_s = (0.0, step.ends_s - step.zero_s) if step.kind == "climb" else (first, last)
    words: list[tuple[float, str]] = []
    for word in dict.fromkeys(w for _, w in shown.marks):
        times = [t - step.zero_s for t, w in shown.marks if w == word and from_s <= t - step.zero_s <= until_s]
        for t in set(times) - {m.t_s - step.zero_s for m in shown.pulls}:
            ax.axvline(t, ymax=LINES_END, color="#444444", linewidth=0.7, linestyle=(0, (1, 3)), zorder=1)
        if times:
            words.append((min(times), word if len(times) == 1 else f"{len(times)} {word}"))
    for a, b in shown.falls:
        if from_s <= a - step.zero_s <= until_s:
            ax.axvspan(a - step.zero_s, b - step.zero_s, ymax=LINES_END, color=style.ORANGE, alpha=0.22, linewidth=0)
            words.append((a - step.zero_s, f"low for {duration(b - a)}"))
    for a, b in shown.gaps:
        if from_s <= a - step.zero_s <= until_s:
            words.append((a - step.zero_s, f"no readings, {duration(b - a)}"))
    _write_words(ax, words, first, last)
    pulls = [replace(m, t_s=m.t_s - step.zero_s) for m in shown.pulls if from_s <= m.t_s - step.zero_s <= until_s]
    draw_marks(ax, pulls, failed=shown.suspects, top=LINES_END, brief=True)


def _write_words(ax: Axes, words: Sequence[tuple[float, str]], first: float, last: float) -> None:
    """Write along the upper edge in two rows; what has no room there is left to its line."""
    wide_in = ax.get_position().width * ax.get_figure(root=True).get_size_inches()[0]  # type: ignore[union-attr]
    rows = [first - 1.0] * MOST_ROWS
    for t, word in sorted(words):
        width = LETTER_IN * len(word) / wide_in * (last - first)
        start = t if t + width <= last else max(first, last - width)
        row = next((k for k, end in enumerate(rows) if end <= start), None)
        if row is None:
            continue
        rows[row] = start + width
        ax.text(
            start, 0.995 - 0.062 * row, word, transform=ax.get_xaxis_transform(), va="top", fontsize="small",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip


def _step_words(step: AlignedStep, unit: Unit) -> str:
    if step.hold is None:
        return "climb; no hold was reached"
    at = temperature(step.hold.target_c, unit)
    return f"climb to {at}" if step.kind == "climb" else f"{at} for {duration(step.hold.required_s)}"


def _draw_bars(ax: Axes, shown: RunPictured) -> None:
    """Soak of each piece beside what is asked, its hardness at the end of the bar."""
    bars = sorted(shown.bars, key=lambda b: b.soak_s)
    kept, left_out = bars[:MOST_BARS], len(bars) - MOST_BARS
    required = kept[0].required_s
    longest = max(required, shown.good_soak_s or 0.0, *(b.soak_s for b in kept))
    for row, bar in enumerate(kept):
        y = len(kept) - row
        look: dict[str, Any] = (
            {"color": style.BLUE, "edgecolor": style.BLACK}
            if bar.known == "suspect"
            else {"color": "#DDDDDD", "edgecolor": "#777777", "hatch": "..."}
        )
        ax.barh(y, bar.soak_s, height=0.62, linewidth=0.6, zorder=2, **look)
        said = f"{duration(bar.soak_s)}, {percent(bar.soak_s / required)} of what is asked"
        ax.text(1.06 * longest, y, f"{said}{bar.hardness}", va="center", fontsize="small")
    ax.axvline(required, ymax=0.9, **style.RECIPE)
    more = shown.good_soak_s is not None and shown.good_soak_s > required
    apart = shown.good_soak_s is not None and abs(shown.good_soak_s - required) > 0.05 * longest
    ax.text(
        required, 1.0, "asked" if apart or not shown.good_soak_s else "asked, and the good ones",
        transform=ax.get_xaxis_transform(), ha="right" if more else "left", va="top", fontsize="small",
    )  # fmt: skip
    if shown.good_soak_s is not None and apart:
        ax.axvline(shown.good_soak_s, ymax=0.9, color="#6A6A6A", linewidth=1.0)
        ax.text(
            shown.good_soak_s, 1.0, "good ones", transform=ax.get_xaxis_transform(), ha="left" if more else "right",
            va="top", fontsize="small",
        )  # fmt: skip
    ax.set_yticks(
        [len(kept) - row for row in range(len(kept))],
        [b.piece if b.known == "suspect" else f"{b.piece}, {b.known}" for b in kept],
    )
    ax.set_ylim(0.4, len(kept) + 1.1)
    ax.spines["bottom"].set_bounds(0.0, longest)
    ax.set_xlim(0, 2.3 * longest)
    ax.xaxis.set_major_locator(_minutes(longest))
    ax.set_xticks([t for t in ax.get_xticks() if 0 <= t <= 1.02 * longest])
    style_words = [style.axis_words(float(t)) for t in ax.get_xticks()]
    ax.set_xticklabels(style_words)
    ax.grid(axis="y", visible=False)
    others = f"; {counted(left_out, 'piece')} with a longer one left out" if left_out > 0 else ""
    ax.set_title(f"soak of each piece, h:min{others}")


def _draw_difference(ax: Axes, step: AlignedStep, unit: Unit) -> None:
    difference = from_kelvin(step.suspect_c - step.median_c, unit)
    held = step.comparable_s or 1.0
    inside = (step.t_s >= 0.0) & (step.t_s <= held)
    t = step.t_s[inside]
    spread = from_kelvin(step.spread_c[inside], unit)
    ax.fill_between(t, -spread, spread, color="#CFCFCF", linewidth=0)
    ax.axhline(0.0, color="#8C8C8C", linewidth=0.9)
    ax.plot(t, difference[inside], **style.MEASURED)
    values = difference[inside][np.isfinite(difference[inside])]
    low, high = float(min(values.min(), 0.0)), float(max(values.max(), 0.0))
    reach = max(high - low, from_kelvin(8.0, unit))
    ax.set_ylim(low - 0.2 * reach, high + 0.3 * reach)
    for start, end, kelvin in sorted(step.apart, key=lambda part: -abs(part[2]))[:MOST_DIFFERENCES]:
        value = from_kelvin(kelvin, unit)
        ax.annotate(
            f"{value:+.0f} {style.degree(unit)} for {duration(end - start)}",
            (0.5 * (start + end), value),
            xytext=(0, 4 if value > 0 else -4),
            textcoords="offset points",
            ha="center" if held * 0.25 < 0.5 * (start + end) < held * 0.75 else "left" if start < held / 2 else "right",
            va="bottom" if value > 0 else "top",
            fontsize="small",
        )
    ax.set_xlim(0.0, held)
    style.clock_axis(ax, label=False)
    ax.xaxis.set_major_locator(_minutes(held))
    at = temperature(step.hold.target_c, unit) if step.hold is not None else ""
    ax.set_title(f"this run minus the middle of the good ones, hold at {at}")
    ax.set_ylabel(style.degree(unit))
