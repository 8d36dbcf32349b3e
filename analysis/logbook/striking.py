"""Whole runs struck out: test runs, wrong imports. They are kept, and counted nowhere."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.entries import check_run, strike
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field
from soakwitness.firmware_bridge.common.wording import Says


@dataclass(frozen=True)
class StruckRun:
    """A run that was struck out: by whom, when and why. ``entry`` numbers the striking."""

    run: str
    entry: int
    why: str
    struck_utc: str
    struck_by: str


def struck_runs(book: LogBook) -> dict[str, StruckRun]:
    """Runs that are struck out, by their ids."""
    rows = book.rows("SELECT * FROM run_strikes WHERE struck_utc IS NULL ORDER BY entry")
    return {
        row["run"]: StruckRun(row["run"], row["entry"], row["why"], row["entered_utc"], row["entered_by"])
        for row in rows
    }


def strike_run(book: LogBook, run: str, *, why: str, stamp: Stamp) -> int:
    """Strike a run out: it is kept, and left out of lists, trends and checks.

    Raises LogBookError if no reason is given, the run is not known, or is struck out already.
    """
    if not why.strip():
        raise LogBookError(Says.of("Say why the run is struck out{why}.", why=Field("why", around=ASIDE)))
    with book.writing(stamp):
        check_run(book, run)
        old = struck_runs(book).get(run)
        if old is not None:
            raise LogBookError(f"{run} was struck out by {old.struck_by} at {old.struck_utc} already: {old.why}.")
        return book.insert("run_strikes", run=run, why=why.strip(), entered_utc=stamp.at_utc, entered_by=stamp.by)


def restore_run(book: LogBook, run: str, *, why: str, stamp: Stamp) -> None:
    """Have a run stand again that was struck out; the striking stays readable.

    Raises LogBookError if the run is not struck out, or no reason is given.
    """
    with book.writing(stamp):
        old = struck_runs(book).get(run)
        if old is None:
            raise LogBookError(f"{run} is not struck out.")
        strike(book, "run_strikes", [old.entry], why=why, stamp=stamp)
