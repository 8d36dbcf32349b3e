"""Which part of a trace belongs to which hold: an ordered search anchored in the recipe.

The trace is reduced to block medians; every block is in one of the states *before*, *climbing* to a hold, *holding* it,
*interrupted* in it, *lost* on the way to it, or *cooling*. The cheapest path through these states (Viterbi) is the
assignment. A hold can be skipped, a run can end early, an interruption can split a hold or send the run back to an
earlier step. States and costs: ``states``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.inputs.readings import ARRAYS
from soakwitness.analysis.verification.rules.states import (
    BLOCK_S,
    LONGEST_BLOCKS,
    MOST_POINTS,
    Assignment,
    Costs,
    Facts,
    slope_windows_s,
    stays_of,
    transitions,
)

MOST_IN_BLOCK = 30


@dataclass(frozen=True)
class ArrayBlocks:
    """Block medians of a trace, shape (m,): times [s], temperatures [degC], slopes over 120 s to either side [degC/h].

    ``flat_c_per_h`` is the smallest slope over 120 to 600 s to either side: a controller's swing is still level.
    ``slow_c_per_h`` is the larger of the slopes over 600 s to either side, ``still_c_per_h`` the smallest
    size of those over 300 and 600 s.
    """

    t_s: FloatArray
    temp_c: FloatArray
    left_c_per_h: FloatArray
    right_c_per_h: FloatArray
    flat_c_per_h: FloatArray
    slow_c_per_h: FloatArray
    still_c_per_h: FloatArray
    block_s: float

    def coldest_c(self, since_s: float, until_s: float) -> float:
        """Lowest median between two moments [s]; inf without a block."""
        part = self.temp_c[np.searchsorted(self.t_s, since_s) : np.searchsorted(self.t_s, until_s)]
        return float(part.min()) if part.size else np.inf

    def level_runs(
        self, slope_c_per_h: float, between_c: tuple[float, float], between_s: tuple[float, float]
    ) -> list[tuple[list[float], list[float]]]:
        """Times [s] and medians [degC] of every run of blocks within two levels, the slope to a side below a limit."""
        flat = np.minimum(np.abs(self.left_c_per_h), np.abs(self.right_c_per_h)) < slope_c_per_h
        part = flat & (self.temp_c > between_c[0]) & (self.temp_c < between_c[1])
        part &= (self.t_s >= between_s[0]) & (self.t_s <= between_s[1])
        ends = np.flatnonzero(np.diff(np.concatenate(([False], part, [False])).astype(np.int8)))
        return [(self.t_s[a:b].tolist(), self.temp_c[a:b].tolist()) for a, b in ends.reshape(-1, 2)]


def block_medians(t_s: FloatArray, temp_c: FloatArray, period_s: float) -> ArrayBlocks:
    """Reduce a trace to block medians with slopes.

    Returns at most ``MOST_POINTS`` blocks of at least 10 s, empty ones left out; of more than 60 readings in a block
    every second or third and so on counts.
    """
    span = float(t_s[-1] - t_s[0])
    block_s = max(BLOCK_S, period_s, span / (MOST_POINTS - 1))
    every = max(1, int(block_s / period_s) // MOST_IN_BLOCK)
    t_s, temp_c = t_s[::every], temp_c[::every]
    if block_s <= 1.01 * period_s:
        at, middle = t_s, temp_c
    else:
        index = ((t_s - t_s[0]) / block_s).astype(np.intp)
        starts = np.flatnonzero(np.diff(index, prepend=-1))
        at, middle = _medians(t_s, temp_c, starts)
    sides: list[FloatArray] = []
    for window_s in slope_windows_s(block_s):
        sides += _slopes(at, middle, window_s)
    left, right = sides[:2]
    slow = np.maximum(sides[-2], sides[-1])
    still = np.min(np.abs(sides[2:]), axis=0)
    return ArrayBlocks(at, middle, left, right, np.min(np.abs(sides), axis=0), slow, still, block_s)


def _medians(t_s: FloatArray, temp_c: FloatArray, starts: np.ndarray) -> tuple[FloatArray, FloatArray]:
    """Medians of the blocks that begin at ``starts``: blocks of equal size are sorted together."""
    size = np.diff(starts, append=t_s.size)
    at, middle = np.empty(starts.size), np.empty(starts.size)
    for count in np.unique(size):
        rows = np.flatnonzero(size == count)
        take = starts[rows][:, None] + np.arange(count)
        middle[rows] = np.median(temp_c[take], axis=1)
        at[rows] = np.mean(t_s[take], axis=1)
    return at, middle


def _slopes(t_s: FloatArray, temp_c: FloatArray, window_s: float) -> tuple[FloatArray, FloatArray]:
    """Slopes [degC/h] over about ``window_s`` to the left and to the right of each point."""
    last = t_s.size - 1
    if last < 1:
        return np.zeros(t_s.size), np.zeros(t_s.size)
    here = np.arange(t_s.size)
    back = np.minimum(np.maximum(np.searchsorted(t_s, t_s - window_s), 0), here - 1)
    ahead = np.maximum(np.minimum(np.searchsorted(t_s, t_s + window_s, side="right") - 1, last), here + 1)
    back, ahead = np.maximum(back, 0), np.minimum(ahead, last)
    with np.errstate(invalid="ignore", divide="ignore"):
        left = np.where(here > 0, (temp_c - temp_c[back]) / (t_s - t_s[back]), np.nan) * 3600.0
        right = np.where(here < last, (temp_c[ahead] - temp_c) / (t_s[ahead] - t_s), np.nan) * 3600.0
    return np.where(np.isfinite(left), left, right), np.where(np.isfinite(right), right, left)


def assign(blocks: ArrayBlocks, recipe: Recipe, *, resolution_c: float) -> Assignment:
    """Find the stays of each hold."""
    costs = Costs(recipe, resolution_c=resolution_c, start_c=float(blocks.temp_c[0]), arithmetic=ARRAYS)
    t = blocks.t_s
    minutes = np.minimum(np.diff(t, append=t[-1] + blocks.block_s), LONGEST_BLOCKS * blocks.block_s) / 60.0
    facts = Facts(
        blocks.temp_c,
        blocks.left_c_per_h,
        blocks.right_c_per_h,
        blocks.flat_c_per_h,
        blocks.slow_c_per_h,
        blocks.still_c_per_h,
    )
    cost = np.column_stack(costs.of(facts, minutes))
    path = _cheapest(cost, np.asarray(transitions(recipe.holds)))
    firsts = np.flatnonzero(np.diff(path, prepend=-1))
    lasts = np.append(firsts[1:], path.size) - 1
    return stays_of(blocks, zip(path[firsts].tolist(), t[firsts].tolist(), t[lasts].tolist(), strict=True), recipe)


def _cheapest(cost: FloatArray, go: FloatArray) -> np.ndarray:
    """Cheapest path: the state of every block, shape (m,)."""
    rows, states = cost.shape
    came = np.empty((rows, states), dtype=np.intp)
    total = np.where(np.arange(states) == 0, 0.0, np.inf) + cost[0]
    total[1:] = go[0, 1:] + cost[0, 1:]
    into = np.ascontiguousarray(go.T)
    reach, first, at = np.empty_like(into), states * np.arange(states), np.empty(states, dtype=np.intp)
    every = reach.ravel()
    for here, best in zip(cost[1:], came[1:], strict=True):  # four calls a block, each into its own place
        np.add(into, total, out=reach)
        reach.argmin(axis=1, out=best)
        np.add(first, best, out=at)
        np.add(every.take(at), here, out=total)
    path = [int(total.argmin())]
    for best in came[:0:-1].tolist():
        path.append(best[path[-1]])
    return np.array(path[::-1], dtype=np.intp)
