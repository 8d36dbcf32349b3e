"""What was done to pieces without a run, or was left out: cold treatment, a temper in another oven, grinding."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.form_page import FormPage, form_routes
from soakwitness.cli.book.sent_forms import Filled, Said, of_names, seen_of, the_piece

FIRST = ("cold treatment", "temper")  # what an evening asks for most; the others behind them


def routes(desk: Desk, said: Said) -> list[Route]:
    """The form, and what it enters."""
    return form_routes(desk, said, PAGE)


def _asked(request: Request) -> Filled:
    asked = {name: request.query_params.getlist(name) for name in ("kind", "not_done")}
    return Filled(asked | {"names": [request.path_params["piece"]]})


def _context(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
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


PAGE = FormPage(
    path="/pieces/{piece}/treatment",
    name="enter_treatment",
    template="enter_treatment.html",
    form="treatment",
    context=_context,
    about=lambda request, values: {"seen": of_names(values)},
    asked=_asked,
    onward=lambda request: way(request, "enter_piece", piece=request.path_params["piece"]),
)
