"""An audit in lines of text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.cli.options.entering import table
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, duration, rate, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.audit.auditing import Audit
    from soakwitness.analysis.audit.contrasts.differences import DifferenceRow
    from soakwitness.analysis.audit.contrasts.weighing import Opinion

SHOWN = 6


def audit_lines(audit: Audit, unit: Unit, *, every: bool = False) -> list[str]:
    """Lines for the screen: the answer first, then each cause with what speaks for and against it, then the table."""
    lines = [audit.says, _about(audit)]
    shown = audit.causes if every else audit.causes[:SHOWN]
    for number, opinion in enumerate(shown, start=1):
        lines += ["", *_cause(number, opinion, unit)]
    left = len(audit.causes) - len(shown)
    if left > 0:
        lines += ["", f"{left} less likely ones are left out (--all shows them)."]
    rows = [row for row in audit.differences if every or row.stands_out]
    if rows:
        lines += [
            "",
            "Figures that stand out beside the good runs':" if not every else "Figures beside the good runs':",
        ]
        lines.append(
            table([("", "this run", "good", "MAD", "spreads apart"), *(_row(row, unit) for row in rows)], indent="  ")
        )
    if audit.notes:
        lines.append("")
    lines += [f"Note: {note}" for note in audit.notes]
    return lines


def _about(audit: Audit) -> str:
    parts = [f"run {audit.run}" if audit.run else "no run on record"]
    parts.append(f"{len(audit.suspects)} suspect" if audit.suspects else "no piece named")
    if audit.siblings:
        parts.append(f"{len(audit.siblings)} good in the same run")
    parts.append(
        f"{counted(len(audit.good_runs), 'good run')} to compare" if audit.good_runs else "no good run to compare"
    )
    return f"({'; '.join(parts)})"


def _cause(number: int, opinion: Opinion, unit: Unit) -> list[str]:
    word = "" if opinion.claimed or number == 1 else " (not claimed)"
    effect = f", as the effect of: {opinion.explained_by}" if opinion.explained_by else ""
    lines = [f"{number}. {opinion.cause}{word}{effect}"]
    lines += [f"   for: {says.text(unit)}" for says in opinion.pro]
    lines += [f"   against: {says.text(unit)}" for says in opinion.con]
    lines += [f"   missing: {says.text(unit)}" for says in opinion.missing]
    return [*lines, f"   next: {opinion.next}"]


def _row(row: DifferenceRow, unit: Unit) -> tuple[str, ...]:
    beside = row.beside
    return (
        row.name.text(unit),
        shown(beside.value, row.kind, unit),
        shown(beside.good_median, row.kind, unit),
        shown(beside.good_mad, "difference" if row.kind == "temperature" else row.kind, unit),
        "-" if beside.spreads is None else f"{beside.spreads:+.1f}",
    )


def shown(value: float | None, kind: str, unit: Unit) -> str:
    """One figure with its unit."""
    if value is None:
        return "-"
    if kind == "temperature":
        return temperature(value, unit)
    if kind == "difference":
        return difference(value, unit)
    if kind == "rate":
        return rate(value, unit)
    if kind == "time":
        return duration(value)
    return f"{value:.0f} %" if kind == "share" else f"{value:g}"
