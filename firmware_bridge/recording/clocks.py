"""Clocks: steady seconds that never jump and go on through suspend, and the wall clock beside them."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Protocol

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class Clock(Protocol):
    """What recording needs of time. ``boot`` names the time base of ``monotonic``; None where nothing does.

    Two processes with the same ``boot`` may compare their ``monotonic`` seconds.
    """

    boot: str | None
    speed: float  # so many of its seconds pass in one of the computer's

    def monotonic(self) -> float:
        """Seconds on a clock that does not jump and goes on through suspend."""
        ...

    def utc_s(self) -> float:
        """Seconds since 1970 as the computer's clock shows them now; it may jump."""
        ...

    def wall_s(self) -> float:
        """Seconds since 1970 as other programs on this computer see them, such as the one that hands over a mark."""
        ...

    def sleep(self, seconds: float, /) -> None:
        """Wait."""
        ...


def _steady_s() -> float:
    """Steady seconds, suspend counted: on macOS CLOCK_MONOTONIC does that, Python's time.monotonic does not."""
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    if sys.platform == "darwin":
        return time.clock_gettime(time.CLOCK_MONOTONIC)
    return time.monotonic()


class RealClock:
    """The computer's own clocks."""

    speed = 1.0

    def __init__(self) -> None:
        try:
            self.boot: str | None = _BOOT_ID.read_text().strip() or None
        except OSError:
            self.boot = None

    def monotonic(self) -> float:
        """Seconds since the computer started, suspend included."""
        return _steady_s()

    def utc_s(self) -> float:
        """Seconds since 1970."""
        return time.time()

    def wall_s(self) -> float:
        """Seconds since 1970."""
        return time.time()

    def sleep(self, seconds: float, /) -> None:
        """Wait."""
        if seconds > 0:
            time.sleep(seconds)


class FastClock:
    """Both clocks running ``speed`` times faster from now on, for the simulated furnace."""

    boot: str | None = None  # its seconds mean nothing to another process

    def __init__(self, speed: float) -> None:
        self.speed = speed
        self._began_s = _steady_s()
        self._began_utc_s = time.time()

    def monotonic(self) -> float:
        """Fast seconds."""
        return (_steady_s() - self._began_s) * self.speed

    def utc_s(self) -> float:
        """Seconds since 1970, running ahead."""
        return self._began_utc_s + self.monotonic()

    def wall_s(self) -> float:
        """Seconds since 1970, not running ahead."""
        return time.time()

    def sleep(self, seconds: float, /) -> None:
        """Wait for that many fast seconds."""
        if seconds > 0:
            time.sleep(seconds / self.speed)
