"""The rack in which packets stand upright side by side, as ``[rack]`` of a furnace file says it.

It stands there and not in the packet file: it is the furnace's furniture and is written into every run with the furnace
file, while a measured packet goes with its foil from one rack into another.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, cast

from soakwitness.firmware_bridge.common import tables
from soakwitness.firmware_bridge.common.tables import Table
from soakwitness.firmware_bridge.errors import FurnaceFileError

StandsOn = Literal["floor", "shelf"]
KEYS = ("slots", "spacing_mm", "width_mm", "length_mm", "stands_on")
MOST_SLOTS = 30


@dataclass(frozen=True)
class Rack:
    """``slots`` in a row, ``spacing_mm`` [mm] from the middle of one to the middle of the next.

    ``width_mm`` and ``length_mm`` [mm] are those of the usual packet: it stands on its edge, so its width is its
    height. ``stands_on`` the closed floor, or a shelf that lets the heat in from below.
    """

    slots: int
    spacing_mm: float
    width_mm: float = 40.0
    length_mm: float = 250.0
    stands_on: StandsOn = "floor"

    def slot_of(self, place: str | None) -> int | None:
        """Slot, from 1 on, that a piece's place names; None where it names none of the rack's."""
        return slot_told(place, self.slots)


def slot_told(place: str | None, slots: int = MOST_SLOTS) -> int | None:
    """The one number that the words for a place have, as far as there are so many slots."""
    numbers = re.findall(r"\d+", place or "")
    slot = int(numbers[0]) if len(numbers) == 1 and len(numbers[0]) < 4 else 0
    return slot if 1 <= slot <= slots else None


def read_rack(table: Table | None) -> Rack | None:
    """Check ``[rack]``; a mistake names line, key, value and what is allowed."""
    if table is None:
        return None
    table.check_keys(KEYS)
    table.required("slots", "how many packets stand side by side")
    table.required("spacing_mm", "from the middle of one slot to the middle of the next, in mm")
    return Rack(
        slots=table.whole("slots", 1, MOST_SLOTS, 1),
        spacing_mm=table.number("spacing_mm", 0.0, low=1.0, high=500.0, unit="mm"),
        width_mm=table.number("width_mm", Rack.width_mm, low=5.0, high=500.0, unit="mm"),
        length_mm=table.number("length_mm", Rack.length_mm, low=20.0, high=2000.0, unit="mm"),
        stands_on=cast(StandsOn, table.choice("stands_on", ("floor", "shelf"), Rack.stands_on)),
    )


def rack_in(furnace_file: str | None) -> Rack | None:
    """The rack in the text of a run's furnace file; None where it describes none, or where nobody can read it."""
    if not furnace_file:
        return None
    try:
        return read_rack(tables.parse(furnace_file, "the run's furnace file", FurnaceFileError).table("rack"))
    except FurnaceFileError:  # it was checked when the run began: another release's, or not this program's
        return None
