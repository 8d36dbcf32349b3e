"""The wire between minimalmodbus and a port: keeps pauses, ends a refused read early, remembers, lets nothing else out.

minimalmodbus always waits for as many bytes as a good reply has, so that an exception reply would cost the whole
timeout; here it ends as soon as it is complete. A late reply to an older question is told by its form, noted, and kept
from the one that is waited for.
"""

from __future__ import annotations

from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import LinkSettings
from soakwitness.firmware_bridge.links.base import LinkClock
from soakwitness.firmware_bridge.links.block_questions import Questions
from soakwitness.firmware_bridge.links.blocks import Form
from soakwitness.firmware_bridge.links.checksums import crc16_modbus
from soakwitness.firmware_bridge.links.port import Port

READ_ONLY = (3, 4)
_SHORTEST_RTU = 5  # unit, function + 0x80, code, two of CRC
_SHORTEST_ASCII = 11  # colon, four times two digits, CR, LF
_LOOK_EVERY_S = 0.005
_QUIET_LOOKS = 4  # so many looks without a byte end what came unasked
_MOST_LOOKS = 200


class Wire:
    """What minimalmodbus takes for a serial port. Function codes other than 3 and 4 never leave it."""

    def __init__(self, port: Port, settings: LinkSettings, clock: LinkClock, questions: Questions) -> None:
        self.port: str | None = None  # minimalmodbus keeps times by port name; ours are kept here
        self.is_open = True
        self.timeout = self._longest_s = settings.timeout_s
        self._port = port
        self._ascii = settings.framing == "ascii"
        self._echoes = settings.echo
        self._unit = settings.unit_id
        self._silence_s = settings.silence_s or 0.0
        self._clock = clock
        self._questions = questions
        self._last_s = clock.monotonic() - self._silence_s
        self._request = b""
        self._reply = b""
        self._behind = b""
        self._echo_may_come = False
        self.takes_refusals = True  # whether a refusal can only be the answer to the last request, or may pass for it
        self.passed_refusals = False
        self.stray = False  # set where a whole reply came that nobody waited for
        self.again = False  # whether the last reply may be what came before, once more
        self.anothers = False  # whether the same was said of another block before

    @property
    def baudrate(self) -> int:
        """Speed, for the standard's silence between frames."""
        return self._port.baudrate

    def open(self) -> None:
        """Do nothing: the port is opened by ``links.port`` alone."""

    def close(self) -> None:
        """Do nothing: the link closes its port."""

    def reset_input_buffer(self) -> None:
        """Note late replies and throw away whatever else came unasked."""
        if not self.alone():
            self._questions.disturbed(self._clock.monotonic())

    def reset_output_buffer(self) -> None:
        """Do nothing: every request has left before the next one."""

    def write(self, request: bytes) -> None:
        """Send a request after the pause the furnace file asks for."""
        plain = self._plain(request)
        if len(plain) < 6 or plain[1] not in READ_ONLY:
            function = plain[1] if len(plain) > 1 else "?"
            raise LinkError("refused", f"{self._port.name}: function code {function} is never sent; this is a logger.")
        left_s = self._last_s + self._silence_s - self._clock.monotonic()
        if left_s > 0:
            self._clock.sleep(left_s)
        if not self._sort(self._gather()):  # after the silence; minimalmodbus empties the input before it
            self._questions.disturbed(self._clock.monotonic())
            raise LinkError("garbled", f"{self._port.name}: garbled, bytes came that nobody had asked for.")
        self._request, self._reply, self._behind, self._echo_may_come = bytes(request), b"", b"", True
        self.passed_refusals = False
        self._questions.ask(self._asked(), self._clock.monotonic())
        self._port.write(self._request)

    def read(self, size: int) -> bytes:
        """Read the reply to the request, or what came instead within the timeout."""
        asked_s = self._clock.monotonic()
        self._reply = self._await(asked_s + self.timeout)
        self._last_s = self._clock.monotonic()
        if self._is_own(self._reply):
            self._questions.took_s.append(self._last_s - asked_s)
        return self._reply

    def _await(self, until_s: float) -> bytes:
        """Pass over late replies until the one that is waited for is whole, or something else came, or time is up."""
        data = b""
        while True:
            while len(data) >= self._need(data) > 0:
                frame, data = data[: self._need(data)], data[self._need(data) :]
                older = self._is_refusal(frame) and not self.takes_refusals
                self.passed_refusals = self.passed_refusals or older
                if self._is_own(frame) and not older:
                    self._behind = data
                    self.anothers = self._questions.was_of_another(frame, self._clock.monotonic())
                    self.again = self._questions.saw(frame, self._clock.monotonic())
                    return frame
                if not self._passes(frame):
                    return frame + data + self._gather()
            if self._clock.monotonic() >= until_s:
                return data if data or self._echo_may_come or self._echoes else self._request
            data += self._port.read(self._need(data) - len(data))

    def alone(self, listen_s: float = 0.0) -> bool:
        """Whether nothing followed the reply but late replies to older questions, or the same bytes again.

        A reply that came twice passes for the answer to a later question of its form; then the true one follows it
        within the time that answers take.
        """
        behind, self._behind = self._behind, b""
        until_s = min(self._last_s + listen_s, self._last_s + 2 * max(self._questions.took_s, default=0.0))
        while not behind and self._clock.monotonic() < until_s:
            self._clock.sleep(_LOOK_EVERY_S)
            behind = self._port.read_waiting()
        return self._sort(self._gather(behind))

    def echoed(self) -> bool:
        """Whether what came begins with what was sent."""
        size = min(len(self._request), len(self._reply))
        return size >= 7 and self._request[:size] == self._reply[:size]

    def echo_missing(self) -> bool:
        """Whether the adapter should have handed back what was sent and did not."""
        return self._echoes and self._echo_may_come

    def refused(self) -> bool:
        """Whether what came is an exception reply to the last request and nothing else."""
        return self._is_own(self._reply) and self._is_refusal(self._reply)

    def damaged(self) -> bool:
        """Whether what came is as long as the reply would be, or begins as it would: it came, but not whole."""
        function, count = self._asked()
        head = bytes([self._unit, function, 2 * count])
        begins = b":" + head.hex().upper().encode() if self._ascii else head
        return not self.echoed() and (len(self._reply) == self._size(count) or self._reply.startswith(begins))

    def _gather(self, data: bytes = b"") -> bytes:
        """Read what is there, and what follows it without a pause."""
        data, quiet = data + self._port.read_waiting(), 0
        for _ in range(_MOST_LOOKS if data else 0):
            self._clock.sleep(_LOOK_EVERY_S)
            more = self._port.read_waiting()
            data, quiet = data + more, 0 if more else quiet + 1
            if quiet >= _QUIET_LOOKS:
                break
        return data

    def _sort(self, data: bytes) -> bool:
        """Note the late replies in what came unasked; say whether there was nothing else."""
        while data:
            frame, data = data[: self._need(data)], data[self._need(data) :]
            if frame == self._reply and frame:
                self._questions.doubled(self._clock.monotonic())
            elif not frame or not self._passes(frame):
                return False
        return True

    def _passes(self, frame: bytes) -> bool:
        """Take a frame that is not waited for; say whether it is known what it is."""
        now_s, plain = self._clock.monotonic(), self._plain(frame)
        if self._echo_may_come and frame == self._request:
            self._echo_may_come = False
            return True
        form = self._form(plain)
        again = bool(plain) and self._questions.saw(frame, now_s)
        if form is not None and self._questions.may_come(form, now_s):
            if again:
                return True
            self._questions.late(form, now_s)
            if (took_s := self._questions.lateness_s or 0.0) <= self._longest_s:
                self._questions.took_s.append(took_s)
            return True
        if self._is_refusal(frame):
            waiting = self._questions.under_way(plain[1] & 0x7F, now_s)
            self._questions.disturbed(now_s)
            if len(waiting) == 1 and not again:
                self._questions.answered(waiting[0])
            if waiting:
                return True
        if form is not None or self._is_refusal(frame):
            self.stray = True
            self._questions.doubled(now_s)
        return False

    def _is_own(self, frame: bytes) -> bool:
        """Whether it is a reply, good or exception, that answers the last request."""
        plain = self._plain(frame)
        if not plain or plain[0] != self._unit:
            return False
        return self._form(plain) == self._asked() or (self._is_refusal(frame) and plain[1] & 0x7F == self._asked()[0])

    def _asked(self) -> Form:
        plain = self._plain(self._request)
        return plain[1], plain[4] << 8 | plain[5]

    def _form(self, plain: bytes) -> Form | None:
        """Give the form of a good reply of our unit, None for anything else."""
        good = len(plain) > 3 and plain[0] == self._unit and plain[2] == len(plain) - 3 and plain[2] % 2 == 0
        return (plain[1], plain[2] // 2) if good and plain[1] in READ_ONLY else None

    def _is_refusal(self, frame: bytes) -> bool:
        plain = self._plain(frame)
        return len(plain) == 3 and plain[0] == self._unit and plain[1] & 0x7F in READ_ONLY and plain[1] & 0x80 != 0

    def _size(self, registers: int) -> int:
        """Bytes of a good reply with so many registers."""
        return _SHORTEST_ASCII + 4 * registers if self._ascii else _SHORTEST_RTU + 2 * registers

    def _need(self, data: bytes) -> int:
        """Bytes of the frame that begins here, as far as its beginning tells."""
        if self._ascii:
            end = data.find(b"\r\n") + 2
            if end > 1:
                return end
            head = data[1:7].decode("ascii", "replace")
            function, registers = _hex(head[2:4]), _hex(head[4:6]) // 2
        else:
            function, registers = (data[1], data[2] // 2) if len(data) > 2 else (0, 0)
        need, sent = self._size(0 if function & 0x80 else registers), len(self._request)
        if not self._echo_may_come or not self._request.startswith(data[:sent]):
            return need
        return sent if len(data) >= need and not self._plain(data[:need]) else min(need, sent)

    def _plain(self, frame: bytes) -> bytes:
        """Unit, function and data of a frame whose checksum is right, else nothing."""
        if not self._ascii:
            return frame[:-2] if len(frame) > 4 and crc16_modbus(frame) == 0 else b""
        try:
            data = bytes.fromhex(frame.decode("ascii").removeprefix(":").removesuffix("\r\n"))
        except ValueError:
            return b""
        return data[:-1] if sum(data) & 0xFF == 0 else b""


def _hex(digits: str) -> int:
    try:
        return int(digits, 16)
    except ValueError:
        return 0
