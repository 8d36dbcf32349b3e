"""What was marked, and what is expected next, in words."""

from __future__ import annotations

from collections.abc import Iterable

from soakwitness.firmware_bridge.marks.expecting import Expected
from soakwitness.firmware_bridge.runfolder.contents import Event, Mark
from soakwitness.firmware_bridge.runfolder.marks import decode_mark, decode_strike


def mark_words(mark: Mark) -> str:
    """A mark as ``Load of B-041, B-042 (id 3fa2c1)``."""
    return f"{_named(mark)} (id {mark.mark_id})"


def one_of_marks(mark: Mark, among: Iterable[Mark]) -> str:
    """A mark as ``Load of B-041, B-042``; with its id where another one of these that stands reads alike."""
    others = (one for one in among if one.mark_id != mark.mark_id and not one.struck)
    return mark_words(mark) if any(_named(one) == _named(mark) for one in others) else _named(mark)


def _named(mark: Mark) -> str:
    note = f": {mark.note}" if mark.note else ""
    return f"{mark.act.capitalize()}{_of(mark.pieces)}{note}"


def entry_words(detail: str) -> str | None:
    """What an event's detail enters: a mark, or that one was struck out; None where this version cannot read it."""
    event = Event(0.0, "", "mark", detail)
    mark, struck = decode_mark(event), decode_strike(event)
    if struck is not None:
        return f"Mark {struck[0]} struck out: {struck[1]}"
    return None if mark is None else f"{mark_words(mark)}{f', by {mark.by}' if mark.by else ''}"


def expected_words(expected: Expected) -> str:
    """What is expected next, as ``pull of B-042``."""
    return f"{expected.act}{_of(expected.pieces)}"


def _of(pieces: tuple[str, ...]) -> str:
    return f" of {', '.join(pieces)}" if pieces else ""
