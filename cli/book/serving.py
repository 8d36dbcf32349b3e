"""The serving process of the book: ``python -m soakwitness.cli.book.serving``, and ``soakwitness book`` itself."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import errno
import json
import os
import signal
import socket
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from soakwitness.cli.book.app import book_app
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.devices import Devices
from soakwitness.cli.book.hearing import Ear
from soakwitness.cli.book.now_page import judge_when_over
from soakwitness.cli.book.runs_page import warm_up
from soakwitness.cli.book.states import LOOK_S, States
from soakwitness.cli.book.working import WorkerProcess
from soakwitness.cli.telling.book_file import claim_book
from soakwitness.cli.telling.joining import BookRefused
from soakwitness.firmware_bridge.runfolder.lock import LockHeld
from soakwitness.firmware_bridge.version import VERSION

GRACE_S = 1
MOST_CONNECTIONS = 1000
FIRST_DEVICE = "first device"


@dataclass(frozen=True)
class BookAsked:
    """What is asked of a book. ``idle_s``: end when nothing records and nobody looks for so long."""

    logbook: Path
    port: int
    lan: bool = False
    idle_s: float | None = None


class BookServer(uvicorn.Server):
    """Uvicorn's server; signals are the book's own."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals alone."""
        yield


def serve(asked: BookAsked, ready: Callable[[str, str | None], None], *, detached: bool = False) -> None:
    """Serve until it is ended; ``ready`` is told the address on this computer, and with ``lan`` that in the
    network: for a first device with its token.

    Raises BookRefused if the log book has a book already, or the port is taken.
    """
    listening = _listen(asked)
    ear = Ear()
    try:
        port = listening.getsockname()[1]
        address = f"http://127.0.0.1:{port}/"
        about = {"address": address, "version": VERSION, "lan": asked.lan, "hears": ear.where}
        try:
            lock = claim_book(asked.logbook, about)
        except LockHeld as error:
            raise BookRefused(
                f"{asked.logbook} has its book already, at {error.holder.get('address')}. "
                "Open that, or end it first: soakwitness book --stop"
            ) from None
        try:
            devices = Devices(asked.logbook)
            link = None
            if asked.lan:
                token = "" if devices.all() else f"?token={devices.add(FIRST_DEVICE, 'mark')}"
                link = f"http://{network_address()}:{port}/{token}"
            asyncio.run(_serve(asked, devices, ear, listening, lambda: ready(address, link), detached))
        finally:
            lock.release()
    finally:
        listening.close()
        ear.close()


async def _serve(
    asked: BookAsked,
    devices: Devices,
    ear: Ear,
    listening: socket.socket,
    ready: Callable[[], None],
    detached: bool,
) -> None:
    states = States(asked.logbook / "runs")
    desk = Desk(asked.logbook, states, devices, WorkerProcess(asked.logbook))
    states.when_over = judge_when_over(desk)
    await ear.listen(states.take)
    config = uvicorn.Config(
        book_app(desk, host_names(asked.lan)),
        log_config=None,
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        proxy_headers=False,
        limit_concurrency=MOST_CONNECTIONS,
        timeout_graceful_shutdown=GRACE_S,
    )
    server = BookServer(config)

    def end(number: int, frame: object) -> None:
        states.close()
        server.should_exit = True

    signal.signal(signal.SIGTERM, end)
    for name in ("SIGINT", "SIGHUP"):  # Ctrl-C and a closed terminal end only a book that is served there
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN if detached else end)
    ready()
    states.begin(asyncio.to_thread(warm_up, desk))
    tending = asyncio.create_task(_tend(asked, states, server))
    try:
        await server.serve(sockets=[listening])
    finally:
        tending.cancel()
        await desk.worker.leave()
        await desk.looker.leave()
        ear.stop()


async def _tend(asked: BookAsked, states: States, server: BookServer) -> None:
    """Notice recorders that fell silent, and the time to end."""
    used_s, requests = time.monotonic(), 0
    while not server.should_exit:
        await asyncio.sleep(LOOK_S)
        states.look_for_ends()
        if states.busy or server.server_state.total_requests != requests:
            used_s, requests = time.monotonic(), server.server_state.total_requests
        if asked.idle_s is not None and time.monotonic() - used_s > asked.idle_s:
            states.close()
            server.should_exit = True


def _listen(asked: BookAsked) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name != "nt":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("0.0.0.0" if asked.lan else "127.0.0.1", asked.port))
        listening.listen(256)
        listening.setblocking(False)
    except OSError as error:
        listening.close()
        if error.errno == errno.EADDRINUSE:
            raise BookRefused(_taken_words(asked.port)) from None
        raise BookRefused(
            f"Port {asked.port} cannot be used ({error.strerror or error}). Give another: --port N"
        ) from None
    return listening


def _taken_words(port: int) -> str:
    """Who has a port, where it is another book."""
    address = f"http://127.0.0.1:{port}/"
    with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
        with urllib.request.urlopen(f"{address}about", timeout=2) as answer:
            about = json.loads(answer.read(10_000))
        return (
            f"Port {port} is used by the book of {about['logbook']} (version {about['version']}), at {address}. "
            "Give another: --port N"
        )
    return f"Port {port} is used by another program. Give another: --port N"


def network_address() -> str:
    """Address of this computer on the workshop network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): routes are looked up, no packet leaves
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def host_names(lan: bool) -> set[str]:
    """Names under which the book is served."""
    here = {"127.0.0.1", "localhost", "::1"}
    if lan:
        name = socket.gethostname().lower()
        here |= {network_address(), name, f"{name}.local"}
    return here


def main() -> None:
    """Serve in the background: say where on standard output, then nothing more."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--logbook", type=Path, required=True)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--lan", action="store_true")
    parser.add_argument("--idle", type=float, default=None)
    options = parser.parse_args()

    def ready(address: str, link: str | None) -> None:
        print(json.dumps({"address": address, "link": link}), flush=True)
        with open(os.devnull, "r+b") as nowhere:
            for number in (1, 2):
                os.dup2(nowhere.fileno(), number)

    try:
        serve(BookAsked(options.logbook, options.port, options.lan, options.idle), ready, detached=True)
    except (BookRefused, OSError) as error:
        print(json.dumps({"refused": str(error)}), flush=True)
        sys.exit(2)


if __name__ == "__main__":
    main()
