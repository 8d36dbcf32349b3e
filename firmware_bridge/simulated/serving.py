"""Serves the simulated furnace on a real link, in a thread of its own, at the pace of a given clock."""

from __future__ import annotations

import atexit
import random
import select
import socket
import threading
import time
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace, LinkSettings
from soakwitness.firmware_bridge.links.base import LinkClock
from soakwitness.firmware_bridge.simulated import instrument
from soakwitness.firmware_bridge.simulated import served_modbus as modbus
from soakwitness.firmware_bridge.simulated.furnace import Shown, SimulatedFurnace
from soakwitness.firmware_bridge.simulated.served_ports import HAS_PSEUDO_TERMINALS, Network, PseudoTerminal, ServedPort
from soakwitness.firmware_bridge.simulated.settings import SimulatedSettings, read_settings

BAUD = 115200  # a round trip costs little more than the silence between frames
FRAME_END_S = 0.05  # half a request is forgotten after so long a silence
LINE_LOOK_S = 0.004
LONGEST_REQUEST = 256


def start(
    settings: SimulatedSettings | Mapping[str, Any], *, clock: LinkClock | None = None, unit: Unit = "C"
) -> Serving:
    """Switch the furnace on and serve its instrument until ``stop``.

    ``settings``: the scenario and how to serve it, or the keys of ``[link]`` in a furnace file. ``clock``: furnace time
    runs with its ``monotonic``; the real clock by default. A clock that runs N times faster makes the furnace run N
    times faster. ``unit``: unit of the instrument where ``settings`` is a mapping.
    """
    found = settings if isinstance(settings, SimulatedSettings) else read_settings(settings, unit=unit)
    return Serving(found, clock=clock or time)


class Serving:
    """A furnace that is being served.

    ``link`` says how to reach its instrument, as for hardware. Furnace time 0 is ``began_s`` of the clock.
    """

    def __init__(self, settings: SimulatedSettings, *, clock: LinkClock) -> None:
        self.settings = settings
        self.clock = clock
        self.furnace = SimulatedFurnace(settings.scenario)
        on_network = settings.over == "network" or (settings.over == "auto" and not HAS_PSEUDO_TERMINALS)
        self._port: ServedPort = Network() if on_network else PseudoTerminal()
        self.link = self._link_settings()
        self.began_s = clock.monotonic()
        self._chance = random.Random(f"{settings.scenario.seed} link")
        self._pulled = False
        self._lines = 0
        self._stopping = threading.Event()
        self._bell, self._woken = socket.socketpair()
        self._thread = threading.Thread(target=self._serve, name="simulated furnace", daemon=True)
        self._thread.start()

    def _link_settings(self) -> LinkSettings:
        if self.settings.speaks == "modbus":
            return LinkSettings("modbus", self._port.name, baud=BAUD)
        return LinkSettings("lines", self._port.name, baud=BAUD, separator=",", checksum="xor")

    def stop(self) -> None:
        """Switch off and let go of the port; a second time does nothing."""
        if self._stopping.is_set():
            return
        self._stopping.set()
        self._bell.send(b"!")
        self._thread.join()
        self._port.close()
        self._bell.close()
        self._woken.close()

    def _serve(self) -> None:
        wait_s = FRAME_END_S if self.settings.speaks == "modbus" else LINE_LOOK_S
        request = b""
        while not self._stopping.is_set():
            ready, _, _ = select.select([*self._port.waiting_on(), self._woken], [], [], wait_s)
            if self._woken in ready:
                self._woken.recv(64)
            self.furnace.advance(self.clock.monotonic() - self.began_s)
            self._follow_cable()
            data = self._port.receive() if ready else b""
            if self.settings.speaks == "lines":
                self._speak()
            else:
                request = self._listen(request + data if ready else b"")

    def _follow_cable(self) -> None:
        pulled = self.furnace.active("cable pulled") is not None
        if pulled and not self._pulled:
            self._port.pull()
        elif self._pulled and not pulled:
            self._port.plug_in()
        self._pulled = pulled

    def _listen(self, request: bytes) -> bytes:
        """Answer a whole request; return what is kept of one that is not whole yet."""
        if not modbus.is_whole(request):
            return request if len(request) < LONGEST_REQUEST else b""
        reply = modbus.answer(request, unit_id=self.link.unit_id, read=self._registers)
        if reply is not None:
            self._wait_if_late()
            self._port.send(self._perhaps_garbled(reply))
        return b""

    def _registers(self) -> Mapping[int, int]:
        return instrument.registers(self.furnace.shown(), self.settings.unit)

    def _speak(self) -> None:
        due = int(self.furnace.t_s / self.settings.line_every_s)
        if due <= self._lines:
            return
        self._lines = due
        shown: Shown = self.furnace.shown()
        text = instrument.line(shown, due, self.settings.unit) + "\r\n"
        self._wait_if_late()
        self._port.send(self._perhaps_garbled(text.encode()))

    def _wait_if_late(self) -> None:
        fault = self.furnace.active("late replies")
        if fault and self._chance.random() < fault.share:
            self._stopping.wait(fault.amount)

    def _perhaps_garbled(self, data: bytes) -> bytes:
        fault = self.furnace.active("garbled replies")
        if not fault or self._chance.random() >= fault.share:
            return data
        at = self._chance.randrange(len(data))
        return data[:at] + bytes([data[at] ^ 0x24]) + data[at + 1 :]


_running: dict[tuple[str, Unit, int], Serving] = {}


def reach(furnace: Furnace, *, clock: LinkClock | None = None) -> LinkSettings:
    """Link settings under which the furnace of a file with ``kind = "simulated"`` is served.

    The first call switches it on; it then runs until the process ends, however often the link is closed and opened.
    """
    return find(furnace, clock=clock).link


def find(furnace: Furnace, *, clock: LinkClock | None = None) -> Serving:
    """Give the serving of a furnace file for this clock, switched on if it is not running."""
    ticking: LinkClock = clock or time
    key = (repr(furnace.link.settings), furnace.unit, id(ticking))
    if key not in _running or _running[key]._stopping.is_set():
        if not _running:
            atexit.register(_stop_all)
        settings = read_settings(furnace.link.settings, unit=furnace.unit, source=furnace.source or "[link]")
        _running[key] = Serving(settings, clock=ticking)
    serving = _running[key]
    asked = furnace.link
    serving.link = replace(serving.link, timeout_s=asked.timeout_s, silence_s=asked.silence_s)
    return serving


def _stop_all() -> None:
    for serving in _running.values():
        serving.stop()
