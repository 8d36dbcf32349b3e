"""Marks of a run that is over: what was not marked while it was done, and wrong ones struck out."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.book.sent_forms import Filled, Said, onward, send, show, values_of
from soakwitness.cli.words.figures import clock
from soakwitness.firmware_bridge.common.wording import moment

REASONS = ("wrong piece", "wrong time", "marked twice")


@dataclass(frozen=True)
class MarkOnRecord:
    """A mark as the page lists it; ``at`` is the time of the run, ``clock`` that of the day."""

    mark_id: str
    at: str
    clock: str
    act: str
    pieces: str
    note: str
    struck: bool
    entered_later: bool


def routes(desk: Desk, said: Said) -> list[Route]:
    """The form with the marks so far, and what it enters; a mark to be struck out."""

    async def shown(request: Request, filled: Filled, status: int = 200) -> Response:
        found = await asyncio.to_thread(_context, desk, request)
        one = next((m for m in found["marks"] if m.mark_id == request.path_params.get("mark")), None)
        if "mark" in request.path_params and one is None:
            raise HTTPException(404, "There is no such mark in this run.")
        template = "enter_marks.html" if one is None else "enter_strike_mark.html"
        return show(desk, request, template, status=status, filled=filled, said=said.take(request), one=one, **found)

    async def form(request: Request) -> Response:
        return await shown(request, Filled())

    async def entered(request: Request, form: FormData) -> Response:
        about = {"run": [request.path_params["run"]]}
        if "mark" in request.path_params:
            about["strike"] = [request.path_params["mark"]]
        outcome = await send(desk, said, request, "mark", values_of(form) | about)
        if outcome.done is None:
            return await shown(request, outcome.filled, 422)
        return onward(said, outcome, way(request, "enter_marks", run=request.path_params["run"]))

    paths = ("/runs/{run}/marks", "/runs/{run}/marks/{mark}/strike")
    return [
        Route(paths[0], form, methods=["GET"], name="enter_marks"),
        entry_route(paths[0], entered, desk.tokens, name="mark_entered"),
        Route(paths[1], form, methods=["GET"], name="strike_mark"),
        entry_route(paths[1], entered, desk.tokens, name="mark_struck"),
    ]


def _context(desk: Desk, request: Request) -> dict[str, Any]:
    from soakwitness.analysis.logbook.charges import pieces_in_run
    from soakwitness.analysis.logbook.runs import runs_listed
    from soakwitness.firmware_bridge.errors import BridgeError
    from soakwitness.firmware_bridge.runfolder.contents import ACTS
    from soakwitness.firmware_bridge.runfolder.reader import read_marks

    with desk.open_book() as book:
        found = runs_listed(book, [request.path_params["run"]])
        if not found or found[0].missing:
            raise HTTPException(404, "There is no such run in the log book.")
        run = found[0]
        pieces = list(dict.fromkeys(one.piece for one in pieces_in_run(book, run.run)))
    try:
        marks = read_marks(run.folder)
    except BridgeError as error:
        raise HTTPException(503, str(error)) from None
    return {
        "run": run,
        "began": clock(run.started_utc, 0.0, run.zone),
        "acts": ACTS,
        "pieces": pieces,
        "reasons": REASONS,
        "marks": [
            MarkOnRecord(
                mark.mark_id,
                moment(mark.t_s) if mark.t_s >= 0 else f"{moment(-mark.t_s)} before",
                clock(run.started_utc, mark.t_s, run.zone),
                mark.act,
                ", ".join(mark.pieces),
                mark.note,
                mark.struck,
                mark.entered_later,
            )
            for mark in marks
        ],
    }
