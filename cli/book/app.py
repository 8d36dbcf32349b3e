"""Puts the book together: pages, static files, the doors before them."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.resources import files
from importlib.resources.abc import Traversable

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.cli.book import (
    certificate_page,
    devices_page,
    enter_pages,
    furnace_page,
    guide_page,
    look_page,
    now_page,
    piece_page,
    pieces_page,
    plan_page,
    run_page,
    runs_page,
    taps,
    waiting_page,
)
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.doors import Doors
from soakwitness.cli.book.refusing import handlers, strangers_page

# each has ``routes(desk)``
PAGES = (
    now_page,
    taps,
    waiting_page,
    plan_page,
    runs_page,
    run_page,
    pieces_page,
    piece_page,
    enter_pages,
    furnace_page,
    look_page,
    guide_page,
    devices_page,
    certificate_page,
)

KINDS = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}


def book_app(desk: Desk, hosts: Iterable[str]) -> Doors:
    """The whole book."""
    routes = [route for page in PAGES for route in page.routes(desk)]
    pages = Starlette(
        routes=[*routes, _static()],
        exception_handlers=handlers(desk),
    )
    return Doors(pages, hosts=hosts, devices=desk.devices, strangers_page=strangers_page)


def _static() -> Route:
    """Files that come with the program, and no others."""
    folder = files("soakwitness.cli.book") / "static"
    known = {
        name: (place.read_bytes(), kind)
        for name, place in [*_files(folder, ""), *_files(folder / "vendor", "vendor/")]
        for ending, kind in KINDS.items()
        if name.endswith(ending)
    }

    async def static(request: Request) -> Response:
        found = known.get(request.path_params["name"])
        if found is None:
            raise HTTPException(404)
        return Response(found[0], media_type=found[1], headers={"cache-control": "no-cache"})

    return Route("/static/{name:path}", static, name="static")


def _files(folder: Traversable, before: str) -> list[tuple[str, Traversable]]:
    return [(before + place.name, place) for place in folder.iterdir() if place.is_file()]
