"""A page with one form: shown, entered by its command, and onward; or shown again with what was refused."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.doors import entry_route
from soakwitness.cli.book.sent_forms import Filled, Said, Values, onward, send, show, values_of


def _nothing_filled_in(request: Request) -> Filled:
    return Filled()


def _nothing_refused(values: Values) -> Filled | None:
    return None


def _back_to_the_form(request: Request) -> str | None:
    return request.url.path


@dataclass(frozen=True)
class FormPage:
    """Where the page is, what it shows, which of the forms (``book_work/forms.py``) it enters by, where it leads on.

    ``context`` reads what its template needs, in a thread. ``about`` is what the address tells beside what was filled
    in, and ``asked`` what is filled in already. ``refused`` is what the page itself sees before any command runs.
    ``keep`` names fields that the next form begins with; ``here`` is the page that the navigation marks.
    """

    path: str
    name: str
    template: str
    form: str
    context: Callable[[Desk, Request, Filled], Mapping[str, Any]]
    about: Callable[[Request, Values], Values]
    asked: Callable[[Request], Filled] = _nothing_filled_in
    refused: Callable[[Values], Filled | None] = _nothing_refused
    onward: Callable[[Request], str | None] = _back_to_the_form
    keep: tuple[str, ...] = ()
    here: str = "enter"


def form_routes(desk: Desk, said: Said, page: FormPage) -> list[Route]:
    """The page, and what its form enters."""

    async def shown(request: Request, filled: Filled, status: int = 200) -> Response:
        found = await asyncio.to_thread(page.context, desk, request, filled)
        look: dict[str, Any] = {
            "here": page.here,
            "form": page.form,
            "status": status,
            "filled": filled,
            "said": said.take(request),
        }
        return show(desk, request, page.template, **look, **found)

    async def form(request: Request) -> Response:
        return await shown(request, page.asked(request))

    async def entered(request: Request, sent: FormData) -> Response:
        values = values_of(sent)
        refused = page.refused(values)
        if refused is not None:
            return await shown(request, refused, 422)
        outcome = await send(desk, said, request, page.form, values | page.about(request, values))
        if outcome.done is None:
            return await shown(request, outcome.filled, 422)
        keep = {name: next((value for value in values.get(name, ()) if value.strip()), "") for name in page.keep}
        return onward(said, outcome, page.onward(request), **keep)

    return [
        Route(page.path, form, methods=["GET"], name=page.name),
        entry_route(page.path, entered, desk.tokens, name=f"{page.name}_entered"),
    ]
