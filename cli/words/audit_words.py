"""An audit in lines of text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.cli.options.screen import screen_width, table, wrapped
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, duration, rate, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.audit.auditing import Audit
    from soakwitness.analysis.audit.contrasts.differences import DifferenceRow
    from soakwitness.analysis.audit.contrasts.weighing import Opinion

SHOWN = 6


def audit_lines(audit: Audit, unit: Unit, *, every: bool = False) -> list[str]:
    """Lines for the screen: the answer, what now, the next tests, then each cause with what speaks for and against."""
    lines = [*_wrapped(audit.says), *_wrapped(_about(audit))]
    if audit.now:
        lines += ["", "What now", *_now(audit)]
    if audit.next_tests:
        lines += ["", "Next tests, the first first"]
        for number, text in enumerate(audit.next_tests, start=1):
            lines += _wrapped(f"{number}. {text}", "  ", "     ")
    shown = audit.causes if every else audit.causes[:SHOWN]
    lines += ["", "Causes"]
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
            table(
                [("", "this run", "good", "MAD", "spreads apart"), *(_row(row, unit) for row in rows)],
                indent="  ",
                width=screen_width(),
            )
        )
    if audit.notes:
        lines.append("")
    for note in audit.notes:
        lines += _wrapped(f"Note: {note}", "", "      ")
    return lines


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    return wrapped(first + text, screen_width(), indent=rest)


def _now(audit: Audit) -> list[str]:
    """Steps in order; pieces are named where they differ; common practice is marked once where all is."""
    lines: list[str] = []
    groups = list(dict.fromkeys(pieces for pieces, _ in audit.now))
    number = 0
    for pieces in groups:
        if len(groups) > 1:
            lines += _wrapped(f"{', '.join(pieces)}:", "  ", "  ")
        for own, step in audit.now:
            if own == pieces:
                number += 1
                caution = f" {step.caution}" if step.caution else ""
                lines += _wrapped(f"{number}. {step.says}{caution} ({step.basis})", "  ", "     ")
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
    of = f", of {', '.join(opinion.pieces)}" if opinion.pieces else ""
    lines = _wrapped(f"{number}. {opinion.cause}{word}{effect}{of}", "", "   ")
    said = [("for", says.text(unit)) for says in opinion.pro]
    said += [("dose", f"{opinion.explains.says}.")] if opinion.explains is not None else []
    said += [("against", says.text(unit)) for says in opinion.con]
    said += [("missing", says.text(unit)) for says in opinion.missing]
    said += [("next", opinion.next)]
    for label, text in said:
        lines += _wrapped(f"{label}: {text}", "   ", "     ")
    return lines


def _row(row: DifferenceRow, unit: Unit) -> tuple[str, ...]:
    beside = row.beside
    return (
        row.name.text(unit),
        shown(beside.value, row.kind, unit),
        shown(beside.good_median, row.kind, unit),
        shown(beside.good_mad, "difference" if row.kind == "temperature" else row.kind, unit),
        "-" if beside.spreads is None else f"{round(beside.spreads, 1) + 0.0:+.1f}",
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
        return rate(value, unit, in_tens=abs(value) >= 100.0)  # of full power: mains and load move it by more
    if kind == "time":
        return duration(value)
    return f"{value:.0f} %" if kind == "share" else f"{value:g}"
