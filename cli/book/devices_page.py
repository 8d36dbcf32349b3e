"""*Devices*: who has a link, a link for one more, and withdrawing; on the computer that serves the book only."""

from __future__ import annotations

import asyncio

import segno
from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.devices import RIGHTS_WORDS, THIS_COMPUTER, DeviceRefused, Rights
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.options.entering import shown_time
from soakwitness.cli.telling.book_file import BOOK_FILE, told_by
from soakwitness.cli.words.device_words import device_link, label_words
from soakwitness.firmware_bridge.runfolder.lock import read_holder


def routes(desk: Desk) -> list[Route]:
    """The list with its form, and what the form and the buttons ask for."""

    async def devices(request: Request) -> Response:
        _only_here(request)
        return await shown(request)

    async def let_in(request: Request, form: FormData) -> Response:
        _only_here(request)
        name, rights = str(form.get("name", "")), form.get("rights")
        may: Rights = "mark" if rights == "mark" else "look"
        try:
            token = await asyncio.to_thread(desk.devices.add, name, may)
        except DeviceRefused as error:
            return await shown(request, trouble=str(error), name=name, status=422)
        links = [device_link(address, token) for address in network(desk)]
        if not links:
            return await shown(request, trouble=NOT_OPEN)
        made = {"name": " ".join(name.split()), "words": label_words(may), "links": links, "code": _code(links[0])}
        return desk.page(request, "device_link.html", here="devices", made=made)

    async def withdraw(request: Request, form: FormData) -> Response:
        _only_here(request)
        try:
            await asyncio.to_thread(desk.devices.withdraw, str(form.get("name", "")))
        except DeviceRefused as error:
            return await shown(request, trouble=str(error), status=422)
        return RedirectResponse(way(request, "devices") or "/", status_code=303)

    async def shown(request: Request, *, trouble: str | None = None, name: str = "", status: int = 200) -> Response:
        listed = [
            (d.name, RIGHTS_WORDS[d.rights], shown_time(d.since_utc), shown_time(d.seen_utc) if d.seen_utc else "never")
            for d in desk.devices.all()
        ]
        more = {"devices": listed, "trouble": trouble, "name": name, "not_open": None if network(desk) else NOT_OPEN}
        return desk.page(request, "devices.html", here="devices", status=status, **more)

    return [
        Route("/devices", devices, name="devices"),
        entry_route("/devices", let_in, desk.tokens, name="let_in"),
        entry_route("/devices/withdraw", withdraw, desk.tokens, name="withdraw"),
    ]


NOT_OPEN = (
    "The book is open to this computer alone, so that no phone reaches it. End it, and begin it anew for the network: "
    "soakwitness book --stop, then soakwitness book --lan"
)


def network(desk: Desk) -> tuple[str, ...]:
    """Where devices in the network find the book, as its file says."""
    book = told_by(read_holder(desk.logbook / BOOK_FILE))
    return book.network if book is not None else ()


def _only_here(request: Request) -> None:
    if request.state.device is not THIS_COMPUTER:
        raise HTTPException(403, "Devices are let in and withdrawn on the computer that serves the book.")


def _code(link: str) -> Markup:
    """A link as a square code."""
    drawn = segno.make_qr(link, error="m").svg_inline(border=4, dark="#000", light="#fff", omitsize=True)
    return Markup(drawn.replace("<svg", '<svg role="img" aria-label="The link as a square code for a camera"', 1))
