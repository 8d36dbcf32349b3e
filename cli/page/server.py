"""The serving process of the live page: read only, standard library only, fed with JSON lines on its standard input.

Loopback by default. With ``--lan`` it listens on the network and wants a key: a link carries the key once, the
browser that opens it gets a cookie, and the next link is printed. Nothing but GET is answered; the page loads
nothing from anywhere else and may not (content security policy).
"""

from __future__ import annotations

import argparse
import hmac
import json
import secrets
import signal
import socket
import sys
import threading
import time
from http import HTTPStatus
from http.cookies import SimpleCookie
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qs, urlsplit

from soakwitness.cli.page.state import PageState

FILES = {
    "/": ("page.html", "text/html; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
    "/mark.svg": ("mark.svg", "image/svg+xml"),
}
POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "connect-src 'self'",
        "img-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    ]
)
COOKIE = "soakwitness"
KEEP_ALIVE_S = 10.0
MOST_BROWSERS = 200


class Doorkeeper:
    """Who may look: everyone on loopback without ``--lan``; else who holds a cookie got for a key."""

    def __init__(self, *, lan: bool) -> None:
        self.lan = lan
        self._lock = threading.Lock()
        self._key = secrets.token_urlsafe(24)
        self._cookies: set[str] = set()

    @property
    def key(self) -> str:
        """The key that the next browser needs."""
        return self._key

    def spend(self, key: str) -> str | None:
        """Change a key for a cookie; None for a wrong key. Wrong keys cost nobody anything: it has 192 random bits."""
        with self._lock:
            if not hmac.compare_digest(key.encode(), self._key.encode()):
                return None
            self._key = secrets.token_urlsafe(24)
            cookie = secrets.token_urlsafe(24)
            self._cookies.add(cookie)
            return cookie

    def knows(self, header: str | None) -> bool:
        """Whether a request's cookie header lets it in."""
        if not self.lan:
            return True
        morsel = SimpleCookie(header or "").get(COOKIE)
        return morsel is not None and any(hmac.compare_digest(morsel.value, cookie) for cookie in self._cookies)


class PageServer(ThreadingHTTPServer):
    """The server with what its handlers share."""

    daemon_threads = True
    request_queue_size = 128

    def __init__(self, address: tuple[str, int], state: PageState, keeper: Doorkeeper, hosts: set[str]) -> None:
        super().__init__(address, PageHandler)
        self.state = state
        self.keeper = keeper
        self.hosts = hosts
        self.browsers = threading.Semaphore(MOST_BROWSERS)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that went away is no news."""


class PageHandler(BaseHTTPRequestHandler):
    """Answers GET for the page's three files and the stream of states; nothing else."""

    server: PageServer
    protocol_version = "HTTP/1.1"
    server_version = "soakwitness"
    timeout = 30

    def do_GET(self) -> None:
        """Answer one request."""
        if "Content-Length" in self.headers or "Transfer-Encoding" in self.headers:
            self.close_connection = True  # what follows the headers is not read, and is no next request
        parts = urlsplit(self.path)
        if self._host() not in self.server.hosts:
            return self._say(HTTPStatus.FORBIDDEN, "This name is not one the page is served under.")
        key = parse_qs(parts.query).get("key")
        if not self.server.keeper.knows(self.headers.get("Cookie")):
            if key and parts.path == "/":
                return self._exchange(key[0])
            return self._say(HTTPStatus.FORBIDDEN, "This page needs the link that the recorder printed.")
        if parts.path == "/states":
            return self._stream()
        if parts.path in FILES:
            name, kind = FILES[parts.path]
            return self._send(HTTPStatus.OK, kind, (files("soakwitness.cli.page") / name).read_bytes())
        return self._say(HTTPStatus.NOT_FOUND, "Nothing here.")

    def _host(self) -> str:
        return (self.headers.get("Host") or "").rsplit(":", 1)[0].strip("[]").lower()

    def _exchange(self, key: str) -> None:
        cookie = self.server.keeper.spend(key)
        if cookie is None:
            return self._say(HTTPStatus.FORBIDDEN, "This link was used or is wrong. The recorder printed the next one.")
        print_link(self.server)
        self.send_response(HTTPStatus.SEE_OTHER)
        self.send_header("Location", "/")
        self.send_header("Set-Cookie", f"{COOKIE}={cookie}; HttpOnly; SameSite=Strict; Path=/")
        self._finish_headers("text/plain; charset=utf-8", 0)
        return None

    def _finish_headers(self, kind: str, length: int | None) -> None:
        self.send_header("Content-Type", kind)
        self.send_header("Content-Security-Policy", POLICY)
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header("Cache-Control", "no-store")
        if self.close_connection:
            self.send_header("Connection", "close")
        if length is not None:
            self.send_header("Content-Length", str(length))
        self.end_headers()

    def _send(self, status: HTTPStatus, kind: str, body: bytes) -> None:
        self.send_response(status)
        self._finish_headers(kind, len(body))
        if self.command != "HEAD":
            self.wfile.write(body)

    def _say(self, status: HTTPStatus, words: str) -> None:
        self._send(status, "text/plain; charset=utf-8", (words + "\n").encode())

    def _stream(self) -> None:
        """Server-sent events: everything once, then each new state, and a heartbeat."""
        if not self.server.browsers.acquire(blocking=False):
            return self._say(HTTPStatus.SERVICE_UNAVAILABLE, "Too many browsers look at this page.")
        try:
            self.close_connection = True
            self.send_response(HTTPStatus.OK)
            self._finish_headers("text/event-stream; charset=utf-8", None)
            serial, text = self.server.state.whole()
            self._event("whole", text)
            while not self.server.state.gone:
                serial, newer = self.server.state.wait(serial, KEEP_ALIVE_S)
                self._event("state", newer) if newer else self.wfile.write(b": still here\n\n")
        except OSError:
            pass
        finally:
            self.server.browsers.release()
        return None

    def _event(self, name: str, text: str) -> None:
        self.wfile.write(f"event: {name}\ndata: {text}\n\n".encode())
        self.wfile.flush()

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Refuse what the base class cannot take, in plain words and under the same policy as everything else."""
        self.close_connection = True
        self._say(HTTPStatus(code), "Only GET of the page is answered here.")

    def version_string(self) -> str:
        """Name the server without a version."""
        return self.server_version

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing: the terminal belongs to the recorder."""


def network_address() -> str:
    """Address of this computer on the workshop network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): routes are looked up, no packet leaves
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def link(server: PageServer) -> str:
    """The address to open: with the key where one is needed."""
    port = server.server_address[1]
    if not server.keeper.lan:
        return f"http://127.0.0.1:{port}/"
    return f"http://{network_address()}:{port}/?key={server.keeper.key}"


def print_link(server: PageServer) -> None:
    """Print the next link; each opens one browser."""
    print(f"Live page, link for the next browser: {link(server)}", file=sys.stderr, flush=True)


def feed(server: PageServer) -> None:
    """Take states from standard input until the recorder closes it; then show the page as stale and end."""
    for line in sys.stdin:
        try:
            server.state.add(json.loads(line))
        except (ValueError, AttributeError):
            continue
    server.state.close()
    time.sleep(1.0)  # the last words reach the browsers
    server.shutdown()


def main() -> None:
    """Serve until standard input ends."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--lan", action="store_true")
    options = parser.parse_args()
    for name in ("SIGINT", "SIGHUP"):  # Ctrl-C and a closed terminal are the recorder's; it closes the pipe at the end
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    hosts = {"127.0.0.1", "localhost", "::1"} | (
        {network_address(), socket.gethostname().lower()} if options.lan else set()
    )
    try:
        bind = "0.0.0.0" if options.lan else "127.0.0.1"
        server = PageServer((bind, options.port), PageState(), Doorkeeper(lan=options.lan), hosts)
    except OSError as error:
        print(
            f"Live page: port {options.port} cannot be used ({error.strerror}). Give another: --port N", file=sys.stderr
        )
        sys.exit(2)
    print(link(server), flush=True)
    threading.Thread(target=feed, args=(server,), daemon=True).start()
    server.serve_forever(poll_interval=0.2)


if __name__ == "__main__":
    main()
