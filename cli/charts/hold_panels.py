"""One hold beside its band, framed on what happened there, with a bar of the soak that each piece had and missed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.verification.results.verification import Bounds
from soakwitness.cli.charts import style
from soakwitness.cli.charts.marks import draw_marks, failed_pieces, pull_lines
from soakwitness.cli.charts.thinning import thin
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import difference, duration, duration_of, temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from soakwitness.analysis.record.run import Run
    from soakwitness.analysis.verification.results.verification import Dip, HoldResult, Verification

LEAST_ADDED_C = 0.05
MOST_PANELS = 3
MOST_BARS = 4
ALIKE_S = 30.0
LEAST_POINTS = 5.0  # the smallest words that are read at arm's length
BAR = 0.74  # of a row
LOW_BAR, WORDS_UP, BAR_DOWN = 0.44, 0.28, 0.2  # of a row: a bar with its words above it, never over it
PACKET = "packet estimate"
SOURCE_COLOURS = {"load": style.VERMILION, "packet estimate": style.PURPLE, "control": style.BLUE}
LETTER = 0.55  # of the size of a letter, its width
BAND_SHARE = 0.22  # of a panel's height at least


@dataclass(frozen=True)
class SoakBar:
    """What one piece, or the hold, had: from, to [s of the run], of how much asked [s], in the colour of its line.

    ``unread`` are the times in it without a reading, ``hot`` those over its limit, ``out`` those out of its band;
    ``sure_s`` is what is sure of it in one piece. Where ``beside``, it stood above its band and had nothing; where
    ``cut``, the record ends in it, and nobody knows the rest.
    """

    name: str
    start_s: float
    end_s: float
    had_s: float
    asked_s: float
    look: str
    sure_s: float = 0.0
    unread: tuple[tuple[float, float], ...] = ()
    hot: tuple[tuple[float, float], ...] = ()
    out: tuple[tuple[float, float], ...] = ()
    beside: bool = False
    cut: bool = False


def shown_holds(holds: Sequence[HoldResult], most: int = MOST_PANELS) -> list[HoldResult]:
    """The holds worth a panel, in the order of time: what failed first, then what is not proven, then the hottest."""
    order = {"fail": 0, "not proven": 1, "pass": 2}
    found = [h for h in holds if h.enter_s is not None or h.stays]
    worth = sorted(found, key=lambda h: (not h.judged, order[h.verdict], -h.target_c))[:most]
    return sorted(worth, key=lambda h: h.step)


def placed_holds(run: Run, verification: Verification) -> list[HoldResult]:
    """Every hold with its place; one that was never held stands where the furnace went through its temperature."""
    holds = []
    for hold in verification.holds:
        at_s = passed_s(run, verification.sensor, hold.target_c) if not hold.found else None
        if at_s is not None:
            nothing = Bounds(0.0, 0.0, 0.0)
            hold = replace(hold, stays=((at_s, at_s + 60.0),), soak_s=nothing, temperature_from="control")
        holds.append(hold)
    return holds


def passed_s(run: Run, sensor: str, temp_c: float) -> float | None:
    """When a sensor first read a temperature or more [s]."""
    trace = run.trace(sensor)
    if trace is None:
        return None
    over = (trace.temp_c >= temp_c).nonzero()[0]
    return float(trace.t_s[over[0]]) if over.size else None


def begin_s(hold: HoldResult) -> float:
    """When a hold began [s]: its own sensor in the band, else the furnace's, else where it was looked for."""
    stays = (start for start, _ in hold.stays)
    return next(t for t in (hold.enter_s, hold.control_enter_s, *stays, 0.0) if t is not None)


def soak_bars(hold: HoldResult, gaps: Sequence[tuple[float, float]] = ()) -> list[SoakBar]:
    """A bar a piece, those with least first; one bar where all are alike or none is named; ``gaps`` were not read."""
    if hold.soak_s is None:
        return []
    end_s = _first_of(hold.pull_s, hold.leave_s)
    named = sorted((p for p in hold.pieces if p.piece), key=lambda p: p.soak_s.best)
    if len(named) < 2 or named[-1].soak_s.best - named[0].soak_s.best <= ALIKE_S:
        name = {"load": "load", "packet estimate": "blade", "control": "furnace", None: ""}[hold.temperature_from]
        return [_bar(name, hold, hold.soak_s, hold.load_s, end_s, gaps)]
    shown = named if len(named) <= MOST_BARS else named[:MOST_BARS]
    return [
        _bar(p.piece or "", hold, p.soak_s, p.load_s, _first_of(p.pull_s, hold.leave_s or hold.control_leave_s), gaps)
        for p in shown
    ]


def _first_of(*ends_s: float | None) -> float | None:
    """The earliest of those that are known: a piece that stays in goes on to the next hold."""
    return min((t for t in ends_s if t is not None), default=None)


def _bar(
    name: str,
    hold: HoldResult,
    soak: Bounds,
    load_s: float | None,
    end_s: float | None,
    gaps: Sequence[tuple[float, float]],
) -> SoakBar:
    look = SOURCE_COLOURS[hold.temperature_from or "control"]
    hot = _hot(hold)
    if hold.enter_s is None:
        first_s, last_s = begin_s(hold), begin_s(hold)
        if hot:
            first_s, last_s = hot[0][0], hot[-1][1]
        beside = bool(hot)
        return SoakBar(name, first_s, last_s, soak.best, hold.required_s, look, soak.low, hot=hot, beside=beside)
    first_s = max(hold.enter_s, load_s if load_s is not None else hold.enter_s)
    last_s = end_s if end_s is not None else first_s + soak.best
    dips = [d for d in hold.dips if first_s < d.end_s and d.start_s < last_s] if hold.temperature_from != PACKET else []
    first_s, last_s = _counted(first_s, last_s, soak.best, dips)
    return SoakBar(
        name,
        first_s,
        last_s,
        soak.best,
        hold.required_s,
        look,
        soak.low,
        unread=_within(gaps, first_s, last_s),
        hot=_within(hot, first_s, last_s),
        out=_within([(d.start_s, d.end_s) for d in dips if d.looks_like not in ("noise", "gap")], first_s, last_s),
        cut=not hold.ended and hold.verdict != "fail",
    )


def _hot(hold: HoldResult) -> tuple[tuple[float, float], ...]:
    """When a hold was over its limit, where that failed it; the times of a hold that stood above its band."""
    if hold.too_hot is not None and {"too hot", "overshoot"} & set(hold.unmet):
        return hold.too_hot.over
    stood = hold.enter_s is None and hold.level_c is not None and hold.level_c > hold.band_c[1]
    return hold.stays if stood else ()


def _within(times: Sequence[tuple[float, float]], first_s: float, last_s: float) -> tuple[tuple[float, float], ...]:
    """What lies between two times [s]."""
    return tuple((max(a, first_s), min(b, last_s)) for a, b in times if a < last_s and b > first_s)


def _counted(first_s: float, last_s: float, had_s: float, dips: Sequence[Dip]) -> tuple[float, float]:
    """The stretch of a hold that the soak was counted in: what fits it best among those that dips cut it into.

    Where none fits, as of an estimate that entered later than the sensor beside it, it is told by its end.
    """
    cuts = [(d.start_s, d.end_s) for d in dips if d.effect == "new start"]
    starts, ends = [first_s, *(b for _, b in cuts)], [*(a for a, _ in cuts), last_s]
    pauses = [(d.start_s, d.end_s) for d in dips if d.effect == "pause"]

    def off(stretch: tuple[float, float]) -> float:
        paused_s = sum(b - a for a, b in _within(pauses, *stretch))
        return abs(stretch[1] - stretch[0] - paused_s - had_s)

    best = min(((a, b) for a, b in zip(starts, ends, strict=True) if b > a), key=off, default=(first_s, last_s))
    return best if off(best) <= ALIKE_S else (last_s - had_s, last_s)


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
    rows = spec.subgridspec(2, 1, height_ratios=(5.0, 0.4 + 0.85 * max(len(bars), 1)), hspace=0.04)
    ax = figure.add_subplot(rows[0])
    below = figure.add_subplot(rows[1], sharex=ax)
    window = _window(hold, bars)
    part = cut(run, window)
    draw_lines(ax, part, verification, unit, most=1500)
    low, high = (from_celsius(edge, unit) for edge in hold.band_c)
    style.draw_band(ax, *window, low, high)
    _draw_as_decided(ax, run, hold, window, unit)
    target = from_celsius(hold.target_c, unit)
    for stretch in style.outside(verification.record.gaps, *window):
        ax.plot(stretch, (target, target), **style.RECIPE)
    for start, stop in verification.record.gaps:
        style.draw_gap(ax, start, stop)
    ax.set_xlim(*window)
    ax.set_ylim(*_frame(part, verification, hold, unit, window))
    draw_marks(ax, run.marks, failed=failed_pieces(verification), acts=("load", "pull"), brief=True)
    pull_lines(below, run.marks, *window)
    ax.tick_params(labelbottom=False)
    title = f"Step {hold.step}, {temperature(hold.target_c, unit)}: {panel_verdict(hold)}"
    ax.set_title(title if fits_across(ax, title) else title.partition(" (")[0])
    _draw_bars(below, bars, window, clock)


def fits_across(ax: Axes, words: str) -> bool:
    """Whether words of the body's size are no wider than axes."""
    import matplotlib

    letter_in = LETTER * float(matplotlib.rcParams["font.size"]) / 72.0
    return letter_in * len(words) <= ax.get_position().width * style.inches_of(ax)[0]


def panel_verdict(hold: HoldResult) -> str:
    """``fail, by load (in the charge)``: the verdict, and whose readings it counts."""
    if not hold.found:
        return "missing"
    verdict = hold.verdict if hold.judged else "reported only"
    if hold.temperature_from == PACKET:
        return f"{verdict}, by the blade's estimate"
    place = "in the charge" if hold.temperature_from == "load" else "in the furnace"
    return f"{verdict}, by {hold.measured_by} ({place})" if hold.measured_by is not None else verdict


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
    begin = begin or [begin_s(hold)]
    ends = [t for t in (hold.control_leave_s, hold.leave_s) if t is not None]
    ends += [bar.end_s + max(bar.asked_s - bar.had_s, 0.0) for bar in bars] + [begin[0] + 60.0]
    margin = 0.08 * (max(ends) - min(begin)) + 60.0
    return min(begin) - margin, max(ends) + margin


def _frame(
    run: Run, verification: Verification, hold: HoldResult, unit: Unit, window: tuple[float, float]
) -> tuple[float, float]:
    """Ends of the temperature axis: the band, and all that the deciding sensors did in the hold; no more than that."""
    import numpy as np

    if not hold.found:
        room_c = 1.5 * (hold.band_c[1] - hold.band_c[0])
        return from_celsius(hold.band_c[0] - room_c, unit), from_celsius(hold.band_c[1] + room_c, unit)
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
    low = min(max(low, high - most), hold.band_c[0])
    room = 0.35 * wide + 0.06 * (high - low)
    return from_celsius(low - room, unit), from_celsius(high + room, unit)


def _draw_bars(ax: Axes, bars: Sequence[SoakBar], window: tuple[float, float], clock: style.LocalClock | None) -> None:
    """A bar a row, its words above it; where rows are too low for that, few words within it."""
    points = bar_points(ax, len(bars), LOW_BAR)
    low = points < LEAST_POINTS
    down, high = (0.0, BAR) if low else (BAR_DOWN, LOW_BAR)
    ax.set_ylim(max(len(bars), 1) - 0.4, -0.6)
    ax.set_yticks([row + down for row in range(len(bars))], [bar.name for bar in bars])
    ax.tick_params(axis="y", length=0)
    ax.grid(False)
    ax.spines["left"].set_visible(False)
    per_s = ax.get_position().width * style.inches_of(ax)[0] / (window[1] - window[0])
    for row, bar in enumerate(bars):
        _draw_bar(ax, row + down, bar, high)
        if low:
            _write_within(ax, row, bar, bar_points(ax, len(bars)), per_s, window[1])
            continue
        words = bar_words(bar)
        fits = (window[1] - bar.start_s) * per_s >= LETTER * len(words) * points / 72.0
        at_s, side = (bar.start_s, "left") if fits else (window[1], "right")
        white = {"facecolor": "white", "edgecolor": "none", "pad": 0.3}
        ax.text(at_s, row - WORDS_UP, words, ha=side, va="center", fontsize=points, bbox=white)
    style.clock_axis(ax, label=False, clock=clock)


def _write_within(ax: Axes, row: int, bar: SoakBar, points: float, per_s: float, end_s: float) -> None:
    """Write how much a bar had within its full part, or beside it where that is too short: never over a hatch."""
    words = f"\u00a0{duration_of(bar.had_s, bar.asked_s)}\u00a0"
    full_s = min([bar.end_s, *(a for a, _ in (*bar.hot, *bar.unread, *bar.out))]) - bar.start_s
    long_s = LETTER * len(words) * points / 72.0 / per_s
    last_s = bar.end_s + max(bar.asked_s - bar.had_s, 0.0)
    look: dict[str, Any] = {"va": "center", "fontsize": points}
    if full_s >= long_s:
        ax.text(bar.start_s, row, words, ha="left", color="white", fontweight="bold", **look)
    elif end_s - last_s >= long_s:
        ax.text(last_s, row, words, ha="left", **look)
    else:
        ax.text(bar.start_s, row, words, ha="right", **look)


def bar_points(ax: Axes, rows: int, share: float = BAR) -> float:
    """Size of the words in a share of a row, so that they stay within it [points]."""
    import matplotlib

    row_in = ax.get_position().height * style.inches_of(ax)[1] / max(rows, 1)
    return min(0.83 * float(matplotlib.rcParams["font.size"]), 72.0 * row_in * share * 0.85)


def bar_words(bar: SoakBar) -> str:
    """``had 8.3 of 12 min, 3.7 min missing``: what failed first, then what it had, in the order of its parts."""
    hot_s, unread_s, out_s = (sum(b - a for a, b in times) for times in (bar.hot, bar.unread, bar.out))
    hot = f"too hot for {duration(max(hot_s, 1.0))}" if bar.hot else ""
    if bar.beside:
        return f"{hot} of the hold"
    if unread_s > 0.0:
        had = f"{duration_of(bar.sure_s, bar.asked_s)} sure in one piece, {duration(unread_s)} not read"
    elif bar.had_s <= 0.0:
        had = f"had nothing of {duration(bar.asked_s)}"
    else:
        had = f"had {duration_of(bar.had_s, bar.asked_s)}"
        rest = "not recorded" if bar.cut else "missing"
        had += f", {duration(bar.asked_s - bar.had_s)} {rest}" if bar.had_s < bar.asked_s else ""
    had += f", {duration(out_s)} out of its band" if out_s > 0.0 else ""
    return f"{hot}; {had}" if hot else had


def _draw_bar(ax: Axes, middle: float, bar: SoakBar, high: float) -> None:
    """Had in the colour of its line, dotted where not read, crossed where too hot; missing hatched behind it."""
    ax.barh(middle, bar.end_s - bar.start_s, left=bar.start_s, height=high, color=bar.look)
    parts: list[tuple[float, float, str]] = [(a, b, ".....") for a, b in bar.unread]
    parts += [(a, b, "") for a, b in bar.out]
    parts += [(a, max(b, a + 1.0), "xxxxx") for a, b in bar.hot]
    if bar.had_s < bar.asked_s and not bar.beside:
        parts += [(bar.end_s, bar.end_s + bar.asked_s - bar.had_s, "....." if bar.cut else "/////")]
    for start_s, stop_s, hatch in parts:
        look: dict[str, Any] = {"facecolor": "white", "edgecolor": "#333333", "hatch": hatch, "lw": 0.8}
        ax.barh(middle, stop_s - start_s, left=start_s, height=high, **look)


def cut(run: Run, window: tuple[float, float]) -> Run:
    """Return the run between two times, for a line that shows every reading."""
    import numpy as np

    def part(t_s: Any) -> slice:
        first, last = np.searchsorted(t_s, window)
        return slice(max(0, int(first) - 1), int(last) + 1)

    traces = tuple(replace(tr, t_s=tr.t_s[part(tr.t_s)], temp_c=tr.temp_c[part(tr.t_s)]) for tr in run.traces)
    here = part(run.t_s)
    return replace(run, t_s=run.t_s[here], values={k: v[here] for k, v in run.values.items()}, traces=traces)
