"""Holds on to the instrument: reads, loses it, finds it again, also under a new port name."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace

from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links.base import Link, Reading
from soakwitness.firmware_bridge.recording.clocks import Clock

FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 5.0  # back within 10 s of the cable
FAILURES_TO_LOSE = 3
REOPEN_AFTER_S = 10.0  # an adapter may hang: silent for so long, its port is opened anew
_PORT_GONE = ("missing", "busy", "no permission")

Opener = Callable[[Furnace, Clock], Link]


@dataclass(frozen=True)
class LinkChange:
    """The link was lost (``back`` False) or came back. ``since_s`` is the steady time of the last reading before."""

    back: bool
    since_s: float | None
    says: str


@dataclass(frozen=True)
class Look:
    """What one slot brought: a reading, or why there is none, and whether the link was lost or came back."""

    reading: Reading | None
    error: LinkError | None = None
    change: LinkChange | None = None


class LinkKeeper:
    """The link of one furnace. ``look`` never raises because of the instrument or its port.

    ``lost`` is True from the third failed reading in a row, or from the first where the port itself is gone, until
    the next good one. ``last_good_s`` is the steady time of the last reading.
    """

    def __init__(
        self, furnace: Furnace, clock: Clock, opener: Opener, find_again: Callable[[], str | None] | None = None
    ) -> None:
        self._furnace = furnace
        self._clock = clock
        self._opener = opener
        self._find_again = find_again
        self._link: Link | None = None
        self._error: LinkError | None = None
        self._failures = 0
        self._try_at_s = -float("inf")
        self._wait_s = FIRST_WAIT_S
        self._opened_s = 0.0
        self.lost = False
        self.last_good_s: float | None = None

    def open(self) -> str:
        """Open the link now; return its description. Raises LinkError."""
        self._link = self._opener(self._furnace, self._clock)
        self._opened_s = self._clock.monotonic()
        return self._link.describe()

    def look(self) -> Look:
        """Take one reading, opening the link first where that is needed and due."""
        now_s = self._clock.monotonic()
        if self._link is None and now_s < self._try_at_s:
            return self._failed(self._error or LinkError("missing", "not opened yet"))
        try:
            if self._link is None:
                self._open_again()
            assert self._link is not None
            reading = self._link.read()
        except LinkError as error:
            return self._failed(error)
        return self._good(reading)

    def close(self) -> None:
        """Let go of the port."""
        if self._link is not None:
            self._link.close()
            self._link = None

    def _open_again(self) -> None:
        """Open the link; where that fails it is left alone for a while."""
        try:
            self._open_as_named_or_found()
        except LinkError:
            self._leave_alone()
            raise

    def _open_as_named_or_found(self) -> None:
        try:
            self.open()
        except LinkError as error:
            port = self._find_again() if error.reason == "missing" and self._find_again else None
            if port is None or port == self._furnace.link.port:
                raise
            self._furnace = replace(self._furnace, link=replace(self._furnace.link, port=port))
            self.open()

    def _good(self, reading: Reading) -> Look:
        since_s, was_lost = self.last_good_s, self.lost
        self.last_good_s = self._clock.monotonic()
        self._failures, self._wait_s, self._error, self.lost = 0, FIRST_WAIT_S, None, False
        change = LinkChange(True, since_s, self._link.describe() if self._link else "") if was_lost else None
        return Look(reading, None, change)

    def _failed(self, error: LinkError) -> Look:
        self._error = error
        self._failures += 1
        port_gone = error.reason in _PORT_GONE
        if self._link is not None and port_gone:
            self.close()
            self._leave_alone()
        elif self._link is not None and self._hangs():
            self.close()  # and opened anew with the next look
        change = None
        if not self.lost and (port_gone or self._failures >= FAILURES_TO_LOSE):
            self.lost = True
            change = LinkChange(False, self.last_good_s, str(error))
        return Look(None, error, change)

    def _leave_alone(self) -> None:
        self._try_at_s = self._clock.monotonic() + self._wait_s
        self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)

    def _hangs(self) -> bool:
        since_s = max(self._opened_s, self.last_good_s or self._opened_s)
        return self._clock.monotonic() - since_s > REOPEN_AFTER_S


class PortMemory:
    """Remembers which adapter a port name belonged to, and finds it under another name.

    ``list_all``: lists (port name, what the adapter says of itself) of all ports there are.
    """

    def __init__(self, list_all: Callable[[], list[tuple[str, str]]]) -> None:
        self._list_all = list_all
        self._adapter: str | None = None

    def remember(self, port: str) -> None:
        """Note which adapter has this port now; two that look alike cannot be told apart."""
        found = {os.path.realpath(name): adapter for name, adapter in self._list_all()}
        adapter = found.get(os.path.realpath(port))
        only = adapter is not None and list(found.values()).count(adapter) == 1
        self._adapter = adapter if only else None

    def find_again(self) -> str | None:
        """The name that the adapter has now; None where that cannot be told for sure."""
        if self._adapter is None:
            return None
        names = [name for name, adapter in self._list_all() if adapter == self._adapter]
        return names[0] if len(names) == 1 else None


def adapters() -> list[tuple[str, str]]:
    """Names of all ports, each with the identity of its adapter (maker, product and serial numbers)."""
    from serial.tools.list_ports import comports

    return [
        (item.device, f"{item.vid:04x}:{item.pid:04x} {item.serial_number or ''}")
        for item in comports()
        if item.vid is not None
    ]
