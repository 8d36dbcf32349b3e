"""Where the book hears the recorders: a local datagram socket that only its owner can write to."""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import secrets
import shutil
import socket
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

SECRET_BYTES = 24


class Ear:
    """The socket and how it is found; ``where`` goes into the book's file."""

    def __init__(self, *, unix: bool = hasattr(socket, "AF_UNIX")) -> None:
        self._folder: Path | None = None
        self._transport: asyncio.DatagramTransport | None = None
        self.secret = b""
        if unix:
            self._folder = Path(tempfile.mkdtemp(prefix="soakwitness-"))  # mode 0700
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
            place = self._folder / "present"
            self._socket.bind(str(place))
            self.where: dict[str, Any] = {"unix": str(place)}
        else:
            self.secret = secrets.token_bytes(SECRET_BYTES)
            self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            self._socket.bind(("127.0.0.1", 0))
            self.where = {"udp": self._socket.getsockname()[1], "secret": self.secret.hex()}
        self._socket.setblocking(False)

    async def listen(self, take: Callable[[Any], None]) -> None:
        """Hand every state on from now on."""
        loop = asyncio.get_running_loop()
        self._transport, _ = await loop.create_datagram_endpoint(lambda: _Hearing(self.secret, take), sock=self._socket)

    def stop(self) -> None:
        """Listen no more; for as long as the loop runs."""
        if self._transport is not None:
            self._transport.close()

    def close(self) -> None:
        """Take the socket away."""
        with contextlib.suppress(OSError):
            self._socket.close()
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)


class _Hearing(asyncio.DatagramProtocol):
    def __init__(self, secret: bytes, take: Callable[[Any], None]) -> None:
        self._secret, self._take = secret, take

    def datagram_received(self, data: bytes, addr: Any) -> None:
        """Take a state; what is none, or comes from someone who cannot read the book's file, is left."""
        size = len(self._secret)
        if hmac.compare_digest(data[:size], self._secret):
            with contextlib.suppress(ValueError, RecursionError):
                self._take(json.loads(data[size:]))
