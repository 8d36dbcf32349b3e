"""What is on record of a piece, thing by thing, as pages list it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.words.piece_words import entry_of, step_words

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.history import Step


@dataclass(frozen=True)
class OnRecord:
    """One thing on record of a piece; ``kind`` and ``entry`` as it is struck, 0 where it is no entry."""

    when: str
    what: str
    says: str
    kind: str
    entry: int
    photo: str | None = None


def on_record(step: Step) -> OnRecord:
    """One thing of a piece's life."""
    from soakwitness.analysis.logbook.photos import Photo

    kind, entry = entry_of(step)
    says, _ = step_words(step, "C")
    photo = step.source.digest if isinstance(step.source, Photo) else None
    return OnRecord(shown_time(step.start_utc), step.kind, says, kind, entry, photo)
