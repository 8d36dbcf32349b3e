"""*Pieces*: the blades of the log book, found again by words and filters."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.words.hardness_words import hardness_now
from soakwitness.cli.words.page_words import on_page
from soakwitness.firmware_bridge.common.wording import counted

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.pieces import Piece

ON_A_PAGE = 40
FILTERS = ("words", "steel", "lot", "customer", "batch")


@dataclass(frozen=True)
class ListedPiece:
    """A piece as the page lists it: what it is, and how hard."""

    piece: str
    known: str
    now: str


def routes(desk: Desk) -> list[Route]:
    """The list."""

    async def pieces(request: Request) -> Response:
        asked = {name: request.query_params.get(name, "").strip() for name in FILTERS}
        number = request.query_params.get("page", "1")
        page = min(max(int(number), 1), 10**6) if number.isdecimal() and len(number) < 8 else 1
        try:
            shown = await asyncio.to_thread(pieces_on_page, desk, asked, page)
        except LogBookError as error:
            shown = {"trouble": on_page(error), "pieces": (), "count": 0, "choices": {}, "earlier": None, "later": None}
        return desk.page(request, "pieces.html", here="pieces", asked=asked, page_number=page, **shown)

    return [Route("/pieces", pieces, name="pieces")]


def pieces_on_page(desk: Desk, asked: Mapping[str, str], page: int) -> dict[str, Any]:
    """What the page shows: a page of the pieces that are asked for, and what can be asked for."""
    from soakwitness.analysis.logbook.finding_runs import steels_known
    from soakwitness.analysis.logbook.pieces import count_pieces, search

    exact = {name: value for name, value in asked.items() if value and name != "words"}
    with desk.open_book_in_step() as book:
        count = count_pieces(book, asked["words"], exact=exact)
        found = search(book, asked["words"], exact=exact, limit=ON_A_PAGE, skip=(page - 1) * ON_A_PAGE)
        pieces = [_listed(book, piece) for piece in found]
        choices = {"steel": steels_known(book)}
    whole = {name: value for name, value in asked.items() if value}
    return {
        "trouble": None,
        "pieces": pieces,
        "count": count,
        "counted": counted(count, "piece"),
        "choices": choices,
        "earlier": urlencode({**whole, "page": page + 1}) if count > page * ON_A_PAGE else None,
        "later": urlencode({**whole, "page": page - 1}) if page > 1 else None,
    }


def _listed(book: LogBook, piece: Piece) -> ListedPiece:
    from soakwitness.analysis.logbook.hardness import hardness_of
    from soakwitness.cli.words.piece_words import known_words

    tests = hardness_of(book, piece.id)
    return ListedPiece(piece.id, known_words(piece, ()), hardness_now(tests) if tests else "hardness not on record")
