"""Alarms: a bell and a command of the user's, run without a shell and bounded in time."""

from __future__ import annotations

import contextlib
import os
import re
import signal
from collections.abc import Callable, Mapping
from typing import Protocol

from soakwitness.firmware_bridge.common.wording import duration
from soakwitness.firmware_bridge.furnace.sensors_and_links import Alarm
from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.recording.posting import ADDRESS, POSTING, WHY

KINDS = (
    "over-temperature",
    "sensor fault",
    "link lost",
    "soak complete",
    "soak overdue",
    "not to recipe",
    "record not being written",
    "record changed",
)
FLICKERING = ("over-temperature", "sensor fault", "link lost")  # what may come and go with every reading
AGAIN_S = 60.0  # a lasting alarm rings again; a flickering one that comes back sooner is still the same one
COMMAND_S = 30.0  # so long a command may run
LEAVE_S = 2.0  # and so long yet when the recording is over
COMMANDS = 4  # so many at once
_POST = "message of the alarm"
_UNFIT = re.compile(r"[^A-Z0-9_]")  # a shell cannot name a variable with these


class Started(Protocol):
    """A command that runs."""

    def poll(self) -> int | None:
        """Exit status, None while it runs."""
        ...

    def kill(self) -> None:
        """End it."""
        ...


Starter = Callable[[tuple[str, ...], Mapping[str, str]], Started]


class Command:
    """A command with all that it starts."""

    def __init__(self, words: tuple[str, ...], environment: Mapping[str, str]) -> None:
        import subprocess

        quiet = subprocess.DEVNULL
        self._child = subprocess.Popen(  # noqa: S603
            list(words), env=environment, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True
        )

    def poll(self) -> int | None:
        """Exit status, None while it runs."""
        return self._child.poll()

    def kill(self) -> None:
        """End it and what it started: a script that is ended alone leaves its own commands behind."""
        if os.name == "posix":
            os.killpg(self._child.pid, signal.SIGKILL)
        else:
            self._child.kill()

    def wait(self, timeout: float) -> int:
        """Wait for its exit status."""
        return self._child.wait(timeout)


def start_command(words: tuple[str, ...], facts: Mapping[str, str]) -> Command:
    """Run a command without a shell, the facts in its environment; raises OSError."""
    return Command(words, {**os.environ, **facts})


class Alarms:
    """Which alarms there are now.

    Facts reach the command as environment variables ``SOAKWITNESS_ALARM``, ``SOAKWITNESS_SAYS`` and one
    ``SOAKWITNESS_<NAME>`` for each of the caller's facts, what is no letter or digit in its name written as ``_``.
    """

    def __init__(
        self, settings: Alarm, clock: Clock, *, bell: Callable[[], None], starter: Starter = start_command
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._bell = bell
        self._starter = starter
        self._rung_s: dict[str, float] = {}
        self._says: dict[str, str] = {}
        self._begun: set[str] = set()
        self._running: list[tuple[Started, float, str]] = []
        self.failed: str | None = None  # what was wrong with a command; who tells it sets it back

    @property
    def now(self) -> dict[str, str]:
        """The alarms that stand, each with its sentence."""
        return dict(self._says)

    def set(self, key: str, says: str | None, facts: Mapping[str, str] | None = None, *, kind: str = "") -> bool:
        """Say how it stands with one alarm: a sentence while there is one, None while not.

        ``key``: which alarm; one of KINDS, or several of a kind told apart by more words.
        """
        if says is None:
            self._says.pop(key, None)
            self._begun.discard(key)
            return False
        self._says[key] = says
        kind, begins = kind or key, key not in self._begun
        quiet_s = self._clock.monotonic() - self._rung_s.get(key, -AGAIN_S)
        if quiet_s < AGAIN_S and (kind in FLICKERING or not begins):
            return False
        self._rung_s[key] = self._clock.monotonic()
        if self._settings.bell:
            self._bell()
        if begins:
            self._begun.add(key)
            self._run(kind, says, facts or {})
        return begins

    def tend(self) -> None:
        """End commands that run for too long."""
        now_s = self._clock.monotonic()
        still = []
        for started, began_s, what in self._running:
            if (status := started.poll()) is not None:
                if what == _POST and status:
                    self.failed = f"the alarm was not told to the address of post: {WHY.get(status, 'it failed')}"
                continue
            if now_s - began_s > COMMAND_S:
                self._end(started)
                self.failed = f"the {what} ran for over {duration(COMMAND_S)} and was ended"
                continue
            still.append((started, began_s, what))
        self._running = still

    def close(self) -> None:
        """Leave the commands that still run a moment, then end them."""
        until_s = self._clock.monotonic() + LEAVE_S
        while any(started.poll() is None for started, *_ in self._running) and self._clock.monotonic() < until_s:
            self._clock.sleep(0.1)
        for started, *_ in self._running:
            if started.poll() is None:
                self._end(started)
        self._running = []

    @staticmethod
    def _end(started: Started) -> None:
        with contextlib.suppress(OSError):
            started.kill()

    def _run(self, kind: str, says: str, facts: Mapping[str, str]) -> None:
        named = {"SOAKWITNESS_" + _UNFIT.sub("_", name.upper()): text for name, text in facts.items()}
        told = {**named, "SOAKWITNESS_ALARM": kind, "SOAKWITNESS_SAYS": says}
        if self._settings.post:
            self._start(_POST, POSTING, {**told, ADDRESS: self._settings.post})
        if self._settings.command:
            self._start("alarm command", self._settings.command, told)

    def _start(self, what: str, words: tuple[str, ...], told: Mapping[str, str]) -> None:
        if len(self._running) >= COMMANDS:
            says = told["SOAKWITNESS_SAYS"]
            self.failed = f"{COMMANDS} alarm commands are still running; none was started for: {says}"
            return
        try:
            started = self._starter(words, told)
        except OSError as error:
            self.failed = f"the {what} {words[0]!r} cannot be run: {error.strerror or error}"
            return
        self._running.append((started, self._clock.monotonic(), what))
