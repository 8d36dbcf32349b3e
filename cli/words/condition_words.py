"""How a furnace is doing, in lines of text and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from soakwitness.cli.options.screen import screen_width, table, wrapped
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, percent, rate

if TYPE_CHECKING:
    from soakwitness.analysis.condition.judging import Condition
    from soakwitness.analysis.condition.trends import Trend

MAIN = ("climb", "output", "cooling", "overshoot", "difference")


def condition_lines(condition: Condition, unit: Unit, *, every: bool = False) -> list[str]:
    """Lines for the screen: the answer, each part with the measurement that would settle it, then the table."""
    lines = _wrapped(condition.says.text(unit))
    if condition.first_day:
        groups = ", ".join(f"{count} {group}" for group, count in condition.groups)
        lines += _wrapped(
            f"({counted(condition.runs, 'run')}, {condition.first_day} to {condition.last_day}: {groups})"
        )
    for part in condition.parts:
        lines += ["", part.part, *_wrapped(part.says.text(unit), 3), *_wrapped(f"measure: {part.measure}", 3)]
    shown = [t for t in condition.trends if every or t.moved or t.kind in MAIN]
    if shown:
        first = "as new" if all(t.begun_by for t in shown) else "at first"
        lines += [
            "",
            table(
                [("", first, "now", "change", "since"), *(_row(t, unit) for t in shown)],
                indent="  ",
                width=screen_width(),
            ),
        ]
    for work in condition.upkeep[-3:]:
        lines += _wrapped(f"{work.done_utc[:10]}: {work.part}{f' ({work.note})' if work.note else ''}", 2)
    for test in condition.accuracy[-3:]:
        lines.append(f"  accuracy test {test.day}: {difference(test.difference_c, unit, signed=True)}")
    return lines


def _wrapped(text: str, indent: int = 0) -> list[str]:
    blank = " " * indent
    return wrapped(blank + text, screen_width(), indent=blank)


def _row(trend: Trend, unit: Unit) -> tuple[str, ...]:
    return (
        trend.figure.name.text(unit),
        figure_words(trend.usual, trend.kind, unit),
        figure_words(trend.now, trend.kind, unit),
        change_words(trend, unit) if trend.moved else "-",
        trend.since or "-",
    )


def figure_words(value: float, kind: str, unit: Unit) -> str:
    """A value of a figure with its unit."""
    if kind in ("climb", "cooling"):
        return rate(value, unit, in_tens=kind == "climb")
    if kind in ("output", "top"):
        return f"{value:.0f} %"
    if kind == "missed":
        return f"{100.0 * value:.1f} %"
    return difference(value, unit)


def change_words(trend: Trend, unit: Unit) -> str:
    """How much a figure changed."""
    if trend.kind in ("climb", "cooling", "output", "top"):
        return percent(trend.change, signed=True)
    return f"{100.0 * trend.change:+.1f} %" if trend.kind == "missed" else difference(trend.change, unit, signed=True)


def condition_json(condition: Condition, unit: Unit = "C") -> dict[str, Any]:
    """The same for programs; temperatures in degC, rates in K/h, output in %."""
    return {
        "schema": "soakwitness/condition/2",
        "furnace": condition.furnace,
        "says": condition.says.text(unit),
        "runs": condition.runs,
        "groups": dict(condition.groups),
        "parts": [
            {"part": p.part, "gist": p.gist.text(unit), "says": p.says.text(unit), "measure": p.measure}
            for p in condition.parts
        ],
        "upkeep": [{"day": u.done_utc[:10], "part": u.part, "note": u.note} for u in condition.upkeep],
        "accuracy": [{"day": a.day, "difference_c": a.difference_c} for a in condition.accuracy],
        "trends": [_trend_json(t) for t in condition.trends],
    }


def _trend_json(trend: Trend) -> dict[str, Any]:
    shown = trend.figure.shown
    return {
        "figure": trend.kind,
        "at_c": trend.figure.at_c,
        "values": [shown(float(v)) for v in trend.figure.values],
        "values_in_usual_conditions": [shown(float(v)) for v in trend.shift.cleaned],
        "level": [shown(float(v)) for v in trend.level],
        "runs": list(trend.runs),
        "days": list(trend.days),
        "baseline_from": trend.days[trend.fresh],
        "usual": trend.usual,
        "now": trend.now,
        "change": trend.change,
        "moved": trend.moved,
        "since": trend.since,
        "way": trend.way,
        "restless_since": trend.restless_since,
    }
