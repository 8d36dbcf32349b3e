"""Which act comes next: one press of a foot switch or of the space bar means load, pull or plates."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from soakwitness.firmware_bridge.furnace.sensors_and_links import Contact
from soakwitness.firmware_bridge.marks.charges import read_charges
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark

Loading = Literal["cold", "hot", "unknown"]
WARM_C = 200.0


def next_act(marks: Iterable[Mark], *, loading: Loading = "unknown", temp_c: float | None = None) -> Act:
    """The act that is expected next.

    A pull is followed by plates. Loaded cold, everything after the plates is the next pull, and a first press in a warm
    furnace (over 200 degC) is a pull. Else a load is expected once nothing that was loaded is in any more, as
    ``common.charges`` reads the marks.

    ``marks``: marks of this run so far, in their order; struck ones do not count. ``loading``: how the recipe loads:
    ``cold`` (one charge rides the ramp), ``hot`` (into the hot furnace) or ``unknown``.
    """
    marks = tuple(marks)
    acts = [mark.act for mark in marks if not mark.struck and mark.act in ("load", "pull", "plates")]
    if acts and acts[-1] == "pull":
        return "plates"
    if loading == "cold":
        cold = not acts and (temp_c is None or temp_c < WARM_C)
        return "load" if cold else "pull"
    return "pull" if any(stay.load_s is not None for stay in read_charges(marks).inside) else "load"


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
