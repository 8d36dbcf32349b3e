"""Runs of which nobody knows whether they were heatings: kept apart until a person settles them.

A person confirms one, strikes it out, or enters pieces that were in it: pieces prove that somebody fired.
"""

from __future__ import annotations

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import joined


def doubtful_runs(book: LogBook) -> dict[str, str]:
    """Why runs are doubtful, by their ids; those confirmed, struck out or with pieces are not."""
    return {row["run"]: row["doubtful"] for row in book.rows("SELECT run, doubtful FROM doubtful_runs ORDER BY run")}


def sealed_and_sure(book: LogBook) -> set[str]:
    """Sealed runs that are not doubtful, those struck out among them."""
    rows = book.rows("SELECT run FROM runs WHERE seal IS NOT NULL AND run NOT IN (SELECT run FROM doubtful_runs)")
    return {row["run"] for row in rows}


def confirm_run(book: LogBook, run: str, *, why: str = "", stamp: Stamp) -> int:
    """Say that a doubtful run was a heating: from now on it counts as any other. Returns the entry's number.

    Raises LogBookError if the run is not doubtful.
    """
    with book.writing(stamp):
        if run not in doubtful_runs(book):
            says = f"{run} is not doubtful. Doubtful runs are listed by:"
            raise LogBookError(joined([says, NextCommand.of("runs", "--doubtful")]))
        return book.insert("run_confirmations", run=run, why=why.strip(), entered_utc=stamp.at_utc, entered_by=stamp.by)
