"""What is entered about a furnace itself: a test of its cut-out, what was renewed or done to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.form_page import FormPage, form_routes
from soakwitness.cli.book.sent_forms import Filled, Said, Values
from soakwitness.firmware_bridge.common.units import Unit


def routes(desk: Desk, said: Said) -> list[Route]:
    """The two forms, and what they enter."""
    return [*form_routes(desk, said, CUTOUT), *form_routes(desk, said, UPKEEP)]


def _furnace(request: Request) -> str:
    return request.query_params.get("furnace", "").strip()


def _context(desk: Desk, request: Request, filled: Filled) -> dict[str, Any]:
    from soakwitness.analysis.evidence.upkeep import PARTS
    from soakwitness.analysis.logbook.runs import furnaces, list_runs
    from soakwitness.cli.book.run_in_book import unit_of

    asked = _furnace(request)
    with desk.open_book_in_step() as book:
        name = {one.casefold(): one for one in furnaces(book)}.get(asked.casefold())
        if name is None:
            raise HTTPException(404, f"{asked or 'No furnace is named'}: the log book has no run of this furnace.")
        newest = list_runs(book, furnace=name, newest=1)
        unit: Unit = unit_of(book, newest[-1]) if newest else "C"
    return {"furnace": name, "asks": urlencode({"furnace": name}), "parts": PARTS, "unit": unit}


def _asked(request: Request) -> Filled:
    return Filled({"furnace": [_furnace(request)]})


def _needs(field: str, says: str) -> Callable[[Values], Filled | None]:
    """Refuse the form without a field that the command can do without: it would show what stands."""

    def refused(values: Values) -> Filled | None:
        told = any(text.strip() for text in values.get(field, ()))
        return None if told else Filled(values, says, field)

    return refused


def _back(request: Request) -> str | None:
    return way(request, "furnace")


CUTOUT = FormPage(
    path="/furnace/cut-out",
    name="enter_cutout",
    template="enter_cutout.html",
    form="cutout",
    context=_context,
    about=lambda request, values: {},
    asked=_asked,
    refused=_needs("set_", "Say what the cut-out is set to."),
    onward=_back,
    keep=("furnace",),
    here="furnace",
)
UPKEEP = replace(
    CUTOUT,
    path="/furnace/upkeep",
    name="enter_upkeep",
    template="enter_upkeep.html",
    form="upkeep",
    refused=_needs("part", "Pick what it was done to."),
)
