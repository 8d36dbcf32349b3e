"""Marks of a run that is over: what was not marked while it was done, and wrong ones struck out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.form_page import FormPage, form_routes
from soakwitness.cli.book.sent_forms import Filled, Said
from soakwitness.cli.words.figures import clock
from soakwitness.cli.words.page_words import on_page
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
    return [*form_routes(desk, said, ENTER), *form_routes(desk, said, STRIKE)]


def _one_mark(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
    found = _context(desk, request, filled)
    one = next((m for m in found["marks"] if m.mark_id == request.path_params["mark"]), None)
    if one is None:
        raise HTTPException(404, "There is no such mark in this run.")
    return found | {"one": one}


def _context(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
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
        raise HTTPException(503, on_page(error)) from None
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


ENTER = FormPage(
    path="/runs/{run}/marks",
    name="enter_marks",
    template="enter_marks.html",
    form="mark",
    context=_context,
    about=lambda request, values: {"run": [request.path_params["run"]]},
)
STRIKE = FormPage(
    path="/runs/{run}/marks/{mark}/strike",
    name="strike_mark",
    template="enter_strike_mark.html",
    form="mark",
    context=_one_mark,
    about=lambda request, values: {"run": [request.path_params["run"]], "strike": [request.path_params["mark"]]},
    onward=lambda request: way(request, "enter_marks", run=request.path_params["run"]),
)
