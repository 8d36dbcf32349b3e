"""Text lines from an instrument that sends them unasked. Nothing is ever written to it."""

from __future__ import annotations

import re
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import replace

from soakwitness.firmware_bridge.common.wording import counted, duration
from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace, LinkSettings
from soakwitness.firmware_bridge.links.base import LinkClock, Reading
from soakwitness.firmware_bridge.links.port import Port, open_port
from soakwitness.firmware_bridge.links.textlines import LONGEST_LINE, Line, LineReader

_FRESH_S = 2.0  # what waited longer than this in the system's buffer is not read as now
_FULL = 4000  # bytes: the system's buffer (4096 on Linux) may have run over, which glues lines unnoticed
_WAIT_S = 0.25  # one wait for a byte; the timeout is counted by the clock
_GATHER_S = 0.01
_WRAPS = frozenset({2**8, 10**3, 10**4, 2**15, 2**16, 10**5, 10**6, 2**31, 2**32})
_MOST_EVENTS = 20
_END = re.compile(rb"[\r\n]+")


class LinesLink:
    """Reads the newest good line; see ``links.base.Link``."""

    def __init__(self, furnace: Furnace, port: Port, clock: LinkClock | None = None) -> None:
        self._furnace = furnace
        self._port = port
        self._clock: LinkClock = clock or time
        self._reader = LineReader(furnace)
        self._buffer = b""
        self._whole = False  # the first line after opening may be half a line
        self._pulled_s = self._clock.monotonic()
        self._sequence: int | None = None
        self._last_bad = b""
        self._before: Line | None = None
        self._events: deque[str] = deque(maxlen=_MOST_EVENTS)

    def read(self) -> Reading:
        """Give the newest good line; waits for one up to the timeout."""
        start_s = self._clock.monotonic()
        age_s = start_s - self._pulled_s
        waited = self._port.read_waiting()
        if len(waited) >= _FULL and self._furnace.link.checksum == "none":
            self._buffer, self._whole, waited = b"", False, b""
        lines, bad = self._good(self._split(waited))
        seen = list(lines)
        if age_s > _FRESH_S or not lines:
            came, more_bad, some_bytes = self._wait(start_s)
            seen += came
            bad += more_bad
            age_s = 0.0
        else:
            came, some_bytes = lines, True
        self._pulled_s = self._clock.monotonic()
        if not came:
            raise self._nothing(bad, some_bytes or bool(waited))
        return self._reading(seen, bad, age_s)

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def describe(self) -> str:
        """Port, settings and kind of line in one phrase."""
        s = self._furnace.link
        check = "without a checksum" if s.checksum == "none" else f"with {s.checksum}"
        return f"text lines {check} on {s.port} ({s.baud} baud, {s.data_bits}{s.parity}{s.stop_bits})"

    def _wait(self, start_s: float) -> tuple[list[Line], int, bool]:
        """Wait for one more good line; also give the number of bad ones and whether any byte came."""
        lines: list[Line] = []
        bad, some, half = 0, False, not self._whole
        while not lines and self._clock.monotonic() - start_s < self._furnace.link.timeout_s:
            data = self._port.read(1)
            if not data:
                continue
            some = True
            if data not in b"\r\n":
                self._clock.sleep(_GATHER_S)
            lines, worse = self._good(self._split(data + self._port.read_waiting()))
            bad += worse
            if half and self._whole:  # the line thrown away after opening takes nothing off the timeout
                start_s, half = self._clock.monotonic(), False
        return lines, bad, some

    def _split(self, data: bytes) -> list[bytes]:
        """Cut complete lines off the buffer; what stands before the first line end after opening is thrown away."""
        *lines, self._buffer = _END.split(self._buffer + data)
        if lines and not self._whole:
            del lines[0]
            self._whole = True
        if len(self._buffer) > LONGEST_LINE:
            self._last_bad, self._buffer, self._whole = self._buffer[:40], b"", False
        for line in lines:
            if line.startswith(b"#") and len(line) <= LONGEST_LINE and (told := self._reader.event(line)):
                self._events.append(told)
        return [line for line in lines if line and not line.startswith(b"#")]

    def _good(self, lines: Sequence[bytes]) -> tuple[list[Line], int]:
        good: list[Line] = []
        for data in lines:
            line = self._reader.parse(data) if len(data) <= LONGEST_LINE else None
            if line is not None and self._furnace.link.agree_within is not None:
                line, self._before = (line if self._agrees(line) else None), line
            if line is None:
                self._last_bad = data[:40]
            else:
                good.append(line)
        return good, len(lines) - len(good)

    def _agrees(self, line: Line) -> bool:
        """Whether a line says the same as the one before it, within what the furnace file allows."""
        before, within = self._before, self._furnace.link.agree_within or 0.0
        if before is None or line.faults != before.faults:
            return False
        contacts = {contact.name for contact in self._furnace.contacts}
        pairs = [
            (value, before.values[name], 0.0 if name in contacts else within) for name, value in line.values.items()
        ]
        return all(a == b or (a is not None and b is not None and abs(a - b) <= least) for a, b, least in pairs)

    def _reading(self, lines: Sequence[Line], bad: int, age_s: float) -> Reading:
        newest = lines[-1]
        values = dict(newest.values)
        for contact in self._furnace.contacts:  # a short press between two readings counts
            if any(line.values[contact.name] == 1.0 for line in lines):
                values[contact.name] = 1.0
        lost, texts = self._count(lines)
        texts += tuple(self._events)
        self._events.clear()
        missed = bad if self._sequence is None else lost
        return Reading(values=values, faults=newest.faults, texts=texts, missed=missed, age_s=age_s)

    def _count(self, lines: Sequence[Line]) -> tuple[int, tuple[str, ...]]:
        """Follow the sequence numbers: how many lines were lost, and a sentence for each gap or restart."""
        lost, texts = 0, []
        for line in lines:
            last, now = self._sequence, line.sequence
            if now is None:
                continue
            self._sequence = now
            if last is None or now in (last, last + 1) or (last + 1 in _WRAPS and now <= 1):
                continue
            if now < last:
                texts.append(f"the instrument started again (its line count went from {last} to {now})")
            else:
                lost += now - last - 1
                first = f"{last + 1} to {now - 1}" if now - last > 2 else str(last + 1)
                texts.append(f"lines lost: {first}")
        return lost, tuple(texts)

    def _nothing(self, bad: int, some: bool) -> LinkError:
        name, timeout = self._port.name, duration(self._furnace.link.timeout_s)
        if bad:
            heard = f"{counted(bad, 'line')} within {timeout} and none is good"
            says = f"{name}: garbled, {heard}; the last was {self._last_bad!r}."
            return LinkError("garbled", f"{says} Check baud and parity, then pattern, separator and checksum.")
        if some and not self._whole:
            return LinkError("garbled", f"{name}: garbled, bytes but no end of a line within {timeout}. Check baud.")
        says = f"{name}: silent, no line within {timeout}."
        return LinkError("silent", f"{says} Check power and wiring; the timeout must be longer than between two lines.")


def listen(settings: LinkSettings, count: int = 2, clock: LinkClock | None = None) -> list[bytes]:
    """Give up to ``count`` whole lines as they come within the timeout; raises LinkError where none comes."""
    ticking: LinkClock = clock or time
    port = open_port(replace(settings, timeout_s=min(settings.timeout_s, _WAIT_S)))
    data = b""
    lines: list[bytes] = []
    until_s = ticking.monotonic() + settings.timeout_s
    try:
        while len(lines) < count and ticking.monotonic() < until_s:
            data += port.read(1) + port.read_waiting()
            lines = [line for line in _END.split(data)[1:-1] if line]  # the first may be half a line
    finally:
        port.close()
    if lines:
        return lines[-count:]
    if data:
        says = f"{settings.port}: garbled, bytes but no whole line within {duration(settings.timeout_s)}. Check baud."
        raise LinkError("garbled", says)
    raise LinkError("silent", f"{settings.port}: silent, no line within {duration(settings.timeout_s)}.")


def open_lines(furnace: Furnace, clock: LinkClock | None = None) -> LinesLink:
    """Open the port of a furnace file; raises LinkError."""
    settings = replace(furnace.link, timeout_s=min(furnace.link.timeout_s, _WAIT_S))
    return LinesLink(furnace, open_port(settings), clock)
