"""Marks as a log of sentences: what was done with which pieces."""

from __future__ import annotations

from soakwitness.firmware_bridge.common.wording import listed
from soakwitness.firmware_bridge.runfolder.contents import Mark
from soakwitness.firmware_bridge.runfolder.origins import origin_words

_DONE = {
    "load": ("loaded {}", "loaded"),
    "pull": ("{} pulled", "pulled"),
    "plates": ("{} to the plates", "to the plates"),
    "hand-warm": ("{} hand-warm", "hand-warm"),
    "door": ("door, {}", "door opened"),
    "note": ("{}", "a note"),
}


def mark_sentence(mark: Mark) -> str:
    """One mark: ``loaded P-01, P-02``, ``P-01 to the plates``, with its note behind."""
    with_pieces, alone = _DONE[mark.act]
    says = with_pieces.format(listed(mark.pieces)) if mark.pieces else alone
    if mark.note:
        says = mark.note if mark.act == "note" and not mark.pieces else f"{says}: {mark.note}"
    return says


def mark_origin(mark: Mark) -> str:
    """How it came to be there: who made it, how exact its moment is, and whether it was struck out since."""
    parts = [mark.by, origin_words(mark)]
    parts += [f"struck out: {mark.struck_why or 'no reason'}" if mark.struck else None]
    return ", ".join(part for part in parts if part)
