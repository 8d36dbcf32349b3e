"""Errors of this wing. Each message names the offending value, where it stands and the next step."""

from __future__ import annotations

from typing import Literal

LinkReason = Literal["missing", "busy", "no permission", "silent", "garbled", "echo", "refused"]


class BridgeError(Exception):
    """Base of everything this wing raises on purpose.

    ``exit_code`` is the process exit status a command gives for it. ``says`` is its sentence for whoever reads it, in a
    terminal or on a page; ``str`` is it for a terminal.
    """

    exit_code = 1

    def __init__(self, says: object) -> None:
        self.says = says  # a text, or what is rendered where it is read: this room imports nothing
        super().__init__(str(says))


class FurnaceFileError(BridgeError):
    """A furnace file that cannot be used: names file, key, value and what is allowed."""

    exit_code = 2


class RunFolderError(BridgeError):
    """A run folder that cannot be made or read."""

    exit_code = 2


class UnknownZone(BridgeError):
    """A time zone that is none, or that this computer does not know."""

    exit_code = 2


class DoubtfulHour(BridgeError):
    """A local time that a change of the clocks skips or repeats."""

    exit_code = 2


class LinkError(BridgeError):
    """The instrument could not be reached or did not answer usably.

    ``reason``: one of ``missing``, ``busy``, ``no permission``, ``silent``, ``garbled``, ``echo``, ``refused``.
    ``says``: one sentence with the port, the reason and the next step.
    """

    def __init__(self, reason: LinkReason, says: str) -> None:
        super().__init__(says)
        self.reason: LinkReason = reason

    @property
    def exit_code(self) -> int:  # type: ignore[override]
        """2 where the port itself is wrong (missing, busy, no permission), else 1."""
        return 2 if self.reason in ("missing", "busy", "no permission") else 1
