"""What was done to pieces without a run, or was left out: cold treatment, a temper in another oven, grinding."""

from __future__ import annotations

import asyncio
from typing import Any

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.book.sent_forms import Filled, Said, of_names, onward, seen_of, send, show, the_piece, values_of

FIRST = ("cold treatment", "temper")  # what an evening asks for most; the others behind them


def routes(desk: Desk, said: Said) -> list[Route]:
    """The form, and what it enters."""

    async def shown(request: Request, filled: Filled, status: int = 200) -> Response:
        found = await asyncio.to_thread(_context, desk, request)
        return show(
            desk,
            request,
            "enter_treatment.html",
            status=status,
            filled=filled,
            said=said.take(request),
            **found,
        )

    async def form(request: Request) -> Response:
        asked = {name: request.query_params.getlist(name) for name in ("kind", "not_done")}
        return await shown(request, Filled(asked | {"names": [request.path_params["piece"]]}))

    async def entered(request: Request, form: FormData) -> Response:
        values = values_of(form)
        outcome = await send(desk, said, request, "treatment", values | {"seen": of_names(values)})
        if outcome.done is None:
            return await shown(request, outcome.filled, 422)
        return onward(said, outcome, way(request, "enter_piece", piece=request.path_params["piece"]))

    path = "/pieces/{piece}/treatment"
    return [
        Route(path, form, methods=["GET"], name="enter_treatment"),
        entry_route(path, entered, desk.tokens, name="treatment_entered"),
    ]


def _context(desk: Desk, request: Request) -> dict[str, Any]:
    from soakwitness.analysis.logbook.recent_values import recent_values, together_with
    from soakwitness.analysis.logbook.treatments import KINDS, treatments_of
    from soakwitness.cli.words.piece_words import treatment_words

    with desk.open_book() as book:
        piece = the_piece(book, request)
        names = together_with(book, piece.id)
        return {
            "piece": piece,
            "names": names,
            "seen": [seen_of(book, name) for name in names],
            "kinds": (*FIRST, *(kind for kind in KINDS if kind not in FIRST)),
            "ovens": recent_values(book, "oven"),
            "stands": [(one.kind, treatment_words(one, "C"), one.entry) for one in treatments_of(book, piece.id)],
        }
