"""The charge of the next run: new pieces out of what is known already, and which of them go in, where and how."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.book.sent_forms import Filled, Said, of_names, onward, seen_of, send, show, values_of
from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.words.page_words import fields_of, on_page

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook

MOST_PIECES = 24


def routes(desk: Desk, said: Said) -> list[Route]:
    """The two forms, and what they enter."""

    async def shown(request: Request, filled: Filled, form: str, status: int = 200) -> Response:
        try:
            found = await asyncio.to_thread(_context, desk, filled if form == "charge" else Filled())
        except LogBookError as error:  # there is none yet: the first pieces make one
            found = {"picks": {}, "furnaces": (), "furnace": "", "pieces": (), "seen": (), "slots": ()}
            found["trouble"] = on_page(error)
        return show(
            desk,
            request,
            "enter_charge.html",
            form="charge",
            new_called=fields_of("piece"),
            status=status,
            filled=filled if form == "charge" else Filled(),
            new=filled if form == "piece" else Filled(),
            said=said.take(request),
            **found,
        )

    async def form(request: Request) -> Response:
        asked = {name: request.query_params.getlist(name) for name in ("names", "furnace", "empty")}
        return await shown(request, Filled({k: v for k, v in asked.items() if v}), "charge")

    async def charged(request: Request, form: FormData) -> Response:
        values = values_of(form)
        outcome = await send(desk, said, request, "charge", values | {"seen": of_names(values), "run": ["next"]})
        if outcome.done is None:
            return await shown(request, outcome.filled, "charge", 422)
        return onward(said, outcome, request.url.path)

    async def added(request: Request, form: FormData) -> Response:
        values = values_of(form)
        outcome = await send(desk, said, request, "piece", values)
        if outcome.done is None:
            return await shown(request, outcome.filled, "piece", 422)
        return onward(said, outcome, way(request, "enter_charge"))

    return [
        Route("/enter/charge", form, methods=["GET"], name="enter_charge"),
        entry_route("/enter/charge", charged, desk.tokens, name="charge_entered"),
        entry_route("/enter/pieces", added, desk.tokens, name="pieces_entered"),
    ]


def _context(desk: Desk, filled: Filled) -> dict[str, Any]:
    from soakwitness.analysis.logbook.pieces import search
    from soakwitness.analysis.logbook.recent_values import recent_values
    from soakwitness.analysis.logbook.runs import furnaces, list_runs
    from soakwitness.cli.options.entering import names_in_files
    from soakwitness.firmware_bridge.furnace.rack import rack_in
    from soakwitness.firmware_bridge.runfolder.reader import read_header

    with desk.open_book() as book:
        names = tuple(dict.fromkeys((*furnaces(book), *names_in_files(book.folder.parent))))
        pieces = search(book, limit=MOST_PIECES)
        furnace = filled.one("furnace") or (names[0] if names else "")
        newest = list_runs(book, furnace=furnace, newest=1)
        rack = None
        if newest and not newest[0].missing:
            rack = rack_in(read_header(newest[0].folder).furnace_file)
        return {
            "furnaces": names,
            "furnace": furnace,
            "pieces": [(piece, _where(book, piece.id)) for piece in pieces],
            "seen": [seen_of(book, piece.id) for piece in pieces],
            "slots": range(1, rack.slots + 1) if rack is not None else (),
            "picks": {name: recent_values(book, name) for name in ("steel", "thickness_mm", "lot", "fixtures")}
            | {"place": sorted(recent_values(book, "place"), key=_slot)},
        }


def _slot(place: str) -> tuple[bool, int]:
    """Slots by their numbers, then places in words as they were entered lately."""
    return not place.isdecimal(), int(place) if place.isdecimal() else 0


def _where(book: LogBook, piece: str) -> str:
    """Where a piece is charged already, in a few words."""
    from soakwitness.analysis.logbook.charges import runs_of_piece
    from soakwitness.analysis.logbook.runs import runs_listed

    charged = runs_of_piece(book, piece)
    if not charged:
        return "in no run yet"
    last = charged[-1]
    if last.run is None:
        return f"waits for the next run of {last.waits_for}"
    began = ", ".join(shown_time(run.started_utc, run.zone) for run in runs_listed(book, [last.run]))
    return f"was in the run of {began}"
