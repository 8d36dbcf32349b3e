"""Which hold of the recipe the furnace is at, reading by reading. Standard library only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from soakwitness.analysis.live.counting import SoakCount
from soakwitness.analysis.recipes.recipe import Hold

Phase = Literal["before", "in", "above", "below"]
ROOM_C = 20.0
HEATS_AGAIN_C, OVERSHOOT_C, MOST_OF_IT = 15.0, 20.0, 0.5
COOLED_SHARE = 0.5  # of the way from the band down to room temperature: no door does that to a furnace


class HoldTracker:
    """Follows the chamber through the holds of a recipe.

    ``index`` is the hold it is in or was in last (None before the first), ``phase`` where the chamber stands to it:
    ``above`` only where the next hold is hotter and the climb to it may have begun. After a reading ``came_back`` says
    that such a climb, or leaving the band downwards, was none, ``began_anew`` which hold is being tried once more.
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
        """Take one reading of the chamber."""
        entered = self._entered(chamber_c)
        back = entered is not None and entered == self.index
        self.came_back = back and (self.phase == "below" or (self.phase == "above" and self._overshot()))
        self.began_anew = entered if entered is not None and self._is_anew(entered) else None
        if entered is not None and (entered != self.index or self.began_anew is not None):
            self._enter(entered)
        elif entered is not None:
            self.phase = "in"
            self._highest_c = self._holds[entered].upper_c
        elif self.index is not None:
            climbs = chamber_c > self._holds[self.index].upper_c and self._climbs_next()
            self.phase = "above" if climbs else "below"
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
            following = self._after_cooling(self.index)
            if following > self.index or self._heats_again():
                return following
            return None if self._done(self.index) else self.index
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
            begin = self._after_cooling(self.index)
            after = self._first_from(begin, chamber_c)
            return after if after is not None and self._rises_into(after) else None
        hold = self._holds[self.index]
        too_hot_in_it = chamber_c > hold.upper_c and not self._climbs_next()
        if hold.lower_c <= chamber_c <= hold.upper_c or too_hot_in_it:
            return self.index
        return self._first_from(self.index + 1, chamber_c)

    def _after_cooling(self, number: int) -> int:
        """Hold to come once the furnace has cooled well below one: the next, or the first of a new attempt."""
        following = number + 1
        if following < len(self._holds) and (self._done(number) or self._repeats(number)):
            return following
        return self._first_of_cycle(number)

    def _repeats(self, number: int) -> bool:
        """The next hold is at the same level, and this one had most of its soak: a short soak, not a broken one."""
        same = abs(self._holds[number + 1].target_c - self._holds[number].target_c) <= self._holds[number].above_c
        return same and self.soak_s >= MOST_OF_IT * self._holds[number].required_s

    def _overshot(self) -> bool:
        """The way above the band was too short to be a climb that was broken off."""
        hold = self._holds[self.index or 0]
        return self._highest_c <= hold.upper_c + max(OVERSHOOT_C, 2.0 * hold.above_c)

    def _rises_into(self, number: int) -> bool:
        """It comes from well below, or it is a colder hold reached from above."""
        hold = self._holds[number]
        colder = self.index is not None and number > self.index and hold.target_c < self._holds[self.index].lower_c
        return self._lowest_c < hold.lower_c - HEATS_AGAIN_C or colder

    def _heats_again(self) -> bool:
        return self._last is not None and self._last[1] > self._lowest_c + HEATS_AGAIN_C

    def _first_of_cycle(self, number: int) -> int:
        return next(at for at, hold in enumerate(self._holds) if hold.cycle == self._holds[number].cycle)

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
