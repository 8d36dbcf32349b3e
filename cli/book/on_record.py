"""What is on record of a piece, thing by thing, as pages list it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class OnRecord:
    """One thing on record of a piece; ``kind`` and ``entry`` as it is struck, 0 where it is no entry."""

    when: str
    what: str
    says: str
    kind: str
    entry: int
    photo: str | None = None


def on_record(step: Any) -> OnRecord:
    """One thing of a piece's life."""
    from soakwitness.analysis.logbook.photos import Photo
    from soakwitness.cli.words.piece_words import entry_of, step_row

    when, what, says, _ = step_row(step, "C")
    kind, entry = entry_of(step)
    return OnRecord(when, what, says, kind, entry, step.source.digest if isinstance(step.source, Photo) else None)
