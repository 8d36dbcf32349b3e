"""What a browser is shown in place of a page: in words, with the next step and the way to the other pages."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from http import HTTPStatus
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk, page_text
from soakwitness.cli.words.page_words import on_page

Handler = Callable[[Request, Any], Awaitable[Response]]
OWN_WORDS = {
    404: "There is no such page in the book.",
    405: "This page takes no form.",
    500: "The book could not make this page.",
}
NEXT = {
    403: "Nothing was changed.",
    404: "It may have been struck or spelled otherwise: look for it in the lists.",
    405: "Go back, and load the page anew.",
    413: "Nothing was taken. Go back, and send less: a smaller picture, or shorter words.",
    500: "What is recorded goes on. Load it anew; if it comes again, begin the book anew: soakwitness book --stop",
    503: "What is recorded goes on. Load it anew in a moment.",
}


def handlers(desk: Desk) -> dict[Any, Handler]:
    """How errors of pages are answered: as a page to who asked for one, in plain words to a script."""

    def answer(request: Request, status: int, words: str, headers: Any = None) -> Response:
        if "text/html" not in request.headers.get("accept", "") or not hasattr(request.state, "device"):
            return PlainTextResponse(words + "\n", status_code=status, headers=headers)
        return desk.page(request, "refused.html", here="", status=status, words=words, next=NEXT.get(status))

    async def refused(request: Request, error: HTTPException) -> Response:
        bare = error.detail == HTTPStatus(error.status_code).phrase
        words = OWN_WORDS.get(error.status_code, error.detail) if bare else error.detail
        return answer(request, error.status_code, words, error.headers)

    async def no_book(request: Request, error: LogBookError) -> Response:
        return answer(request, 503, on_page(error))

    async def broken(request: Request, error: Exception) -> Response:
        return answer(request, 500, OWN_WORDS[500])

    return {HTTPException: refused, LogBookError: no_book, 500: broken}


def strangers_page(words: str) -> str:
    """The page for a browser without a link: no way further, as there is none for it."""
    return page_text("stranger.html", words=words)
