"""What was seen of pieces without a tester: warp, cracks, the file, a fracture, a magnet, the inside of the foil."""

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

PLACES = ("edge", "spine", "tip", "heel", "tang")


def routes(desk: Desk, said: Said) -> list[Route]:
    """The form, and what it enters."""

    async def shown(request: Request, filled: Filled, status: int = 200) -> Response:
        found = await asyncio.to_thread(_context, desk, request)
        return show(
            desk,
            request,
            "enter_inspection.html",
            status=status,
            filled=filled,
            said=said.take(request),
            **found,
        )

    async def form(request: Request) -> Response:
        return await shown(request, Filled({"names": [request.path_params["piece"]]}))

    async def entered(request: Request, form: FormData) -> Response:
        values = values_of(form)
        outcome = await send(desk, said, request, "inspect", values | {"seen": of_names(values)})
        if outcome.done is None:
            return await shown(request, outcome.filled, 422)
        return onward(said, outcome, way(request, "enter_piece", piece=request.path_params["piece"]))

    path = "/pieces/{piece}/inspection"
    return [
        Route(path, form, methods=["GET"], name="enter_inspection"),
        entry_route(path, entered, desk.tokens, name="inspection_entered"),
    ]


def _context(desk: Desk, request: Request) -> dict[str, Any]:
    from soakwitness.analysis.logbook.hardness import STEPS
    from soakwitness.analysis.logbook.inspections import KINDS, MEASURED, RESULTS
    from soakwitness.analysis.logbook.recent_values import together_with

    with desk.open_book() as book:
        piece = the_piece(book, request)
        names = together_with(book, piece.id)
        seen = [seen_of(book, name) for name in names]
    return {
        "piece": piece,
        "names": names,
        "seen": seen,
        "looks": (*MEASURED, *(kind for kind in KINDS if kind not in MEASURED)),
        "results": [(look, words) for look, words in RESULTS.items()],
        "places": PLACES,
        "steps": STEPS,
    }
