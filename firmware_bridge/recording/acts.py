"""Contacts that are acted: a foot switch, a door, the plates."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from soakwitness.firmware_bridge.furnace.sensors_and_links import Contact


@dataclass(frozen=True)
class Press:
    """A contact that was acted: which, and what it means (``next``: the next expected act)."""

    contact: str
    means: str


class Contacts:
    """Finds presses in the readings of contacts: the step from not acted to acted."""

    def __init__(self, contacts: Iterable[Contact]) -> None:
        self._contacts = tuple(contacts)
        self._acted: dict[str, bool] = {}

    def look(self, values: Mapping[str, float | None]) -> list[Press]:
        """Contacts acted since the reading before; the first reading only shows how they stand."""
        presses = []
        for contact in self._contacts:
            value = values.get(contact.name)
            if value is None:
                continue
            acted = value != 0.0
            if acted and self._acted.get(contact.name) is False:
                presses.append(Press(contact.name, contact.means))
            self._acted[contact.name] = acted
        return presses
