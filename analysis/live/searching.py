"""The search of ``verification.assignment``, block by block while the readings come. Standard library only."""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left, bisect_right
from statistics import fmean, median

from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.rules.places import searched
from soakwitness.analysis.verification.rules.states import (
    BLOCK_S,
    LONGEST_BLOCKS,
    MOST_POINTS,
    NUMBERS,
    Assignment,
    Costs,
    Facts,
    slope_windows_s,
    stays_of,
    transitions,
)

Slopes = tuple[float, float]


class Search:
    """Which part of a course so far belongs to which hold of a recipe.

    ``period_s`` [s] is the distance of readings, ``resolution_c`` [K] their step. A block's slopes look ten minutes
    ahead: the last blocks are weighed anew when one comes, the others stand.
    """

    def __init__(self, recipe: Recipe, *, period_s: float, resolution_c: float, block_s: float = BLOCK_S) -> None:
        self._recipe, self._period_s, self._resolution_c = searched(recipe), period_s, resolution_c
        self.block_s = max(block_s, period_s)
        go = transitions(recipe.holds)
        self._first = go[0]
        self._into = [
            [(one, costs[to]) for one, costs in enumerate(go) if costs[to] < math.inf] for to in range(len(go))
        ]
        self._costs: Costs | None = None
        self._begin()

    def _begin(self) -> None:
        self._t, self._temp = array("d"), array("d")
        self._left, self._right = array("d"), array("d")
        self._totals: list[list[float]] = []
        self._came: list[bytes] = []
        self._open: list[tuple[float, float]] = []  # readings of the newest block
        self._start_s: float | None = None
        self._weighed = 0  # blocks whose slopes and costs stand
        self._stale = True

    @property
    def full(self) -> bool:
        """Whether it has more blocks than a search needs: time to begin again with longer ones."""
        return len(self._t) >= MOST_POINTS

    def add(self, t_s: float, temp_c: float) -> bool:
        """Take a reading; whether a new block began with it."""
        if self._start_s is None:
            self._start_s = t_s
        one_each = self.block_s <= 1.01 * self._period_s
        number = int((t_s - self._start_s) / self.block_s)
        new = bool(self._open) and (one_each or number > int((self._open[0][0] - self._start_s) / self.block_s))
        if new:
            self._open.clear()
        self._open.append((t_s, temp_c))
        at_s, middle_c = fmean(t for t, _ in self._open), median(c for _, c in self._open)
        if new or not self._t:
            self._stale = True
            self._t.append(at_s)
            self._temp.append(middle_c)
        else:
            self._t[-1], self._temp[-1] = at_s, middle_c
        return new

    def begin_again(self, course: KeptReadings, *, longer: bool = False) -> None:
        """Go through a course from its beginning: readings of it turned out to be none, or blocks are to be longer."""
        self.block_s *= 2.0 if longer else 1.0
        self._begin()
        for t_s, temp_c in zip(course.t_s, course.temp_c, strict=True):
            self.add(t_s, temp_c)

    def assignment(self) -> Assignment:
        """Stays of each hold, as the blocks so far tell them."""
        self._weigh()
        path: list[tuple[int, float, float]] = []
        state = min(range(len(self._first)), key=self._totals[-1].__getitem__)
        last = len(self._t) - 1
        for row in range(last, -1, -1):
            before = self._came[row][state] if row else -1
            if before != state:
                path.append((state, self._t[row], self._t[last]))
                state, last = before, row - 1
        return stays_of(self, reversed(path), self._recipe)

    @property
    def state(self) -> int:
        """The state of the newest block, see ``verification.states.transitions``."""
        self._weigh()
        return min(range(len(self._first)), key=self._totals[-1].__getitem__)

    def _weigh(self) -> None:
        """Costs and cheapest ways of the blocks whose slopes reach beyond what was there at the last weighing."""
        t, count = self._t, len(self._t)
        if not self._stale:
            return
        self._stale = False
        if self._costs is None or not self._totals:
            self._costs = Costs(
                self._recipe, resolution_c=self._resolution_c, start_c=self._temp[0], arithmetic=NUMBERS
            )
        windows = slope_windows_s(self.block_s)
        del self._totals[self._weighed :], self._came[self._weighed :]
        del self._left[self._weighed :], self._right[self._weighed :]
        for row in range(self._weighed, count):
            self._weigh_one(row, self._costs, windows)
        settled = bisect_left(t, t[-1] - windows[-1]) if count else 0
        self._weighed = max(0, min(settled, count - 1))

    def _weigh_one(self, row: int, costs: Costs, windows: tuple[float, ...]) -> None:
        t, count = self._t, len(self._t)
        sides = [self._slopes(row, window_s) for window_s in windows]
        sizes = [[abs(slope) for slope in pair] for pair in sides]
        facts = Facts(
            self._temp[row],
            *sides[0],
            flat_c_per_h=min(min(pair) for pair in sizes),
            slow_c_per_h=max(sides[-1]),
            still_c_per_h=min(min(pair) for pair in sizes[1:]),
        )
        self._left.append(sides[0][0])
        self._right.append(sides[0][1])
        length_s = t[row + 1] - t[row] if row + 1 < count else self.block_s
        cost = costs.of(facts, min(length_s, LONGEST_BLOCKS * self.block_s) / 60.0)
        if row == 0:
            self._came.append(bytes(len(cost)))
            self._totals.append([go + mine for go, mine in zip(self._first, cost, strict=True)])
            return
        before, total, came = self._totals[row - 1], [], bytearray()
        for into, mine in zip(self._into, cost, strict=True):
            least, best = math.inf, 0
            for one, go in into:
                reach = before[one] + go
                if reach < least:
                    least, best = reach, one
            total.append(least + mine)
            came.append(best)
        self._came.append(bytes(came))
        self._totals.append(total)

    def _slopes(self, row: int, window_s: float) -> Slopes:
        """Slopes [degC/h] over about ``window_s`` [s] to the left and to the right of a block."""
        t, y, last = self._t, self._temp, len(self._t) - 1
        if last < 1:
            return 0.0, 0.0
        left = right = math.nan
        if row > 0:
            back = min(bisect_left(t, t[row] - window_s), row - 1)
            left = (y[row] - y[back]) / (t[row] - t[back]) * 3600.0
        if row < last:
            ahead = max(min(bisect_right(t, t[row] + window_s) - 1, last), row + 1)
            right = (y[ahead] - y[row]) / (t[ahead] - t[row]) * 3600.0
        return (right, right) if row == 0 else (left, left) if row == last else (left, right)

    # What verification.states asks of blocks

    def coldest_c(self, since_s: float, until_s: float) -> float:
        """Lowest median between two moments [s]; inf without a block."""
        return min(self._temp[bisect_left(self._t, since_s) : bisect_left(self._t, until_s)], default=math.inf)

    def level_runs(
        self, slope_c_per_h: float, between_c: tuple[float, float], between_s: tuple[float, float]
    ) -> list[tuple[list[float], list[float]]]:
        """Times [s] and medians [degC] of every run of blocks within two levels, the slope to a side below a limit."""
        self._weigh()
        found: list[tuple[list[float], list[float]]] = []
        low, high = bisect_left(self._t, between_s[0]), bisect_right(self._t, between_s[1])
        ends = -1
        for row in range(low, high):
            flat = min(abs(self._left[row]), abs(self._right[row])) < slope_c_per_h
            if flat and between_c[0] < self._temp[row] < between_c[1]:
                if ends != row - 1 or not found:
                    found.append(([], []))
                found[-1][0].append(self._t[row])
                found[-1][1].append(self._temp[row])
                ends = row
        return found
