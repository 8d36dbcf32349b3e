"""Kept verdicts and decisions in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.cli.options.entering import shown_time

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.dispositions import Disposition, Gone
    from soakwitness.analysis.logbook.kept import KeptVerdict


def verdict_line(kept: KeptVerdict, zone: str | None) -> str:
    """One verdict: what it was, by which rules, when it was made; of an earlier one when and why it gave way."""
    made = f"{kept.verdict}, by rules {kept.rules}, {shown_time(kept.made_utc, zone)}"
    if kept.replaced_utc is None:
        return f"  now: {made}"
    return f"  until {shown_time(kept.replaced_utc, zone)}: {made}. Then other: {kept.why}."


def decision_words(decided: Disposition) -> str:
    """What was decided, with the reason."""
    return f"{decided.decision}: {decided.why}" if decided.why else decided.decision


def decided_words(decided: Disposition, zone: str | None = None) -> str:
    """A decision as a sentence: about what, what, why, by whom and when."""
    about = f"{decided.finding}{f', step {decided.step}' if decided.step else ''}" if decided.finding else "the run"
    by = f"{decided.entered_by}, {shown_time(decided.entered_utc, zone)}"
    return f"Decided about {about}: {decision_words(decided)} ({by})."


def gone_words(gone: Gone, zone: str | None) -> str:
    """That the finding a decision is about is there no more."""
    return f"its finding is gone since {shown_time(gone.since_utc, zone)[:10]}, by rules {gone.rules}"
