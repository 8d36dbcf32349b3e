"""*Guide*: the guide's pages, and words looked for in them."""

from __future__ import annotations

import asyncio

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, way
from soakwitness.cli.book.guide_html import as_html
from soakwitness.cli.guide.pages import ORDER, page_text, page_titles
from soakwitness.cli.guide.searching import find_in_guide

LONGEST = 200  # of what is looked for


def routes(desk: Desk) -> list[Route]:
    """The list of pages, and each of them."""

    async def guide(request: Request) -> Response:
        words = request.query_params.get("words", "").strip()[:LONGEST]
        found = await asyncio.to_thread(find_in_guide, words)
        titles = page_titles()
        return desk.page(
            request, "guide.html", here="guide", titles=titles, text=None, title="Guide", words=words, found=found
        )

    async def page(request: Request) -> Response:
        name = request.path_params["page"]
        if name not in ORDER:
            raise HTTPException(404)
        text = as_html(page_text(name), link=lambda other: way(request, "guide_page", page=other))
        title = dict(page_titles())[name]
        return desk.page(request, "guide.html", here="guide", titles=page_titles(), text=text, title=title)

    return [Route("/guide", guide, name="guide"), Route("/guide/{page}", page, name="guide_page")]
