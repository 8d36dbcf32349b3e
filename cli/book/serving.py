"""The serving process of the book: ``python -m soakwitness.cli.book.serving``, and ``soakwitness book`` itself."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import functools
import json
import os
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from soakwitness.cli.book.app import book_app
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.devices import Devices
from soakwitness.cli.book.doors import Doors, FormTokens
from soakwitness.cli.book.encrypting import HANDSHAKE_S, LOOKED_AT_EVERY_S, Encryption, own_encryption
from soakwitness.cli.book.hearing import Ear
from soakwitness.cli.book.listening import BACKLOG, certificate_names, host_names, in_url, listen, network_addresses
from soakwitness.cli.book.now_page import judge_when_over
from soakwitness.cli.book.patience import Patient
from soakwitness.cli.book.runs_page import warm_up
from soakwitness.cli.book.states import LOOK_S, States
from soakwitness.cli.book.working import WorkerProcess
from soakwitness.cli.telling.book_file import claim_book
from soakwitness.cli.telling.joining import BookRefused, Joined
from soakwitness.firmware_bridge.runfolder.lock import LockHeld
from soakwitness.firmware_bridge.version import VERSION

GRACE_S = 1
SEEN_KEPT_EVERY_S = 30.0
MOST_CONNECTIONS = 1000
FIRST_DEVICE = "first device"


@dataclass(frozen=True)
class BookAsked:
    """What is asked of a book. ``idle_s``: end when nothing records and nobody looks for so long.

    ``recipes``: a folder of recipe files that runs are planned by, beside those that runs have.
    """

    logbook: Path
    port: int
    lan: bool = False
    idle_s: float | None = None
    https: bool = False
    given: Encryption | None = None  # a certificate of the person's own
    recipes: Path | None = None


class BookServer(uvicorn.Server):
    """Uvicorn's server; signals are the book's own, and who says nothing while encryption begins is not waited for."""

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen; uvicorn itself sets no limit to a handshake, asyncio one of 60 s."""
        loop = asyncio.get_running_loop()
        if self.config.ssl is not None:
            limited = functools.partial(loop.create_server, ssl_handshake_timeout=HANDSHAKE_S)
            loop.create_server = limited  # type: ignore[method-assign]
        await super().startup(sockets)

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals alone."""
        yield


class Idle:
    """Tells when a book that a recording started was not needed for long enough."""

    def __init__(self, idle_s: float | None, clock: Callable[[], float] = time.monotonic) -> None:
        self._idle_s = idle_s
        self._clock = clock
        self._used_s = clock()
        self._requests = 0

    def over(self, *, busy: bool, requests: int) -> bool:
        """Whether it may end. ``busy``: something records or someone looks; ``requests``: how many were answered."""
        if busy or requests != self._requests:
            self._used_s, self._requests = self._clock(), requests
        return self._idle_s is not None and self._clock() - self._used_s > self._idle_s


def serve(asked: BookAsked, ready: Callable[[Joined], None], *, detached: bool = False) -> None:
    """Serve until it is ended; ``ready`` is told where, and with ``lan`` the link of the first device.

    Raises BookRefused if the log book has a book already, or the port is taken.
    """
    with contextlib.ExitStack() as kept:
        listening = listen(asked.port, lan=asked.lan)
        for one in listening:
            kept.callback(one.close)
        ear = Ear()
        kept.callback(ear.close)
        port = listening[0].getsockname()[1]
        encryption = _encryption(asked)
        scheme = "http" if encryption is None else "https"
        network = [f"{scheme}://{in_url(a)}:{port}/" for a in network_addresses()] if asked.lan else []
        trust = None if encryption is None else encryption.fingerprint
        joined = Joined(f"{scheme}://127.0.0.1:{port}/", None, tuple(network), trust)
        about = {
            "address": joined.address,
            "network": network,
            "version": VERSION,
            "lan": asked.lan,
            "hears": ear.where,
        }
        try:
            kept.callback(claim_book(asked.logbook, about).release)
        except LockHeld as error:
            raise BookRefused(
                f"{asked.logbook} has its book already, at {error.holder.get('address')}. "
                "Open that, or end it first: soakwitness book --stop"
            ) from None
        devices = Devices(asked.logbook)
        if network and not devices.all():
            joined = replace(joined, link=f"{network[0]}?token={devices.add(FIRST_DEVICE, 'mark')}")
        asyncio.run(_serve(asked, devices, ear, listening, encryption, lambda: ready(joined), detached))
        devices.keep_seen()


async def _serve(
    asked: BookAsked,
    devices: Devices,
    ear: Ear,
    listening: list[socket.socket],
    encryption: Encryption | None,
    ready: Callable[[], None],
    detached: bool,
) -> None:
    states = States(asked.logbook / "runs")
    tokens = FormTokens(devices.secret())
    worker = WorkerProcess(asked.logbook)
    desk = Desk(asked.logbook, states, devices, worker, tokens, encryption=encryption, recipes=asked.recipes)
    states.when_over = judge_when_over(desk)
    await ear.listen(states.take)
    doors = book_app(desk, host_names())
    server = BookServer(_config(doors, encryption))

    def end(number: int, frame: object) -> None:
        states.close()
        server.should_exit = True

    signal.signal(signal.SIGTERM, end)
    for name in ("SIGINT", "SIGHUP"):  # Ctrl-C and a closed terminal end only a book that is served there
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN if detached else end)
    ready()
    states.begin(asyncio.to_thread(warm_up, desk))
    tending = asyncio.create_task(_tend(asked, desk, doors, server))
    try:
        await server.serve(sockets=listening)
    finally:
        tending.cancel()
        await desk.worker.leave()
        await desk.looker.leave()
        ear.stop()


def _encryption(asked: BookAsked) -> Encryption | None:
    """What is encrypted with, where that is asked for."""
    if not asked.https and asked.given is None:
        return None
    found = asked.given or own_encryption(asked.logbook, certificate_names())
    found.check()
    return found


def _config(app: ASGIApp, encryption: Encryption | None) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        http=Patient,
        log_config=None,
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        proxy_headers=False,
        backlog=BACKLOG,
        limit_concurrency=MOST_CONNECTIONS,
        timeout_graceful_shutdown=GRACE_S,
        ssl_certfile=None if encryption is None else encryption.certificate,
        ssl_keyfile=None if encryption is None else encryption.key,
    )


async def _renew(asked: BookAsked, server: BookServer) -> None:
    """Renew the certificate where its end is near or an address is new, or take the one given as it is now."""
    with contextlib.suppress(BookRefused):  # the old one serves on
        found = await asyncio.to_thread(_encryption, asked)
        if found is not None and server.config.ssl is not None:
            server.config.ssl.load_cert_chain(found.certificate, found.key)


async def _tend(asked: BookAsked, desk: Desk, doors: Doors, server: BookServer) -> None:
    """Notice recorders that fell silent, devices that were withdrawn, and the time to end."""
    idle, kept_s, renewed_s = Idle(asked.idle_s), time.monotonic(), time.monotonic()
    while not server.should_exit:
        await asyncio.sleep(LOOK_S)
        desk.states.look_for_ends()
        doors.look()
        if time.monotonic() - kept_s > SEEN_KEPT_EVERY_S:
            kept_s = time.monotonic()
            await asyncio.to_thread(desk.devices.keep_seen)
        if time.monotonic() - renewed_s > LOOKED_AT_EVERY_S:
            renewed_s = time.monotonic()
            desk.states.begin(_renew(asked, server))
        if idle.over(busy=desk.states.busy, requests=server.server_state.total_requests):
            desk.states.close()
            server.should_exit = True


def main() -> None:
    """Serve in the background: say where on standard output, then nothing more."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--logbook", type=Path, required=True)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--lan", action="store_true")
    parser.add_argument("--idle", type=float, default=None)
    parser.add_argument("--https", action="store_true")
    parser.add_argument("--recipes", type=Path, default=None)
    options = parser.parse_args()

    def ready(joined: Joined) -> None:
        print(json.dumps(asdict(joined)), flush=True)
        with open(os.devnull, "r+b") as nowhere:
            for number in (1, 2):
                os.dup2(nowhere.fileno(), number)

    try:
        asked = BookAsked(
            options.logbook, options.port, options.lan, options.idle, options.https, recipes=options.recipes
        )
        serve(asked, ready, detached=True)
    except (BookRefused, OSError) as error:
        print(json.dumps({"refused": str(error)}), flush=True)
        sys.exit(2)


if __name__ == "__main__":
    main()
