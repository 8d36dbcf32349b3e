"""A serial port and a clock that exist only in memory: answers arrive when the test says, waiting takes no time."""

from __future__ import annotations

from collections.abc import Callable, Iterable

Answer = Iterable[tuple[float, bytes]]


class FakeClock:
    """Time that passes only when somebody waits."""

    def __init__(self, now_s: float = 1000.0) -> None:
        self.now_s = now_s

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float, /) -> None:
        assert seconds >= 0
        self.now_s += seconds


class FakeSerial:
    """Has what ``links.port.Port`` uses of a pyserial port.

    ``answer`` gives, for what is written, pieces of bytes and how many seconds later each arrives.
    """

    def __init__(self, clock: FakeClock, answer: Callable[[bytes], Answer], timeout: float = 0.2) -> None:
        self.baudrate = 115200
        self.timeout = timeout
        self.written: list[tuple[float, bytes]] = []
        self.failing: Exception | None = None
        self.closed = False
        self._clock = clock
        self._answer = answer
        self._coming: list[tuple[float, bytes]] = []
        self._here = bytearray()

    def arrives(self, delay_s: float, data: bytes) -> None:
        self._coming.append((self._clock.now_s + delay_s, data))
        self._coming.sort(key=lambda item: item[0])

    def write(self, data: bytes) -> int:
        self._check()
        self.written.append((self._clock.now_s, bytes(data)))
        for delay_s, piece in self._answer(bytes(data)):
            self.arrives(delay_s, piece)
        return len(data)

    @property
    def in_waiting(self) -> int:
        self._check()
        while self._coming and self._coming[0][0] <= self._clock.now_s:
            self._here += self._coming.pop(0)[1]
        return len(self._here)

    def read(self, size: int = 1) -> bytes:
        until_s = self._clock.now_s + self.timeout
        while self.in_waiting < size:
            next_s = self._coming[0][0] if self._coming else until_s
            if next_s >= until_s:
                self._clock.now_s = until_s
                break
            self._clock.now_s = next_s
        data = bytes(self._here[:size])
        del self._here[:size]
        return data

    def reset_input_buffer(self) -> None:
        _ = self.in_waiting
        self._here.clear()

    def close(self) -> None:
        self.closed = True

    def _check(self) -> None:
        if self.failing:
            raise self.failing
