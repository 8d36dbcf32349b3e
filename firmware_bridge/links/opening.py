"""Opens the link that a furnace file describes."""

from __future__ import annotations

from soakwitness.firmware_bridge.furnace.model import Furnace
from soakwitness.firmware_bridge.links.base import Clock, Link


def open_link(furnace: Furnace, *, clock: Clock | None = None) -> Link:
    """Open the port and return the link; raises LinkError with the reason told apart.

    Parameters
    ----------
    furnace : Furnace
        A checked furnace file.
    clock : Clock, optional
        Time for waits; the real one by default.
    """
    raise NotImplementedError
