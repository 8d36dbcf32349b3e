"""Several heats in one record, told while it runs: only the one at hand is the clock's. Standard library only.

The rule is that of ``verification.heats``: parted where the furnace was cold again and the first hold stood once more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from soakwitness.analysis.live.followed_sensors import FollowedSensor
from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.live.searching import Search
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.results.verification import PieceInfo
from soakwitness.analysis.verification.rules.cold_times import Cold, ColdTimes, comes_back, parts
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.places import places_of
from soakwitness.firmware_bridge.runfolder.contents import Mark

FEWEST_READINGS = 20
ASK_EVERY_S = 30.0


class Parting:
    """Follows the chamber for where the heat at hand began; ``last`` is the cold time before it, None in the first."""

    def __init__(self, recipe: Recipe) -> None:
        self._first = None
        if recipe.holds and not comes_back(recipe):
            number = recipe.holds[0].number
            self._first = replace(recipe, steps=tuple(s for s in recipe.steps if s.number <= number))
        self._times = ColdTimes()
        self._pending: Cold | None = None
        self._asked_s = 0.0
        self.last: Cold | None = None

    def begin_again(self, course: KeptReadings) -> None:
        """Follow another sensor, or one whose past turned out other than it was."""
        self._times, self._pending = ColdTimes(), None
        if self._first is not None:
            for t_s, temp_c in zip(course.t_s, course.temp_c, strict=True):
                self._pending = self._times.follow(t_s, temp_c) or self._pending

    def follow(self, chamber: FollowedSensor) -> bool:
        """Take the chamber's newest reading; whether a new heat is told by it now."""
        first, course = self._first, chamber.kept
        if first is None or not len(course):
            return False
        now_s, now_c = course.t_s[-1], course.temp_c[-1]
        self._pending = self._times.follow(now_s, now_c) or self._pending
        hold, cold = first.holds[0], self._pending
        if cold is None or now_s - self._asked_s < ASK_EVERY_S or not hold.lower_c <= now_c <= hold.upper_c:
            return False
        self._asked_s = now_s
        again = _stand(course, first, cold.coldest_s, now_s)
        if again is None:
            return False
        self._pending = None
        if not parts(_stand(course, first, course.t_s[0], cold.coldest_s), again):
            return False
        self.last = cold
        return True

    def marks(self, marks: Sequence[Mark]) -> tuple[Mark, ...]:
        """Those of the heat at hand."""
        return tuple(m for m in marks if self.last is None or m.t_s >= self.last.parted_s(m.act))

    def pieces(self, marks: Sequence[Mark], known: Sequence[PieceInfo]) -> tuple[PieceInfo, ...]:
        """Pieces of the log book that are in the heat at hand: named in it, or nowhere."""
        mine = _named(self.marks(marks))
        elsewhere = _named(marks) - mine
        return tuple(piece for piece in known if piece.id.casefold() not in elsewhere)


def _named(marks: Sequence[Mark]) -> set[str]:
    return {name.casefold() for mark in marks if not mark.struck for name in mark.pieces}


def _stand(course: KeptReadings, first: Recipe, since_s: float, until_s: float) -> Edges | None:
    """Where the first hold stood between two moments [s]; None where it did not."""
    part = KeptReadings(every_s=course.every_s, resolution_c=course.resolution_c)
    low, high = course.between(since_s, until_s)
    for t_s, temp_c in zip(course.t_s[low:high], course.temp_c[low:high], strict=True):
        part.add(t_s, temp_c)
    if len(part) < FEWEST_READINGS:
        return None
    search = Search(first, period_s=part.period_s, resolution_c=part.resolution_c)
    search.begin_again(part)
    placed = places_of(part, first, search.assignment(), search)[0]
    return None if placed is None else placed.edges
