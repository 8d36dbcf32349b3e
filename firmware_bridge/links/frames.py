"""The wire between minimalmodbus and a port: keeps pauses, ends a refused read early, remembers, lets nothing else out.

minimalmodbus always waits for as many bytes as a good reply has, so that an exception reply would cost the whole
timeout; here it ends as soon as it is complete.
"""

from __future__ import annotations

from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import LinkSettings
from soakwitness.firmware_bridge.links.base import LinkClock
from soakwitness.firmware_bridge.links.checksums import crc16_modbus
from soakwitness.firmware_bridge.links.port import Port

READ_ONLY = (3, 4)
_SHORTEST_RTU = 5  # unit, function + 0x80, code, two of CRC
_SHORTEST_ASCII = 11  # colon, four times two digits, CR, LF


class Wire:
    """What minimalmodbus takes for a serial port. Function codes other than 3 and 4 never leave it."""

    def __init__(self, port: Port, settings: LinkSettings, clock: LinkClock) -> None:
        self.port: str | None = None  # minimalmodbus keeps times by port name; ours are kept here
        self.is_open = True
        self.timeout = settings.timeout_s
        self._port = port
        self._ascii = settings.framing == "ascii"
        self._silence_s = settings.silence_s or 0.0
        self._clock = clock
        self._last_s = clock.monotonic() - self._silence_s
        self._request = b""
        self._reply = b""

    @property
    def baudrate(self) -> int:
        """Speed, for the standard's silence between frames."""
        return self._port.baudrate

    def open(self) -> None:
        """Do nothing: the port is opened by ``links.port`` alone."""

    def close(self) -> None:
        """Do nothing: the link closes its port."""

    def reset_input_buffer(self) -> None:
        """Throw away what came unasked."""
        self._port.empty()

    def reset_output_buffer(self) -> None:
        """Do nothing: every request has left before the next one."""

    def write(self, request: bytes) -> None:
        """Send a request after the pause the furnace file asks for."""
        function = int(request[3:5], 16) if self._ascii else request[1]
        if function not in READ_ONLY:
            raise LinkError("refused", f"{self._port.name}: function code {function} is never sent; this is a logger.")
        left_s = self._last_s + self._silence_s - self._clock.monotonic()
        if left_s > 0:
            self._clock.sleep(left_s)
        if self.has_more():  # after the silence; minimalmodbus empties the input before it
            raise LinkError("garbled", f"{self._port.name}: garbled, bytes came that nobody had asked for.")
        self._request, self._reply = bytes(request), b""
        self._port.write(self._request)

    def read(self, size: int) -> bytes:
        """Read a reply of ``size`` bytes, or a complete exception reply, or what came within the timeout."""
        shortest = _SHORTEST_ASCII if self._ascii else _SHORTEST_RTU
        data = self._port.read(min(size, shortest))
        if len(data) == shortest < size and not self._is_refusal(data):
            data += self._port.read(size - shortest)
        self._last_s = self._clock.monotonic()
        self._reply += data
        return data

    def has_more(self) -> bool:
        """Whether bytes came that belong to no reply."""
        return self._port.waiting > 0

    def echoed(self) -> bool:
        """Whether what came begins with what was sent."""
        size = min(len(self._request), len(self._reply))
        return size >= 7 and self._request[:size] == self._reply[:size]

    def refused(self) -> bool:
        """Whether what came is an exception reply to the last request and nothing else."""
        return self._answers(self._reply.removeprefix(self._request))

    def is_answer(self, data: bytes) -> bool:
        """Whether late bytes are a whole reply, or the end of one, good or exception, to the last request."""
        return self._answers(data) or (len(data) > 0 and self._answers(self._reply + data))

    def _answers(self, data: bytes) -> bool:
        request, reply = self._plain(self._request), self._plain(data)
        if len(request) < 6 or len(reply) < 3 or reply[0] != request[0]:
            return False
        count = request[4] << 8 | request[5]
        good = reply[1] == request[1] and reply[2] == 2 * count and len(reply) == 3 + 2 * count
        return good or (reply[1] == request[1] | 0x80 and len(reply) == 3)

    def _plain(self, frame: bytes) -> bytes:
        """Unit, function and data of a frame whose checksum is right, else nothing."""
        if not self._ascii:
            return frame[:-2] if len(frame) > 4 and crc16_modbus(frame) == 0 else b""
        try:
            data = bytes.fromhex(frame.decode("ascii").removeprefix(":").removesuffix("\r\n"))
        except ValueError:
            return b""
        return data[:-1] if sum(data) & 0xFF == 0 else b""

    def _is_refusal(self, data: bytes) -> bool:
        plain = self._plain(data)
        return len(plain) == 3 and plain[1] & 0x80 != 0
