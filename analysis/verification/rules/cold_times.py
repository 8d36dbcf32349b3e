"""When a furnace was cold between two heats, reading by reading: each charge is judged by its own. No numpy."""

from __future__ import annotations

import math
from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.passing import began_anew_c
from soakwitness.firmware_bridge.runfolder.contents import Act

WARM_C = 100.0
APART_S = 900.0  # from one stand to the other: a shorter one is a cold charge, or a door
AFTERWARDS: tuple[Act, ...] = ("pull", "plates", "hand-warm")


@dataclass(frozen=True)
class Cold:
    """A time in which the furnace was cold: from, coldest, to [s]."""

    since_s: float
    coldest_s: float
    until_s: float

    def parted_s(self, act: Act | None = None) -> float:
        """From when on [s] what was done is of the heat after it.

        A load into a cold furnace is for the next one, a pull from the one before.
        """
        if act == "load":
            return self.since_s
        return self.until_s if act in AFTERWARDS else self.coldest_s


class ColdTimes:
    """Finds the times in which a furnace was cold, between two in which it was hot."""

    def __init__(self) -> None:
        self._hottest_c = -math.inf
        self._since_s: float | None = None
        self._at = (0.0, math.inf)

    def follow(self, t_s: float, temp_c: float) -> Cold | None:
        """Take the next reading [degC]; the cold time that ended with it."""
        self._hottest_c = max(self._hottest_c, temp_c)
        cold_c = began_anew_c(self._hottest_c)
        if self._since_s is None:
            if self._hottest_c > WARM_C and temp_c < cold_c:
                self._since_s, self._at = t_s, (t_s, temp_c)
        elif temp_c < self._at[1]:
            self._at = t_s, temp_c
        elif temp_c > max(cold_c, self._at[1] + WARM_C):
            found = Cold(self._since_s, self._at[0], t_s)
            self._hottest_c, self._since_s = temp_c, None
            return found
        return None


def parts(left: Edges | None, again: Edges | None) -> bool:
    """Whether a cold time parts two heats: the first hold stood before it and stands after it, far enough apart."""
    return left is not None and again is not None and again.enter_s - left.leave_s >= APART_S


def comes_back(recipe: Recipe) -> bool:
    """Whether a recipe comes back to its first temperature: it may be cold between by itself, and is never parted."""
    first, *later = recipe.holds
    return recipe.repeat > 1 or any(h.cycle != first.cycle or h.lower_c <= first.target_c <= h.upper_c for h in later)
