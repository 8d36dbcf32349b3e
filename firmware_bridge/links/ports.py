"""Which serial ports there are, under which name each stays the same, and whether it can be used."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soakwitness.firmware_bridge.links.port import lock_path
from soakwitness.firmware_bridge.runfolder.lock import holder_words, is_held, read_holder

_BY_ID = Path("/dev/serial/by-id")


@dataclass(frozen=True)
class PortInfo:
    """One serial port. ``stable`` is None where the system gives no name that stays; ``state`` is in words."""

    port: str
    stable: str | None
    what: str
    state: str

    @property
    def best(self) -> str:
        """The name for a furnace file."""
        return self.stable or self.port


def list_ports() -> list[PortInfo]:
    """List the serial ports of this computer, those with a stable name first."""
    from serial.tools.list_ports import comports

    return describe_ports(comports(), _BY_ID)


def describe_ports(found: Iterable[Any], by_id: Path) -> list[PortInfo]:
    """Describe ports as ``comports`` gives them, with the stable names that links in ``by_id`` give."""
    stable = _stable_names(by_id)
    ports = [
        PortInfo(
            port=item.device,
            stable=stable.get(os.path.realpath(item.device)),
            what=_what(item),
            state=_state(item.device),
        )
        for item in found
    ]
    return sorted(ports, key=lambda info: (info.stable is None, info.port))


def _stable_names(by_id: Path) -> dict[str, str]:
    try:
        links = sorted(by_id.iterdir())
    except OSError:
        return {}
    return {os.path.realpath(link): str(link) for link in links}


def _what(item: Any) -> str:
    words = [item.manufacturer, item.product or item.description, item.serial_number]
    known = [str(word) for word in words if word and word != "n/a"]
    return ", ".join(dict.fromkeys(known)) or "serial port"


def _state(port: str) -> str:
    path = lock_path(port)
    if path is not None and is_held(path):
        return f"busy: {holder_words(read_holder(path))} has it"
    if os.name == "posix" and not os.path.exists(port):
        return "not there any more"
    if os.name == "posix" and not os.access(port, os.R_OK | os.W_OK):
        return "no permission"
    return "can be opened"
