"""Telling systemd how a service is: ready, alive, ending (sd_notify(3)); where nobody listens, nothing happens."""

from __future__ import annotations

import contextlib
import os
import socket
import time
from collections.abc import Callable, Mapping

SHARE = 0.25  # of the watchdog's time: so often it is fed; half is the most that systemd advises


class Watchdog:
    """Fed by the sampling loop; a service whose loop hangs is killed by systemd and started again.

    ``environment``: where systemd says whom to tell (``NOTIFY_SOCKET``) and how long it waits (``WATCHDOG_USEC``).
    """

    def __init__(
        self, environment: Mapping[str, str] = os.environ, *, now: Callable[[], float] = time.monotonic
    ) -> None:
        self._address = _address(environment.get("NOTIFY_SOCKET", ""))
        self._every_s = SHARE * _seconds(environment)
        self._now = now
        self._fed_s: float | None = None

    def feed(self) -> None:
        """Say that the loop goes on: to be called as often as one likes. The first time it says that all is ready."""
        if self._address is None:
            return
        now_s = self._now()
        if self._fed_s is None:
            self._tell("READY=1")
        elif self._every_s == 0 or now_s - self._fed_s < self._every_s:
            return
        self._fed_s = now_s
        if self._every_s > 0:
            self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        """Say that the service ends by itself."""
        self._tell("STOPPING=1")

    def _tell(self, words: str) -> None:
        if self._address is None:
            return
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
            out.setblocking(False)
            out.sendto(words.encode(), self._address)


def _address(named: str) -> str | None:
    """Address of the socket; one that begins with ``@`` has no place among the files."""
    if not hasattr(socket, "AF_UNIX") or named[:1] not in ("/", "@"):
        return None
    return "\0" + named[1:] if named.startswith("@") else named


def _seconds(environment: Mapping[str, str]) -> float:
    """For how long systemd waits for this process [s]; 0 where it does not."""
    if environment.get("WATCHDOG_PID", str(os.getpid())) != str(os.getpid()):
        return 0.0
    try:
        return max(0.0, float(environment.get("WATCHDOG_USEC", "0")) / 1e6)
    except ValueError:
        return 0.0
