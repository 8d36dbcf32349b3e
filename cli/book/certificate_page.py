"""*Certificate*: how a phone comes to trust the book, where it encrypts by its own authority; open to everyone."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from soakwitness.cli.book.desk import Desk, page_text


def routes(desk: Desk) -> list[Route]:
    """The steps, and the authority's certificate, which is no secret."""
    encryption = desk.encryption
    if encryption is None or encryption.authority is None:
        return []
    authority = encryption.authority

    async def certificate(request: Request) -> Response:
        return HTMLResponse(page_text("certificate.html", fingerprint=encryption.fingerprint))

    async def download(request: Request) -> Response:
        return Response(authority.read_bytes(), media_type="application/x-x509-ca-cert")

    return [
        Route("/certificate", certificate, name="certificate"),
        Route("/certificate/furnace-log-book.crt", download, name="authority"),
    ]
