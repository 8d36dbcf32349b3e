"""What is decided about a run and each of its findings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.routing import Route

from soakwitness.analysis.metallurgy.hardening_again import ANNEAL_FIRST
from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.form_page import FormPage, form_routes
from soakwitness.cli.book.run_in_book import to_be_judged, without_verdict
from soakwitness.cli.book.sent_forms import Filled, Said, Values, seen_of
from soakwitness.cli.options.entering import shown_time

REASONS = ("wrong run", "decided too soon", "entered twice")


@dataclass(frozen=True)
class ToDecide:
    """A finding of a run, or the whole run where ``code`` is empty, with what was decided about it."""

    code: str
    step: int | None
    severity: str
    says: str
    decided: tuple[tuple[str, int], ...]


def routes(desk: Desk, said: Said) -> list[Route]:
    """The findings of a run with a form each, and what they enter; a decision to be struck out."""
    return [*form_routes(desk, said, DECIDE), *form_routes(desk, said, STRIKE)]


def _undecided(values: Values) -> Filled | None:
    """A form in which no decision was picked."""
    picked = any(value.strip() for value in values.get("decide", ()))
    return None if picked else Filled(values, "Pick what was decided.", "decide")


def _one_entry(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
    return _context(desk, request, filled) | {"entry": request.path_params["entry"], "reasons": REASONS}


def _context(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
    from soakwitness.analysis.logbook.charges import pieces_in_run
    from soakwitness.analysis.logbook.dispositions import DECISIONS, dispositions_of
    from soakwitness.analysis.logbook.kept import last_verdict
    from soakwitness.analysis.logbook.pieces import find_piece
    from soakwitness.analysis.logbook.runs import runs_listed

    with desk.open_book() as book:
        found = runs_listed(book, [request.path_params["run"]])
        if not found:
            raise HTTPException(404, "There is no such run in the log book.")
        entry = found[0]
        kept = last_verdict(book, entry.run)
        stale = entry.run in to_be_judged(book, found)
        stands = dispositions_of(book, entry.run)
        seen = seen_of(book, entry.run)
        inside = [
            name for name in dict.fromkeys(c.piece for c in pieces_in_run(book, entry.run)) if find_piece(book, name)
        ]
    answer = {} if kept is None else kept.answer

    def of(code: str, step: int | None) -> tuple[tuple[str, int], ...]:
        return tuple(
            (", ".join(part for part in (d.decision, d.why, d.entered_by, shown_time(d.entered_utc)) if part), d.entry)
            for d in stands
            if (d.finding or "", d.step) == (code, step)
        )

    findings = [(f["code"], f["step"], f["severity"], f["says"]) for f in answer.get("findings", ())]
    listed = {(code, step) for code, step, _, _ in findings}
    # decided about what the rules of today do not find any more
    findings += [(d.finding, d.step, "note", "") for d in stands if d.finding and (d.finding, d.step) not in listed]
    return {
        "entry_of_run": entry,
        "began": shown_time(entry.started_utc, entry.zone),
        "verdict": None if kept is None else kept.verdict,
        "says": (answer.get("in_short") or {}).get("says") or without_verdict(entry, stale=stale),
        "decisions": DECISIONS,
        "before_heat": ANNEAL_FIRST,
        "to_decide": [
            *(ToDecide(code, step, severity, says, of(code, step)) for code, step, severity, says in findings),
            ToDecide("", None, "", "", of("", None)),
        ],
        "inside": inside,
        "stale": stale,
        "seen": seen,
        "blank": Filled(),
    }


DECIDE = FormPage(
    path="/runs/{run}/decide",
    name="enter_decision",
    template="enter_decision.html",
    form="disposition",
    context=_context,
    about=lambda request, values: {"run": [request.path_params["run"]]},
    refused=_undecided,
)
STRIKE = FormPage(
    path="/runs/{run}/decide/strike/{entry:int}",
    name="strike_decision",
    template="enter_strike_decision.html",
    form="strike of a run",
    context=_one_entry,
    about=lambda request, values: {"kind": ["disposition"], "entry": [str(request.path_params["entry"])]},
    onward=lambda request: way(request, "enter_decision", run=request.path_params["run"]),
)
