"""How a furnace is doing, in lines of text and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from soakwitness.cli.options.entering import table
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, rate

if TYPE_CHECKING:
    from soakwitness.analysis.condition.judging import Condition
    from soakwitness.analysis.condition.trends import Trend


def condition_lines(condition: Condition, unit: Unit, *, every: bool = False) -> list[str]:
    """Lines for the screen: the answer, each part with the measurement that would settle it, then the table."""
    lines = [condition.says]
    if condition.first_day:
        groups = ", ".join(f"{count} {group}" for group, count in condition.groups)
        lines.append(f"({counted(condition.runs, 'run')}, {condition.first_day} to {condition.last_day}: {groups})")
    for part in condition.parts:
        lines += ["", f"{part.part}", f"   {part.says.text(unit)}", f"   measure: {part.measure}"]
    main = condition.groups[0][0] if condition.groups else ""
    shown = [t for t in condition.trends if every or t.moved or t.series.group in (main, "all runs")]
    if shown:
        head = ("", "runs", "usual", "now", "change", "limits of single runs", "since")
        lines += ["", table([head, *(_row(t, unit) for t in shown)], indent="  ")]
    for test in condition.accuracy[-3:]:
        lines.append(f"  accuracy test {test.day}: {_figure(test.difference_c, 'accuracy', unit, sign=True)}")
    return lines


def _row(trend: Trend, unit: Unit) -> tuple[str, ...]:
    kind = trend.series.kind
    group = "" if trend.series.group == "all runs" else f" ({trend.series.group})"
    limits = f"{_figure(trend.singles.lower, kind, unit)} to {_figure(trend.singles.upper, kind, unit)}"
    return (
        trend.series.name.text(unit) + group,
        str(trend.series.values.size),
        _figure(trend.usual, kind, unit),
        _figure(trend.now, kind, unit),
        _change(trend, unit),
        limits,
        trend.since or "-",
    )


def _figure(value: float, kind: str, unit: Unit, *, sign: bool = False) -> str:
    plus = "+" if sign else ""
    if kind in ("rate", "cooling"):
        return rate(value, unit)
    if kind == "output":
        return f"{value:{plus}.0f} %"
    if kind == "missed":
        return f"{100 * value:{plus}.1f} %"
    return difference(value, unit, signed=sign)


def _change(trend: Trend, unit: Unit) -> str:
    if trend.series.kind in ("rate", "cooling", "output"):
        return f"{100 * trend.change:+.0f} %"
    return _figure(trend.change, trend.series.kind, unit, sign=True)


def condition_json(condition: Condition, unit: Unit = "C") -> dict[str, Any]:
    """The same for programs; temperatures in degC, rates in K/h, output in %."""
    return {
        "schema": "soakwitness/condition/1",
        "furnace": condition.furnace,
        "says": condition.says,
        "runs": condition.runs,
        "groups": dict(condition.groups),
        "parts": [{"part": p.part, "says": p.says.text(unit), "measure": p.measure} for p in condition.parts],
        "accuracy": [{"day": a.day, "difference_c": a.difference_c} for a in condition.accuracy],
        "trends": [_trend_json(t) for t in condition.trends],
    }


def _trend_json(trend: Trend) -> dict[str, Any]:
    series = trend.series
    return {
        "figure": series.kind,
        "at_c": float(series.where) if series.where else None,
        "runs_of": series.group,
        "values": series.values,
        "runs": list(series.runs),
        "days": list(series.days),
        "usual": trend.usual,
        "now": trend.now,
        "change": trend.change,
        "moved": trend.moved,
        "since": trend.since,
        "individuals": {"mean": trend.singles.mean, "lower": trend.singles.lower, "upper": trend.singles.upper},
        "ewma": {"values": trend.smoothed.smoothed, "lower": trend.smoothed.lower, "upper": trend.smoothed.upper},
        "cusum": {"high": trend.sums.high, "low": trend.sums.low, "limit": trend.sums.limit},
    }
