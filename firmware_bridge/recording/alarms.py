"""Alarms: a bell and a command of the user's, run without a shell and bounded in time."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Mapping
from typing import Protocol

from soakwitness.firmware_bridge.furnace.model import Alarm
from soakwitness.firmware_bridge.recording.clocks import Clock

KINDS = (
    "over-temperature",
    "sensor fault",
    "link lost",
    "soak complete",
    "soak overdue",
    "record not being written",
)
AGAIN_S = 60.0  # a lasting alarm rings again
COMMAND_S = 30.0  # so long a command may run
COMMANDS = 4  # so many at once


class Started(Protocol):
    """A command that runs."""

    def poll(self) -> int | None:
        """Exit status, None while it runs."""
        ...

    def kill(self) -> None:
        """End it."""
        ...


Starter = Callable[[tuple[str, ...], Mapping[str, str]], Started]


def start_command(words: tuple[str, ...], facts: Mapping[str, str]) -> Started:
    """Run a command without a shell, the facts in its environment; raises OSError."""
    import subprocess

    quiet = subprocess.DEVNULL
    environment = {**os.environ, **facts}
    return subprocess.Popen(  # noqa: S603
        list(words), env=environment, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True
    )


class Alarms:
    """Which alarms there are now. ``raised`` returns True when an alarm begins.

    Facts reach the command as environment variables ``SOAKWITNESS_ALARM``, ``SOAKWITNESS_SAYS`` and one
    ``SOAKWITNESS_<NAME>`` for each of the caller's facts.
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
        self._running: list[tuple[Started, float]] = []
        self.failed: str | None = None  # what was wrong with the last command

    @property
    def now(self) -> dict[str, str]:
        """The alarms that stand, each with its sentence."""
        return dict(self._says)

    def set(self, key: str, says: str | None, facts: Mapping[str, str] | None = None, *, kind: str = "") -> bool:
        """Say how it stands with one alarm: a sentence while there is one, None while not.

        Parameters
        ----------
        key : str
            Which alarm; one of KINDS, or several of a kind told apart by more words.
        kind : str
            Its kind, where that is not the key.

        Returns
        -------
        bool
            Whether it began now.
        """
        if says is None:
            self._says.pop(key, None)
            self._rung_s.pop(key, None)
            return False
        begins = key not in self._says
        self._says[key] = says
        now_s = self._clock.monotonic()
        if begins or now_s - self._rung_s.get(key, now_s) >= AGAIN_S:
            self._rung_s[key] = now_s
            if self._settings.bell:
                self._bell()
        if begins:
            self._run(kind or key, says, facts or {})
        return begins

    def tend(self) -> None:
        """End commands that run for too long."""
        now_s = self._clock.monotonic()
        still = []
        for started, began_s in self._running:
            if started.poll() is not None:
                continue
            if now_s - began_s > COMMAND_S:
                with contextlib.suppress(OSError):
                    started.kill()
                self.failed = f"the alarm command ran for over {COMMAND_S:.0f} s and was ended"
                continue
            still.append((started, began_s))
        self._running = still

    def _run(self, kind: str, says: str, facts: Mapping[str, str]) -> None:
        if not self._settings.command:
            return
        if len(self._running) >= COMMANDS:
            self.failed = f"{COMMANDS} alarm commands are still running; none was started for: {says}"
            return
        named = {f"SOAKWITNESS_{name.upper()}": text for name, text in facts.items()}
        told = {**named, "SOAKWITNESS_ALARM": kind, "SOAKWITNESS_SAYS": says}
        try:
            started = self._starter(self._settings.command, told)
        except OSError as error:
            self.failed = f"the alarm command {self._settings.command[0]!r} cannot be run: {error.strerror or error}"
            return
        self.failed = None
        self._running.append((started, self._clock.monotonic()))
