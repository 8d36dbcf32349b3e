"""Opens the link that a furnace file describes."""

from __future__ import annotations

from dataclasses import replace

from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links.base import Link, LinkClock


def open_link(furnace: Furnace, *, clock: LinkClock | None = None) -> Link:
    """Open the port and return the link; raises LinkError with the reason told apart.

    ``clock``: time for waits and ages, the real one by default. A simulated furnace runs at this clock's pace; its
    link's own waits are then in real time, as its bytes are.
    """
    if furnace.link.kind == "simulated":
        from soakwitness.firmware_bridge.simulated.serving import reach

        furnace, clock = replace(furnace, link=reach(furnace, clock=clock)), None
    if furnace.link.kind == "lines":
        from soakwitness.firmware_bridge.links.lines import open_lines

        return open_lines(furnace, clock)
    from soakwitness.firmware_bridge.links.modbus import open_modbus

    return open_modbus(furnace, clock)
