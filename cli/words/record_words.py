"""How far a record can be trusted, in words that claim no more than a seal shows."""

from __future__ import annotations

from soakwitness.analysis.verification.results.verification import RecordState


def seal_words(record: RecordState) -> str:
    """What the seal of a record shows: accidents and careless edits, and to a log book that saw it, another seal."""
    if record.changed:
        return "CHANGED by another program while it was being recorded"
    if not record.intact and record.sealed:
        return "CHANGED since it was sealed"
    if not record.sealed:
        return "not sealed"
    knows = "this log book knows" if record.seen else "its own seal shows, which no log book has seen"
    return f"unchanged since it was sealed, as far as {knows}"
