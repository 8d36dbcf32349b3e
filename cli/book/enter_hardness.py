"""Hardness of a piece: the place is picked on a map of the blade, readings are put into boxes."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.form_page import FormPage, form_routes
from soakwitness.cli.book.sent_forms import Filled, Said, seen_of, the_piece

BOXES = 5
KEPT = ("after", "scale", "tester", "block")  # from one place to the next


def routes(desk: Desk, said: Said) -> list[Route]:
    """The form, and what it enters."""
    return form_routes(desk, said, PAGE)


def _asked(request: Request) -> Filled:
    return Filled({name: request.query_params.getlist(name) for name in request.query_params if name != "said"})


def _context(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
    from soakwitness.analysis.logbook.hardness import STEPS, hardness_of
    from soakwitness.analysis.logbook.recent_values import recent_values
    from soakwitness.analysis.metallurgy.hardness_readings import SCALES
    from soakwitness.cli.charts.blade_map import blade_svg
    from soakwitness.cli.words.hardness_words import hardness_now, newest, one_test, spread_words

    with desk.open_book() as book:
        piece = the_piece(book, request)
        tests = hardness_of(book, piece.id)
        picks = {name: recent_values(book, name) for name in ("tester", "block")}
        seen = seen_of(book, piece.id)
    after = filled.one("after") or (tests[-1].stage.removeprefix("after ") if tests else "")
    there = [one for one in tests if one.stage == f"after {after}"] or newest(tests)
    keep = {name: filled.one(name) for name in KEPT if filled.one(name)}

    def link(place: Any) -> str:
        where = {"along": f"{place.along_pct:g}", "across": f"{place.across_pct:g}"}
        return f"{way(request, 'enter_hardness', piece=piece.id)}?{urlencode(keep | where)}#readings"

    return {
        "piece": piece,
        "seen": seen,
        "after": after if after in STEPS else "",
        "steps": STEPS,
        "scales": SCALES,
        "boxes": range(BOXES),
        "picks": picks,
        "chosen": _chosen(filled),
        "map": blade_svg(newest(there), link=link, chosen=_chosen(filled)),
        "now": hardness_now(tests) if tests else None,
        "spread": spread_words(there),
        "tests": [(one_test(one), one.entry) for one in reversed(tests)],
    }


def _chosen(filled: Filled) -> Any:
    """The place that was picked, where it is one."""
    from soakwitness.analysis.errors import LogBookError
    from soakwitness.analysis.logbook.places_on_blade import place_on_blade

    try:
        along, across = (float(filled.one(name)) if filled.one(name) else None for name in ("along", "across"))
        return place_on_blade(along, across)
    except (ValueError, LogBookError):
        return None


PAGE = FormPage(
    path="/pieces/{piece}/hardness",
    name="enter_hardness",
    template="enter_hardness.html",
    form="hardness",
    context=_context,
    about=lambda request, values: {"name": [request.path_params["piece"]]},
    asked=_asked,
    keep=KEPT,
)
