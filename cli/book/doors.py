"""Who may look and who may change something: host names, devices, forms; and the headers of every answer."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
from collections.abc import Awaitable, Callable, Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import FormData, Headers
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from soakwitness.cli.book.devices import THIS_COMPUTER, Device, Devices

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "connect-src 'self'",
        "img-src 'self'",
        "manifest-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    ]
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
COOKIE = "soakwitness"
COOKIE_S = 400 * 86400  # the longest that browsers keep one
MOST_FORM_BYTES = 64_000
FORM_TOKEN = "form_token"


class Doors:
    """Stands before every page: refuses foreign host names and unknown devices, and changes from elsewhere."""

    def __init__(self, app: ASGIApp, *, hosts: Iterable[str], devices: Devices) -> None:
        self._app = app
        self._hosts = frozenset(hosts)
        self._devices = devices

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            return await self._app(scope, receive, send)
        if scope["type"] != "http":
            return await send({"type": "websocket.close", "code": 1008})

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = list(message.get("headers", ()))
                names = {name for name, _ in there}
                there += [header for header in HEADERS if header[0] not in names]
                if b"cache-control" not in names:
                    there.append((b"cache-control", b"no-store"))
                message = {**message, "headers": there}
            await send(message)

        answer = self._refusal(scope)
        return await (answer or self._app)(scope, receive, sent)

    def _refusal(self, scope: Scope) -> Response | None:
        """What is answered in place of the page; None to a request that may pass."""
        headers = Headers(scope=scope)
        if _host_name(headers.get("host", "")) not in self._hosts:
            return _says(403, "This name is not one the book is served under.")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _says(405, "Only looking at pages and sending their forms is answered here.")
        device = self._device(scope, headers)
        if device is None:
            return self._let_in(scope) or _says(403, "The book needs the link that was made for this device.")
        if scope["method"] == "POST" and not _from_here(scope, headers):
            return _says(403, "This was sent from another page than the book's own.")
        scope.setdefault("state", {})["device"] = device
        return None

    def _device(self, scope: Scope, headers: Headers) -> Device | None:
        """Who asks: this computer itself, or a device by its cookie."""
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            cookie = None
        known = None if cookie is None else self._devices.known_by(cookie.value)
        if known is None and is_loopback(scope.get("client")):
            return THIS_COMPUTER
        return known

    def _let_in(self, scope: Scope) -> Response | None:
        """Change the token of a link for a cookie."""
        token = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["path"] != "/" or self._devices.known_by(token) is None:
            return None
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(COOKIE, token, max_age=COOKIE_S, httponly=True, samesite="lax")
        return answer


def is_loopback(client: tuple[str, int] | None) -> bool:
    """Whether a request comes from this computer."""
    try:
        return client is not None and ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        return False


def _host_name(host: str) -> str:
    name = host[: host.find("]") + 1] if host.startswith("[") else host.rsplit(":", 1)[0]
    return name.strip("[]").lower()


def _from_here(scope: Scope, headers: Headers) -> bool:
    """Whether a form was sent from one of the book's own pages."""
    origin = headers.get("origin")
    return origin == f"{scope.get('scheme', 'http')}://{headers.get('host', '')}"


def _says(status: int, words: str) -> Response:
    return PlainTextResponse(words + "\n", status_code=status)


class FormTokens:
    """A token for the forms of each device; it lasts as long as the book's process."""

    def __init__(self) -> None:
        self._secret = secrets.token_bytes(32)

    def of(self, request: Request) -> str:
        """The token that this device's forms carry."""
        device: Device = request.state.device
        return hmac.new(self._secret, f"{device.name}\0{device.token_sha256}".encode(), hashlib.sha256).hexdigest()

    def fits(self, request: Request, token: object) -> bool:
        """Whether a form carries it."""
        return isinstance(token, str) and hmac.compare_digest(token.encode(), self.of(request).encode())


Entering = Callable[[Request, FormData], Awaitable[Response]]


def entry_route(path: str, does: Entering, tokens: FormTokens, *, name: str, most: int = MOST_FORM_BYTES) -> Route:
    """The only way for a page to take a form: POST, with the form's token, of limited size, by who may mark."""

    async def entered(request: Request) -> Response:
        if not request.headers.get("content-length", "").isdigit() or int(request.headers["content-length"]) > most:
            raise HTTPException(413, f"At most {most:,} bytes are taken here.")
        if request.state.device.rights != "mark":
            raise HTTPException(403, "This device may look, and mark nothing.")
        async with request.form() as form:
            if not tokens.fits(request, form.get(FORM_TOKEN)):
                raise HTTPException(403, "This page is of before. Load it anew, then send it again.")
            return await does(request, form)

    return Route(path, entered, methods=["POST"], name=name)
