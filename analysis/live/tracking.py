"""Which hold of the recipe the furnace is at, reading by reading. Standard library only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from soakwitness.analysis.live.counting import SoakCount
from soakwitness.analysis.recipes.model import Hold

Phase = Literal["before", "in", "above", "below"]
ROOM_C = 20.0
COOLED_SHARE = 0.5  # of the way from the band down to room temperature: no door does that to a furnace


class HoldTracker:
    """Follows the chamber through the holds of a recipe.

    ``index`` is the hold it is in or was in last (None before the first), ``phase`` where the chamber stands to it:
    ``above`` only where the next hold is hotter and the climb to it may have begun. After a reading ``came_back`` says
    that such a climb was none, ``began_anew`` which hold is being tried once more.

    Parameters
    ----------
    holds : sequence of Hold
        Holds in order, temperatures in degC.
    """

    def __init__(self, holds: Sequence[Hold]) -> None:
        self._holds = tuple(holds)
        self.index: int | None = None
        self.phase: Phase = "before"
        self._lowest_c, self._highest_c = float("inf"), float("-inf")
        self._last: tuple[float, float] | None = None
        self._count: SoakCount | None = None
        self.came_back = False
        self.began_anew: int | None = None

    @property
    def soak_s(self) -> float:
        """Soak of the chamber itself in the hold it is in or was in last [s]."""
        return self._count.soak_s if self._count else 0.0

    def read(self, t_s: float, chamber_c: float) -> None:
        """Take one reading of the chamber.

        Parameters
        ----------
        t_s : float
            Time [s].
        chamber_c : float
            Chamber [degC].
        """
        entered = self._entered(chamber_c)
        self.came_back = entered is not None and entered == self.index and self.phase == "above"
        self.began_anew = entered if entered is not None and self._is_anew(entered) else None
        if entered is not None and (entered != self.index or self.began_anew is not None):
            self._enter(entered)
        elif entered is not None:
            self.phase = "in"
        elif self.index is not None:
            self.phase = "above" if chamber_c > self._holds[self.index].upper_c else "below"
        self._lowest_c = chamber_c if self.phase == "in" else min(self._lowest_c, chamber_c)
        self._highest_c = max(self._highest_c, chamber_c)
        if self._count is not None and self._last is not None and self.phase != "above":
            self._count.add(t_s - self._last[0], self._last[1], chamber_c)
        self._last = (t_s, chamber_c)

    def go_on(self) -> None:
        """Turn to the next hold: the pieces were taken out and loaded again while the furnace stayed hot."""
        if self.index is not None and self.index + 1 < len(self._holds):
            self._enter(self.index + 1)

    @property
    def aim(self) -> int | None:
        """Hold that the chamber is in or on its way to; None after the last."""
        if self.index is None:
            return 0 if self._holds else None
        if self.phase == "above":
            return self.index + 1
        if self.phase == "below" and self._cooled(self.index):
            if not self._done(self.index):
                return 0 if self._holds[0].cycle == self._holds[self.index].cycle else self.index
            return self.index + 1 if self.index + 1 < len(self._holds) else None
        return self.index

    def counts_for(self, number: int, chamber_c: float) -> bool:
        """Whether soak can count for a hold: not while the chamber still comes down to it [degC]."""
        if number == self.index:
            return True
        before_c = self._holds[self.index].target_c if self.index is not None else self._lowest_c
        return chamber_c <= self._holds[number].upper_c or before_c < self._holds[number].target_c

    def _enter(self, number: int) -> None:
        hold = self._holds[number]
        self.index, self.phase, self._highest_c = number, "in", hold.upper_c
        self._count = SoakCount(hold.lower_c, hold.dip_s)

    def _is_anew(self, number: int) -> bool:
        """A hold entered once more after the furnace had cooled: a new attempt."""
        return self.index is not None and number <= self.index and self.phase == "below" and self._cooled(self.index)

    def _entered(self, chamber_c: float) -> int | None:
        """Hold whose band the chamber is in now."""
        if self.index is None:
            return self._first_from(0, chamber_c)
        if self.phase == "below" and self._cooled(self.index):
            if self._done(self.index):
                later = self._first_from(self.index + 1, chamber_c)
                if later is not None:
                    return later
            else:
                again = self._first_from(0, chamber_c)
                if again is not None and self._holds[again].cycle == self._holds[self.index].cycle:
                    return again
        hold = self._holds[self.index]
        too_hot_in_it = chamber_c > hold.upper_c and not self._climbs_next() and self.phase == "in"
        if hold.lower_c <= chamber_c <= hold.upper_c or too_hot_in_it:
            return self.index
        return self._first_from(self.index + 1, chamber_c)

    def _first_from(self, number: int, chamber_c: float) -> int | None:
        for at in range(number, len(self._holds)):
            hold = self._holds[at]
            from_above = at > 0 and self._holds[at - 1].target_c > hold.target_c
            been_above = not from_above or self._highest_c > hold.upper_c
            if hold.lower_c <= chamber_c <= hold.upper_c and been_above:
                return at
        return None

    def _climbs_next(self) -> bool:
        if self.index is None or self.index + 1 >= len(self._holds):
            return False
        return self._holds[self.index + 1].target_c > self._holds[self.index].target_c

    def _cooled(self, number: int) -> bool:
        return self._lowest_c < ROOM_C + COOLED_SHARE * (self._holds[number].lower_c - ROOM_C)

    def _done(self, number: int) -> bool:
        return self._count is not None and self._count.longest_s >= self._holds[number].required_s
