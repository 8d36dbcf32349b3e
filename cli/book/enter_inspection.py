"""What was seen of pieces without a tester: warp, cracks, the file, a fracture, a magnet, the inside of the foil."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.form_page import FormPage, form_routes
from soakwitness.cli.book.sent_forms import Filled, Said, of_names, seen_of, the_piece

PLACES = ("edge", "spine", "tip", "heel", "tang")


def routes(desk: Desk, said: Said) -> list[Route]:
    """The form, and what it enters."""
    return form_routes(desk, said, PAGE)


def _context(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
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


PAGE = FormPage(
    path="/pieces/{piece}/inspection",
    name="enter_inspection",
    template="enter_inspection.html",
    form="inspect",
    context=_context,
    about=lambda request, values: {"seen": of_names(values)},
    asked=lambda request: Filled({"names": [request.path_params["piece"]]}),
    onward=lambda request: way(request, "enter_piece", piece=request.path_params["piece"]),
)
