"""Tells the book how a run stands, by a datagram each: never waited for, dropped where the book is busy or gone."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from soakwitness.cli.telling.book_file import BOOK_FILE, told_by
from soakwitness.firmware_bridge.runfolder.lock import read_holder

LOOKED_FOR_EVERY_S = 5.0
MOST_BYTES = 60_000  # one datagram of UDP holds 65,507

State = dict[str, Any]


class Present:
    """The recording process's side. A book is looked for every few seconds, so that either may begin first.

    ``told`` and ``dropped`` count states; where no book runs a state is not even made.
    """

    def __init__(self, logbook: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self.logbook = logbook
        self.told = self.dropped = 0
        self._clock = clock
        self._looked_s = -float("inf")
        self._seen: tuple[int, int, int] | None = None
        self._socket: socket.socket | None = None
        self._secret = b""

    def tell(self, state: Callable[[], State]) -> None:
        """Tell the newest state; returns at once, whatever the book does."""
        self._look()
        if self._socket is None:
            return
        try:
            data = json.dumps(state(), allow_nan=False).encode()
            if len(data) > MOST_BYTES:
                self.dropped += 1
                return
            self._socket.send(self._secret + data)
            self.told += 1
        except (BlockingIOError, InterruptedError):
            self.dropped += 1
        except OSError:  # full or gone; which of both, the next look tells
            self.dropped += 1
            self._let_go()

    def leave(self) -> None:
        """Let go."""
        self._let_go()

    def _let_go(self) -> None:
        if self._socket is not None:
            with contextlib.suppress(OSError):
                self._socket.close()
        self._socket, self._seen = None, None

    def _look(self) -> None:
        """Find the book by its file: one look at the file's signs, and no more while they stay the same."""
        now_s = self._clock()
        if now_s - self._looked_s < LOOKED_FOR_EVERY_S:
            return
        self._looked_s = now_s
        path = self.logbook / BOOK_FILE
        try:
            state = os.stat(path)
        except OSError:
            self._let_go()
            return
        signs = (state.st_ino, state.st_size, state.st_mtime_ns)
        if signs == self._seen:
            return
        self._let_go()
        self._seen = signs
        book = told_by(read_holder(path)) if state.st_size else None
        if book is not None:
            with contextlib.suppress(OSError, ValueError, TypeError, KeyError):
                self._socket, self._secret = _opened(book.hears)


def _opened(hears: Mapping[str, Any]) -> tuple[socket.socket, bytes]:
    """A socket that sends to the book, and what each datagram begins with."""
    place: Any
    if "unix" in hears and hasattr(socket, "AF_UNIX"):
        kind, place, secret = socket.AF_UNIX, str(hears["unix"]), b""
    else:
        kind, place, secret = socket.AF_INET, ("127.0.0.1", int(hears["udp"])), bytes.fromhex(str(hears["secret"]))
    sender = socket.socket(kind, socket.SOCK_DGRAM)
    try:
        sender.setblocking(False)
        sender.connect(place)
    except BaseException:
        sender.close()
        raise
    return sender, secret
