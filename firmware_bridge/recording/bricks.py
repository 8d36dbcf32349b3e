"""How hot the bricks behind a door can be at most: from readings of the chamber alone. Pure.

With its door shut and nothing on, a chamber follows its bricks down, and both lose the same share of their heat. A door
takes the chamber from them within minutes: what falls faster than a shut furnace does tells nothing of the bricks. From
then on they are so many times hotter above the room as they were at its foot, and lose the same share again, the door
open or not. So what comes back behind a door stays below this bound, and what climbs over it was heated.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

ROOM_C = 20.0
SHUT_S = 80 * 60.0  # no shut furnace loses two thirds of its heat sooner; what falls faster is a door, or heat let go
STRAY_C = 2.0


@dataclass(frozen=True)
class Bricks:
    """The bound [degC], and the lowest of the chamber since it came up last."""

    most_c: float
    low_c: float

    def seen(self, temp_c: float, lately: Iterable[tuple[float, float]]) -> Bricks:
        """After the next moment of the chamber; ``lately``: (seconds ago, degC) of the last ten minutes."""
        if temp_c >= self.low_c:
            return Bricks(self.most_c, max(self.low_c, temp_c - 2 * STRAY_C))
        if any(_by_itself_c(before_c, ago_s) - temp_c > STRAY_C for ago_s, before_c in lately):
            return Bricks(self.most_c, temp_c)
        share = max(temp_c - ROOM_C, 0.0) / max(self.low_c - ROOM_C, 1.0)
        scaled_c = ROOM_C + share * (self.most_c - ROOM_C)
        return Bricks(min(self.most_c, max(scaled_c, temp_c)), temp_c)

    def heated(self, temp_c: float) -> Bricks:
        """While it is known to be heated they come to be as hot as the chamber was."""
        return Bricks(max(self.most_c, temp_c), self.low_c)


def _by_itself_c(before_c: float, ago_s: float) -> float:
    """To where it fell at most, shut."""
    return before_c - max(before_c - ROOM_C, 0.0) * min(ago_s / SHUT_S, 1.0)
