"""One hold beside its band, framed on what happened there, with a bar of the soak that each piece had and missed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.cli.charts.thinning import thin
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import difference, duration, duration_of, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import Bounds, HoldResult, Verification

LEAST_ADDED_C = 0.05
MOST_PANELS = 3
MOST_BARS = 4
ALIKE_S = 30.0
BAR = 0.74  # of a row
SOURCE_COLOURS = {"load": style.VERMILION, "packet estimate": style.PURPLE, "control": style.BLUE}
LETTER = 0.55  # of the size of a letter, its width
INSIDE = 0.34  # of a panel's width: a bar that holds its own words
BAND_SHARE = 0.22  # of a panel's height at least


@dataclass(frozen=True)
class SoakBar:
    """What one piece, or the hold, had: from, to [s of the run], of how much asked [s], in the colour of its line.

    ``unread`` are the times in it without a reading, ``hot`` the time over its limit.
    """

    name: str
    start_s: float
    end_s: float
    had_s: float
    asked_s: float
    look: str
    unread: tuple[tuple[float, float], ...] = ()
    hot: tuple[float, float] | None = None


def shown_holds(verification: Verification, most: int = MOST_PANELS) -> list[HoldResult]:
    """The holds worth a panel, in the order of time: what failed first, then what is not proven, then the hottest."""
    order = {"fail": 0, "not proven": 1, "pass": 2}
    found = [h for h in verification.holds if h.found and (h.enter_s is not None or h.stays)]
    worth = sorted(found, key=lambda h: (not h.judged, order[h.verdict], -h.target_c))[:most]
    return sorted(worth, key=lambda h: h.step)


def soak_bars(hold: HoldResult, gaps: Sequence[tuple[float, float]] = ()) -> list[SoakBar]:
    """A bar a piece, those with least first; one bar where all are alike or none is named; ``gaps`` were not read."""
    if hold.soak_s is None:
        return []
    end_s = _first_of(hold.pull_s, hold.leave_s)
    named = sorted((p for p in hold.pieces if p.piece), key=lambda p: p.soak_s.best)
    if len(named) < 2 or named[-1].soak_s.best - named[0].soak_s.best <= ALIKE_S:
        name = {"load": "load", "packet estimate": "blade", "control": "furnace", None: ""}[hold.temperature_from]
        return [_bar(name, hold, hold.soak_s, end_s, gaps)]
    shown = named if len(named) <= MOST_BARS else named[:MOST_BARS]
    return [_bar(p.piece or "", hold, p.soak_s, _first_of(p.pull_s, hold.control_leave_s), gaps) for p in shown]


def _first_of(*ends_s: float | None) -> float | None:
    """The earliest of those that are known: a piece that stays in goes on to the next hold."""
    return min((t for t in ends_s if t is not None), default=None)


def _bar(
    name: str, hold: HoldResult, soak: Bounds, end_s: float | None, gaps: Sequence[tuple[float, float]]
) -> SoakBar:
    had_s = soak.best
    last_s = end_s if end_s is not None else (hold.enter_s or hold.stays[0][0]) + had_s
    first_s = last_s - had_s
    unread = tuple((max(a, first_s), min(b, last_s)) for a, b in gaps if a < last_s and b > first_s)
    hot = hold.too_hot if "too hot" in hold.unmet or "overshoot" in hold.unmet else None
    return SoakBar(
        name,
        first_s,
        last_s,
        had_s,
        hold.required_s,
        SOURCE_COLOURS[hold.temperature_from or "control"],
        unread,
        None if hot is None else (hot.at_s, hot.at_s + max(hot.over_s, 1.0)),
    )


def draw_panel(
    figure: Figure,
    spec: Any,
    run: Run,
    verification: Verification,
    hold: HoldResult,
    unit: Unit,
    draw_lines: Any,
    clock: style.LocalClock | None = None,
) -> None:
    """Draw one hold into a cell of a grid: the readings over its band, the bars below on the same clock."""
    bars = soak_bars(hold, verification.record.gaps)
    rows = spec.subgridspec(2, 1, height_ratios=(5.0, 0.4 + 0.62 * max(len(bars), 1)), hspace=0.04)
    ax = figure.add_subplot(rows[0])
    below = figure.add_subplot(rows[1], sharex=ax)
    window = _window(hold, bars)
    part = cut(run, window)
    draw_lines(ax, part, verification, unit, most=1500)
    low, high = (from_celsius(edge, unit) for edge in hold.band_c)
    style.draw_band(ax, *window, low, high)
    _draw_as_decided(ax, run, hold, window, unit)
    target = from_celsius(hold.target_c, unit)
    ax.plot(window, (target, target), **style.RECIPE)
    for start, stop in verification.record.gaps:
        style.draw_gap(ax, start, stop)
    ax.set_xlim(*window)
    ax.set_ylim(*_frame(part, verification, hold, unit, window))
    ax.tick_params(labelbottom=False)
    verdict = hold.verdict if hold.judged else "reported only"
    ax.set_title(f"Step {hold.step}, {temperature(hold.target_c, unit)}: {verdict}")
    _draw_bars(below, bars, window, clock)


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


def _window(hold: HoldResult, bars: Sequence[SoakBar]) -> tuple[float, float]:
    """From before the furnace came to after the last piece left, what is missing of the soak included [s]."""
    begin = [t for t in (hold.control_enter_s, hold.enter_s, *(bar.start_s for bar in bars)) if t is not None]
    begin = begin or [hold.stays[0][0]]
    ends = [t for t in (hold.control_leave_s, hold.leave_s) if t is not None]
    ends += [bar.end_s + max(bar.asked_s - bar.had_s, 0.0) for bar in bars] + [begin[0] + 60.0]
    margin = 0.08 * (max(ends) - min(begin)) + 60.0
    return min(begin) - margin, max(ends) + margin


def _frame(
    run: Run, verification: Verification, hold: HoldResult, unit: Unit, window: tuple[float, float]
) -> tuple[float, float]:
    """Ends of the temperature axis: the band, and all that the deciding sensors did in the hold; no more than that."""
    import numpy as np

    first_s = hold.control_enter_s if hold.control_enter_s is not None else window[0]
    last_s = min(t for t in (hold.control_leave_s, hold.leave_s, window[1]) if t is not None)
    seen = [hold.band_c[0], hold.band_c[1], hold.target_c + (hold.overshoot_c or 0.0)]
    if hold.too_hot is not None:
        seen.append(hold.too_hot.reached_c)
    for trace in run.traces:
        if trace.name not in (verification.sensor, hold.measured_by):
            continue
        inside = trace.temp_c[(trace.t_s >= first_s) & (trace.t_s <= last_s)]
        inside = inside[np.isfinite(inside)]
        if inside.size:
            seen += [float(np.quantile(inside, 0.1)), float(inside.max())]
    wide = hold.band_c[1] - hold.band_c[0]
    low, high = min(seen), max(seen)
    most = wide / BAND_SHARE
    low = max(low, high - most) if high - low > most else low
    room = 0.35 * wide + 0.06 * (high - low)
    return from_celsius(low - room, unit), from_celsius(high + room, unit)


def _draw_bars(ax: Axes, bars: Sequence[SoakBar], window: tuple[float, float], clock: style.LocalClock | None) -> None:
    """Had as a full bar, missing as a hatched one behind it, in words beside them."""
    ax.set_ylim(max(len(bars), 1) - 0.4, -0.6)
    ax.set_yticks(range(len(bars)), [bar.name for bar in bars])
    ax.tick_params(axis="y", length=0)
    ax.grid(False)
    ax.spines["left"].set_visible(False)
    middle, points = (window[0] + window[1]) / 2.0, bar_points(ax, len(bars))
    for row, bar in enumerate(bars):
        _draw_bar(ax, row, bar)
        missing_s = max(bar.asked_s - bar.had_s, 0.0)
        words, end_s = f"  {bar_words(bar)}  ", bar.end_s + missing_s
        look: dict[str, Any] = {"va": "center", "fontsize": points}
        whole = not bar.unread and bar.hot is None
        if whole and bar.had_s > INSIDE * (window[1] - window[0]):
            ax.text(bar.start_s, row, words, ha="left", color="white", fontweight="bold", **look)
        elif bar.had_s + missing_s > INSIDE * (window[1] - window[0]) or (bar.start_s + end_s) / 2.0 <= middle:
            plain = {"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.85}
            room_in = (window[1] - end_s) / (window[1] - window[0]) * ax.get_position().width * style.inches_of(ax)[0]
            at_s = end_s if room_in >= LETTER * len(words) * points / 72.0 else bar.start_s
            ax.text(at_s, row, words, ha="left", bbox=plain, **look)
        else:
            ax.text(bar.start_s, row, words, ha="right", **look)
    style.clock_axis(ax, label=False, clock=clock)


def bar_points(ax: Axes, rows: int) -> float:
    """Size of the words in a bar, so that they stay within it [points]."""
    import matplotlib

    row_in = ax.get_position().height * style.inches_of(ax)[1] / max(rows, 1)
    return min(0.83 * float(matplotlib.rcParams["font.size"]), 72.0 * row_in * BAR * 0.85)


def bar_words(bar: SoakBar) -> str:
    """``had 8.3 of 12 min``, with what was not read, missing or too hot of it."""
    unread_s = sum(b - a for a, b in bar.unread)
    words = f"had {duration_of(bar.had_s, bar.asked_s)}"
    words += f", {duration(unread_s)} of it not read" if unread_s > 0.0 else ""
    return words + (f", {duration(bar.hot[1] - bar.hot[0])} too hot" if bar.hot is not None else "")


def _draw_bar(ax: Axes, row: int, bar: SoakBar) -> None:
    """Had in the colour of its line, dotted where not read, crossed where too hot; missing hatched behind it."""
    ax.barh(row, bar.had_s, left=bar.start_s, height=BAR, color=bar.look)
    parts: list[tuple[float, float, str]] = [(a, b, ".....") for a, b in bar.unread]
    parts += [(*bar.hot, "xxxxx")] if bar.hot is not None else []
    parts += [(bar.end_s, bar.end_s + bar.asked_s - bar.had_s, "/////")] if bar.had_s < bar.asked_s else []
    for start_s, stop_s, hatch in parts:
        ax.barh(
            row, stop_s - start_s, left=start_s, height=BAR, facecolor="white", edgecolor="#333333", hatch=hatch, lw=0.8
        )


def cut(run: Run, window: tuple[float, float]) -> Run:
    """Return the run between two times, for a line that shows every reading."""
    import numpy as np

    def part(t_s: Any) -> slice:
        first, last = np.searchsorted(t_s, window)
        return slice(max(0, int(first) - 1), int(last) + 1)

    traces = tuple(replace(tr, t_s=tr.t_s[part(tr.t_s)], temp_c=tr.temp_c[part(tr.t_s)]) for tr in run.traces)
    here = part(run.t_s)
    return replace(run, t_s=run.t_s[here], values={k: v[here] for k, v in run.values.items()}, traces=traces)
