"""All that waits for a person, from one look at the log book; nothing is written, no clock is read, no numpy loaded."""

from __future__ import annotations

from collections.abc import Mapping

from soakwitness.analysis.logbook.history import Recipes
from soakwitness.analysis.logbook.lately import furnaces_in_use, read_lately
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.set_aside import set_aside_entries
from soakwitness.analysis.record.moments import later
from soakwitness.analysis.waiting.waiting_acts import KINDS, AskedAbout, Waiting, WaitingAct
from soakwitness.analysis.waiting.waiting_blades import blades, missing_hardness, waiting_blades
from soakwitness.analysis.waiting.waiting_recordings import (
    RecorderTold,
    being_recorded,
    open_runs,
    waiting_recordings,
)
from soakwitness.analysis.waiting.waiting_runs import doubted, undecided, unlooked
from soakwitness.analysis.waiting.waiting_upkeep import waiting_book, waiting_furnaces

LOOK_BACK_DAYS = 30  # what was left open for longer is not asked for: it is in each piece's history
IN_USE_DAYS = 90  # a furnace without a run for so long is asked for nothing
LONGEST_RUN_S = 7 * 86400.0  # a run that ends inside the days looked at may have begun so much earlier
AHEAD_S = 86400.0  # of this computer's clock, that of another one which recorded
_URGENCIES = ("at once", "today", "soon", "when it suits")


def what_waits(
    book: LogBook,
    *,
    now_utc: str,
    zone: str | None = None,
    days: int = LOOK_BACK_DAYS,
    free_bytes: int | None = None,
    recorders: Mapping[str, RecorderTold] | None = None,
) -> Waiting:
    """What waits for a person at a moment, in the order in which it is told.

    The log book's list of runs is taken as it is: who wants the newest run folders in it calls ``take_in`` before.
    ``zone``: of days and of times of the day; UTC where it is left out. ``days``: how far back blades and runs are
    looked at. ``free_bytes``: room on the log book's disk. ``recorders``: what recorders tell live, by their runs.
    """
    aside = set_aside_entries(book)
    asking = AskedAbout(now_utc, zone, aside)
    since_utc = later(now_utc, -days * 86400.0)
    lately = read_lately(book, since_utc=later(since_utc, -LONGEST_RUN_S), until_utc=later(now_utc, AHEAD_S))
    runs = open_runs(book)
    recording = frozenset(run.header.run for run in runs if run.held)
    found = blades(lately, Recipes(book), recording)
    in_use = furnaces_in_use(book, since_utc=later(now_utc, -IN_USE_DAYS * 86400.0))
    acts = [
        *waiting_recordings(runs, asking, recorders or {}, asked_since_utc=since_utc),
        *waiting_blades(found, lately, asking, asked_since_utc=since_utc),
        *undecided(book, lately, asking, asked_since_utc=since_utc),
        *missing_hardness(found, lately, asking, asked_since_utc=since_utc),
        *doubted(book, asking, asked_since_utc=since_utc),
        *unlooked(lately, asking, recording, asked_since_utc=since_utc),
        *waiting_furnaces(book, in_use, asking),
        *waiting_book(book, asking, free_bytes=free_bytes),
    ]
    acts.sort(key=_place)
    return Waiting(now_utc, tuple(acts), being_recorded(runs), days, len(aside))


def _place(act: WaitingAct) -> tuple[int, int, str]:
    """Kinds in their order; of one kind the more urgent first, then what waits longest."""
    return KINDS.index(act.kind), _URGENCIES.index(act.urgency), act.since_utc or act.due_on or "9"
