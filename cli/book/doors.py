"""Who may look and who may change something: host names, devices, forms; and the headers of every answer."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import ipaddress
import secrets
import time
from collections import Counter
from collections.abc import Awaitable, Callable, Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import FormData, Headers
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
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
    (b"referrer-policy", b"same-origin"),  # with none at all a browser sends a form without saying where it is from
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
COOKIE = "soakwitness"
OPEN_PATHS = ("/static/", "/certificate")
NO_LINK = (
    "The book needs the link that was made for this device. On the computer that serves it: "
    'soakwitness book --device "NAME OF THE DEVICE"'
)
MOST_GUESSES = 30
MOST_ADDRESSES = 1000
MOST_AT_ONCE = 30  # of one device: no browser opens so many, and streams are limited for all of them together
COOKIE_S = 400 * 86400  # the longest that browsers keep one
MOST_FORM_BYTES = 64_000
FORM_TOKEN = "form_token"


class Doors:
    """Stands before every page: refuses foreign host names and unknown devices, and changes from elsewhere.

    ``strangers_page`` makes the page that a browser without a link is shown, from the words of the refusal.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        hosts: Iterable[str],
        devices: Devices,
        strangers_page: Callable[[str], str] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._app = app
        self._hosts = frozenset(hosts)
        self._devices = devices
        self._strangers_page = strangers_page
        self._guesses = Guesses(clock)
        self._within: set[tuple[Device, asyncio.Event]] = set()

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
        if answer is not None:
            return await answer(scope, receive, sent)
        await self._while_let_in(scope, receive, sent)

    def look(self) -> None:
        """End what is still being sent to devices that have been withdrawn meanwhile."""
        for device, gone in self._within:
            if not self._devices.still(device):
                gone.set()

    async def _while_let_in(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Give the page; to a device that is withdrawn meanwhile it is as if it had hung up."""
        device: Device = scope["state"].get("device", THIS_COMPUTER)
        if device is THIS_COMPUTER:
            return await self._app(scope, receive, send)
        self._devices.noticed(device)
        gone = asyncio.Event()

        async def received() -> Message:
            asked = asyncio.ensure_future(receive())
            shut = asyncio.ensure_future(gone.wait())
            try:
                await asyncio.wait((asked, shut), return_when=asyncio.FIRST_COMPLETED)
                return {"type": "http.disconnect"} if shut.done() else asked.result()
            finally:
                asked.cancel()
                shut.cancel()

        async def sent(message: Message) -> None:
            if gone.is_set():
                raise OSError("the device was withdrawn")
            await send(message)

        self._within.add(entry := (device, gone))
        try:
            await self._app(scope, received, sent)
        except OSError:
            if not gone.is_set():
                raise
        finally:
            self._within.discard(entry)

    def _refusal(self, scope: Scope) -> Response | None:
        """What is answered in place of the page; None to a request that may pass."""
        headers = Headers(scope=scope)
        if not self._is_ours(headers.get("host", ""), scope):
            return _says(403, "This name is not one the book is served under. Open an address that it printed.")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _says(405, "Only looking at pages and sending their forms is answered here.")
        if "websocket" in headers.get("upgrade", "").lower() or (
            "transfer-encoding" in headers and "content-length" in headers
        ):
            return _says(400, "A browser asks this in another way.")
        device = self._device(scope, headers)
        if (answer := self._by_link(scope, device)) is not None:
            return answer
        state = scope.setdefault("state", {})
        if device is None:
            return None if _is_open(scope) else self._to_stranger(scope, headers)
        if scope["method"] == "POST" and not _from_here(scope, headers):
            return _says(403, "This was sent from another page than the book's own. Load the page anew.")
        if sum(1 for one, _ in self._within if one.token_sha256 == device.token_sha256) >= MOST_AT_ONCE:
            return _says(429, "This device asks for too much at once. Close pages of the book that are open on it.")
        state["device"] = device
        return None

    def _is_ours(self, host: str, scope: Scope) -> bool:
        """Whether the book is asked for by a name of its own, or by the very address that was connected to."""
        name, here = _host_name(host), scope.get("server")
        return bool(name) and (name in self._hosts or (here is not None and name == str(here[0]).lower()))

    def _device(self, scope: Scope, headers: Headers) -> Device | None:
        """Who asks: this computer itself, or a device by its cookie."""
        try:
            cookies = SimpleCookie(headers.get("cookie", ""))
        except CookieError:
            cookies = SimpleCookie()
        given = [morsel.value for name, morsel in cookies.items() if name.startswith(COOKIE)]
        known = next((d for d in map(self._devices.known_by, given) if d is not None), None)
        return THIS_COMPUTER if known is None and is_loopback(scope.get("client")) else known

    def _by_link(self, scope: Scope, device: Device | None) -> Response | None:
        """Change the token of a link for a cookie: it stays neither in the history nor in what is asked next."""
        token = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["path"] != "/" or scope["method"] == "POST" or not token:
            return None
        known = self._devices.known_by(token)
        if known is None and device is None:
            return None
        answer = RedirectResponse("/", status_code=303, headers={"referrer-policy": "no-referrer"})
        if known is not None and device is not THIS_COMPUTER:
            port = (scope.get("server") or ("", ""))[1]  # cookies know no port: each book of this computer has its own
            secure = scope.get("scheme") == "https"
            answer.set_cookie(f"{COOKIE}-{port}", token, max_age=COOKIE_S, httponly=True, samesite="lax", secure=secure)
        return answer

    def _to_stranger(self, scope: Scope, headers: Headers) -> Response:
        """Whoever guesses is answered at no cost; the right token was looked at before and is never locked out."""
        if (b"token=" in scope["query_string"] or COOKIE in headers.get("cookie", "")) and self._guesses.too_many(
            str((scope.get("client") or ("",))[0])
        ):
            return _says(429, "Too many links that let nobody in.")
        if self._strangers_page is not None and "text/html" in headers.get("accept", ""):
            return HTMLResponse(self._strangers_page(NO_LINK), status_code=403)
        return _says(403, NO_LINK)


class Guesses:
    """Counts what lets nobody in, for each address within a minute."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._minute = -1
        self._counted: Counter[str] = Counter()

    def too_many(self, address: str) -> bool:
        """Count one more; whether that is too many."""
        if (minute := int(self._clock() // 60)) != self._minute or len(self._counted) > MOST_ADDRESSES:
            self._counted.clear()
            self._minute = minute
        self._counted[address] += 1
        return self._counted[address] > MOST_GUESSES


def is_loopback(client: tuple[str, int] | None) -> bool:
    """Whether a request comes from this computer."""
    try:
        return client is not None and ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        return False


def _is_open(scope: Scope) -> bool:
    """Whether something is shown to everyone: what comes with the program, and the way to trust the book."""
    return scope["method"] != "POST" and str(scope["path"]).startswith(OPEN_PATHS)


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
    """A token for the forms of each device; it lasts as long as the secret it is made of."""

    def __init__(self, secret: bytes | None = None) -> None:
        self._secret = secret or secrets.token_bytes(32)

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
            raise HTTPException(403, "This device may look, and mark nothing. Ask for a link that marks, too.")
        async with request.form() as form:
            if not tokens.fits(request, form.get(FORM_TOKEN)):
                raise HTTPException(403, "This page is of before. Load it anew, then send it again.")
            return await does(request, form)

    return Route(path, entered, methods=["POST"], name=name)
