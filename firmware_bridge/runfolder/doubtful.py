"""Runs of which nobody knows yet whether they are heatings: why stands in the run's events, and what settled it.

Bricks behind a door can hold a chamber as level as a low temper does. Such a stretch is recorded, lest a heating is
lost, and is doubtful until something shows heat, a mark says that a person worked with it, or a person settles it in
the log book.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from soakwitness.firmware_bridge.runfolder.contents import Event, Mark
from soakwitness.firmware_bridge.runfolder.marks import marks_of
from soakwitness.firmware_bridge.runfolder.reader import read_events

DOUBTFUL = "doubtful"  # its detail is why
SETTLED = "not doubtful"  # its detail is what showed the heat


def doubt_left(events: Iterable[Event], marks: Iterable[Mark]) -> str | None:
    """Why a run may be no heating; None where nobody doubted it, or heat or a mark has shown it since.

    A note may say anything, so it settles nothing.
    """
    if any(mark.act != "note" and not mark.struck for mark in marks):
        return None
    doubt = None
    for event in events:
        if event.event == DOUBTFUL:
            doubt = event.detail
        elif event.event == SETTLED:
            doubt = None
    return doubt


def doubt_of(events: Iterable[Event]) -> str | None:
    """The same of all events of a run, its marks among them."""
    known = tuple(events)
    return doubt_left(known, marks_of(known))


def doubt_in(run: Path) -> str | None:
    """The same of a run folder. Raises RunFolderError where its events cannot be read."""
    return doubt_of(read_events(run))
