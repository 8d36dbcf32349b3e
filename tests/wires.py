"""A wire between two pseudo-terminals that can be watched and made late, and a pymodbus server at one end of it."""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import threading
import time
import tty
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

BETWEEN_ANSWERS_S = 0.004  # an instrument that was late answers the next request after that, not at once


class Wire:
    """Two pseudo-terminals joined by a thread; ``near`` and ``far`` are stable names for their ends.

    Both ends stay open here, since a pseudo-terminal whose other end closes answers "device disconnected", and both are
    raw from the start. ``sent`` and ``answered`` keep what passed; ``delay_s`` says how late an answer is.
    """

    def __init__(self, folder: Path) -> None:
        self.near, self.far = str(folder / "near"), str(folder / "far")
        self.sent: list[bytes] = []
        self.answered: list[bytes] = []
        self.delay_s: Callable[[], float] = lambda: 0.0
        self.change: Callable[[bytes], bytes] = lambda data: data
        self._ends: list[int] = []
        self._own: dict[str, int] = {}
        for name in (self.near, self.far):
            own, other = os.openpty()
            tty.setraw(other)
            os.symlink(os.ttyname(other), name)
            self._ends += [own, other]
            self._own[name] = own
        self._stop, self._stopped = os.pipe()
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self._thread.start()

    def _carry(self) -> None:
        near, far = self._own[self.near], self._own[self.far]
        late: list[tuple[float, bytes]] = []
        while True:
            wait_s = max(0.0, late[0][0] - time.monotonic()) if late else None
            ready, _, _ = select.select([near, far, self._stop], [], [], wait_s)
            if self._stop in ready:
                return
            if near in ready:
                self.sent.append(os.read(near, 4096))
                os.write(far, self.sent[-1])
            if far in ready:
                self.answered.append(os.read(far, 4096))
                free_s = late[-1][0] + BETWEEN_ANSWERS_S if late else 0.0
                late.append((max(time.monotonic() + self.delay_s(), free_s), self.change(self.answered[-1])))
            while late and late[0][0] <= time.monotonic():
                os.write(near, late.pop(0)[1])

    def close(self) -> None:
        """Cut the wire."""
        os.close(self._stopped)
        self._thread.join()
        for end in (*self._ends, self._stop):
            os.close(end)


@contextlib.contextmanager
def wire(folder: Path) -> Iterator[Wire]:
    """Join two pseudo-terminals for as long as the block runs."""
    joined = Wire(folder)
    try:
        yield joined
    finally:
        joined.close()


@contextlib.contextmanager
def pymodbus_server(
    port: str, blocks: Sequence[Any], *, unit: int = 1, ascii_framing: bool = False, trace: Any = None
) -> Iterator[None]:
    """Serve registers with pymodbus on a port, or on ``socket://HOST:PORT`` with serial framing.

    ``blocks`` are its SimData for the input and the holding table.
    """
    from pymodbus import FramerType
    from pymodbus.server import ModbusSerialServer, ModbusTcpServer
    from pymodbus.simulator import DataType, SimData, SimDevice

    nothing = [SimData(60000, values=[False] * 16, datatype=DataType.BITS)]
    inputs, holdings = blocks
    device = SimDevice(unit, (nothing, nothing, list(holdings), list(inputs)))
    more: dict[str, Any] = {"framer": FramerType.ASCII if ascii_framing else FramerType.RTU, "trace_pdu": trace}

    def make() -> Any:
        if port.startswith("socket://"):
            host, number = port.removeprefix("socket://").split(":")
            return ModbusTcpServer(device, address=(host, int(number)), **more)
        return ModbusSerialServer(device, port=port, baudrate=115200, **more)

    with _served(make):
        yield


@contextlib.contextmanager
def _served(make: Callable[[], Any]) -> Iterator[None]:
    """Run a pymodbus server in a thread with a loop of its own."""
    started: threading.Event = threading.Event()
    loop = asyncio.new_event_loop()
    servers: list[Any] = []

    async def serve() -> None:
        servers.append(make())
        await servers[0].serve_forever(background=True)
        started.set()
        await servers[0].serving

    def run() -> None:
        with contextlib.suppress(asyncio.CancelledError):
            loop.run_until_complete(serve())

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert started.wait(10)
    try:
        yield
    finally:
        asyncio.run_coroutine_threadsafe(servers[0].shutdown(), loop).result(10)
        thread.join(10)
        loop.close()
