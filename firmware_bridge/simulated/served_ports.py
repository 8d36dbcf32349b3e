"""Where the simulated instrument is plugged in: a pseudo-terminal, or a socket on the loopback address."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

HAS_PSEUDO_TERMINALS = os.name == "posix"
UNREAD_BYTES = 2000  # what nobody reads is lost, as on a real line


class ServedPort(Protocol):
    """The instrument's end of a cable. ``name`` is what a program opens at the other end."""

    name: str

    def waiting_on(self) -> Sequence[int | socket.socket]:
        """What to wait on for something to receive; empty while the cable is pulled."""
        ...

    def receive(self) -> bytes:
        """Take what has arrived; never waits, never raises."""
        ...

    def send(self, data: bytes) -> None:
        """Send, as far as somebody takes it; never waits, never raises."""
        ...

    def pull(self) -> None:
        """Pull the cable: the name goes, the other end is hung up on."""
        ...

    def plug_in(self) -> None:
        """Plug the cable in again under the same name."""
        ...

    def close(self) -> None:
        """Pull for good and tidy up."""
        ...


class PseudoTerminal:
    """A pseudo-terminal under a stable name: its own number is used again by the system after each opening.

    The end that others open is kept open here too, so that their leaving is no error and their next opening finds the
    line as it was: eight bits, no parity, nothing changed on the way.
    """

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="soakwitness-"))
        self.name = str(self._folder / "furnace")
        self._own: int | None = None
        self._other: int | None = None
        self.plug_in()

    def plug_in(self) -> None:
        """Make a new pair and point the name at it."""
        import tty

        self._own, self._other = os.openpty()
        tty.setraw(self._other)
        os.set_blocking(self._own, False)
        os.symlink(os.ttyname(self._other), self.name)

    def pull(self) -> None:
        """Remove the name, then close both ends: whoever has it open sees the device go."""
        with contextlib.suppress(FileNotFoundError):
            os.unlink(self.name)
        for number in (self._own, self._other):
            if number is not None:
                os.close(number)
        self._own = self._other = None

    def close(self) -> None:
        """Pull and tidy up."""
        self.pull()
        shutil.rmtree(self._folder, ignore_errors=True)

    def waiting_on(self) -> Sequence[int]:
        """Our end, while it is there."""
        return () if self._own is None else (self._own,)

    def receive(self) -> bytes:
        """Take what has arrived."""
        if self._own is None:
            return b""
        try:
            return os.read(self._own, 4096)
        except OSError:
            return b""

    def send(self, data: bytes) -> None:
        """Send, unless the other end has not taken what was sent before."""
        if self._own is None or self._unread() > UNREAD_BYTES:
            return
        with contextlib.suppress(OSError):
            os.write(self._own, data)

    def _unread(self) -> int:
        import fcntl
        import struct
        import termios

        if self._other is None:
            return 0
        count: int = struct.unpack("i", fcntl.ioctl(self._other, termios.FIONREAD, b"\0\0\0\0"))[0]
        return count


class Network:
    """One TCP connection at a time on the loopback address."""

    def __init__(self) -> None:
        self._address = ("127.0.0.1", 0)
        self._listener: socket.socket | None = None
        self._connection: socket.socket | None = None
        self.plug_in()
        self.name = "socket://{}:{}".format(*self._address)

    def plug_in(self) -> None:
        """Listen, after the first time on the same number again."""
        self._listener = socket.create_server(self._address, backlog=1)
        self._listener.setblocking(False)
        self._address = self._listener.getsockname()[:2]

    def pull(self) -> None:
        """Hang up and listen no more."""
        for end in (self._connection, self._listener):
            if end is not None:
                end.close()
        self._connection = self._listener = None

    def close(self) -> None:
        """Pull; nothing else is left."""
        self.pull()

    def waiting_on(self) -> Sequence[socket.socket]:
        """The connection if there is one, else the listener."""
        end = self._connection or self._listener
        return () if end is None else (end,)

    def receive(self) -> bytes:
        """Take a new caller, or what the present one has sent."""
        try:
            if self._connection is None:
                self._take_caller()
                return b""
            data = self._connection.recv(4096)
            if data:
                return data
        except BlockingIOError:
            return b""
        except OSError:
            pass
        self._hang_up()
        return b""

    def _take_caller(self) -> None:
        if self._listener is not None:
            self._connection, _ = self._listener.accept()
            self._connection.setblocking(False)
            self._connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _hang_up(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def send(self, data: bytes) -> None:
        """Send to the present caller, if there is one."""
        if self._connection is None:
            return
        try:
            self._connection.send(data)
        except BlockingIOError:
            return
        except OSError:
            self._hang_up()
