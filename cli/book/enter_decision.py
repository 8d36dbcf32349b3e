"""What is decided about a run and each of its findings."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.metallurgy.hardening_again import ANNEAL_FIRST
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.book.sent_forms import Filled, Said, onward, seen_of, send, show, values_of
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
    """The findings of a run with a form each, and what they enter."""

    async def shown(request: Request, filled: Filled, status: int = 200) -> Response:
        found = await asyncio.to_thread(_context, desk, request)
        return show(
            desk,
            request,
            "enter_decision.html",
            status=status,
            filled=filled,
            said=said.take(request),
            before_heat=ANNEAL_FIRST,
            **found,
        )

    async def form(request: Request) -> Response:
        return await shown(request, Filled())

    async def decided(request: Request, form: FormData) -> Response:
        values = values_of(form)
        if not any(value.strip() for value in values.get("decide", ())):
            return await shown(request, Filled(values, "Pick what was decided.", "decide"), 422)
        outcome = await send(desk, said, request, "disposition", values | {"run": [request.path_params["run"]]})
        if outcome.done is None:
            return await shown(request, outcome.filled, 422)
        return onward(said, outcome, request.url.path)

    async def strike(request: Request) -> Response:
        return await asking(request, Filled())

    async def asking(request: Request, filled: Filled, status: int = 200) -> Response:
        found = await asyncio.to_thread(_context, desk, request)
        about = {"entry": request.path_params["entry"], "reasons": REASONS}
        return show(
            desk, request, "enter_strike_decision.html", status=status, filled=filled, said=(), **found, **about
        )

    async def struck(request: Request, form: FormData) -> Response:
        about = {"kind": ["disposition"], "entry": [str(request.path_params["entry"])]}
        outcome = await send(desk, said, request, "strike of a run", values_of(form) | about)
        if outcome.done is None:
            return await asking(request, outcome.filled, 422)
        return onward(said, outcome, request.url.path.partition("/strike/")[0])

    path = "/runs/{run}/decide"
    return [
        Route(path, form, methods=["GET"], name="enter_decision"),
        entry_route(path, decided, desk.tokens, name="decided"),
        Route(path + "/strike/{entry:int}", strike, methods=["GET"], name="strike_decision"),
        entry_route(path + "/strike/{entry:int}", struck, desk.tokens, name="decision_struck"),
    ]


def _context(desk: Desk, request: Request) -> dict[str, Any]:
    from soakwitness.analysis.logbook.dispositions import DECISIONS, dispositions_of
    from soakwitness.analysis.logbook.kept import last_verdict
    from soakwitness.analysis.logbook.runs import runs_listed

    with desk.open_book() as book:
        found = runs_listed(book, [request.path_params["run"]])
        if not found:
            raise HTTPException(404, "There is no such run in the log book.")
        entry = found[0]
        kept = last_verdict(book, entry.run)
        stands = dispositions_of(book, entry.run)
        seen = seen_of(book, entry.run)
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
        "says": (answer.get("in_short") or {}).get("says") or "It was not compared with a recipe yet.",
        "decisions": DECISIONS,
        "to_decide": [
            *(ToDecide(code, step, severity, says, of(code, step)) for code, step, severity, says in findings),
            ToDecide("", None, "", "", of("", None)),
        ],
        "seen": seen,
        "blank": Filled(),
    }
