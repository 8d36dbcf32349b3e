"""What the maker decided about a run's findings."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.entries import check_run
from soakwitness.analysis.logbook.kept import earlier_verdicts, kept_answer, last_verdict
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says, joined

DECISIONS = ("use as it is", "use with restriction", "repeat the treatment", "scrap", "hold back", "no defect")


@dataclass(frozen=True)
class Disposition:
    """A decision; ``finding`` and ``step`` None: about the whole run."""

    entry: int
    run: str
    finding: str | None
    step: int | None
    decision: str
    why: str
    entered_utc: str
    entered_by: str
    struck_utc: str | None
    struck_by: str | None
    struck_why: str | None


@dataclass(frozen=True)
class Gone:
    """Since when the finding that a decision is about is there no more, and by which rules."""

    since_utc: str
    rules: str


def finding_gone(book: LogBook, disposition: Disposition) -> Gone | None:
    """Since when a decision's finding is gone; None where it is there, or where nobody knows.

    ``book``: the open log book, the run's verdict up to date in it. Returns the first verdict without the finding, of
    those after the last one that had it.
    """
    now = last_verdict(book, disposition.run)
    if disposition.finding is None or now is None or kept_answer(book, disposition.run) is None:
        return None
    first = None
    for kept in (now, *reversed(earlier_verdicts(book, disposition.run))):
        if _has(kept.answer, disposition.finding, disposition.step):
            break
        first = kept
    return None if first is None else Gone(first.made_utc, first.rules)


def _has(answer: Mapping[str, Any], finding: str, step: int | None) -> bool:
    return any(f["code"] == finding and step in (None, f["step"]) for f in answer["findings"])


def add_disposition(
    book: LogBook,
    run: str,
    decision: str,
    *,
    stamp: Stamp,
    finding: str | None = None,
    step: int | None = None,
    why: str = "",
) -> int:
    """Enter what was decided about a run, or about one of its findings.

    Raises LogBookError if the run or the decision is not known.
    """
    if decision not in DECISIONS:
        raise LogBookError(f"{decision!r} is no decision known here. Use one of {', '.join(DECISIONS)}.")
    check_run(book, run)
    with book.writing(stamp):
        return book.insert(
            "dispositions",
            run=run,
            finding=finding,
            step=step,
            decision=decision,
            why=why,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def check_finding(book: LogBook, run: str, finding: str, step: int | None) -> str | None:
    """Check that a run has the finding that a decision is about.

    ``book``: the open log book, the run's verdict kept in it. ``step``: step of the recipe it stands at; any where left
    out. Returns A warning where the run could not be judged, so that nobody knows.

    Raises LogBookError if there is no such finding; it names those that there are.
    """
    from soakwitness.analysis.verification.results.verification import FINDING_CODES

    if finding not in FINDING_CODES:
        raise LogBookError(f"{finding!r} is no finding. Findings are: {', '.join(FINDING_CODES)}.")
    answer = kept_answer(book, run)
    if answer is None:
        return f"{run} is not judged by any recipe yet, so that the finding could not be looked up."
    if _has(answer, finding, step):
        return None
    there = [(f["code"], f["step"]) for f in answer["findings"]]
    named = ", ".join(dict.fromkeys(f"{code} (step {at})" if at else code for code, at in there)) or "none"
    says = f"{run} has no finding {finding!r}{f' at step {step}' if step else ''}. Its findings: {named}."
    whole = "A decision about the whole run needs neither {finding} nor {step}."
    raise LogBookError(joined([says, Says.of(whole, finding=Field("finding"), step=Field("step"))]))


def dispositions_of(book: LogBook, run: str, *, struck: bool = False) -> tuple[Disposition, ...]:
    """Dispositions of a run, oldest first; those struck through only on request."""
    rows = book.rows(
        "SELECT * FROM dispositions WHERE run = ? AND (? OR struck_utc IS NULL) ORDER BY entry", run, struck
    )
    return tuple(_disposition(row) for row in rows)


def _disposition(row: sqlite3.Row) -> Disposition:
    return Disposition(**{name: row[name] for name in Disposition.__dataclass_fields__})
