"""Which part of a trace belongs to which hold: an ordered search anchored in the recipe.

The trace is reduced to block medians; every block is in one of the states *before*, *climbing* to a hold, *holding* it,
*interrupted* in it, *lost* on the way to it, or *cooling*. The cheapest path through these states (Viterbi) is the
assignment. A hold can be skipped, a run can end early, an interruption can split a hold or send the run back to an
earlier step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.inputs.readings import ROOM_C

MOST_POINTS = 4000
BLOCK_S = 10.0
MOST_IN_BLOCK = 30
SLOPE_S = 120.0
LEVEL_S = (300.0, 600.0)
# Costs per minute and per transition, found on synthetic runs (tests/synthetic.py draws such runs; no outside source).
OUTSIDE_MOST = 0.8
INTERRUPTED = 0.08
SKIP = 4.0
LEVEL = 0.9
BEFORE_WARM = 0.3
FAR_C = 30.0
FAR_MORE = 100.0
HOT_C = 60.0
HOT_BELOW_C = 60.0
PARTS = 4
INTERRUPT = 1.5
AGAIN = 2.0
FURTHER_BACK = 0.5
COOLING_C_PER_H = 15.0
FULL_POWER_C_PER_H = 400.0
FASTEST_REFERENCE_C_PER_H = 100.0


@dataclass(frozen=True)
class Blocks:
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


@dataclass(frozen=True)
class BandStay:
    """A stretch of the trace in one hold, from the first to the last block [s]."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class Assignment:
    """Stays of each hold, in the recipe's order; empty where the run has no such hold.

    ``begin_s`` is the end of an earlier attempt at that hold which does not count, else None.
    """

    stays: tuple[tuple[BandStay, ...], ...]
    begin_s: tuple[float | None, ...]


def block_medians(t_s: FloatArray, temp_c: FloatArray, period_s: float) -> Blocks:
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
    left, right = _slopes(at, middle, max(SLOPE_S, 2 * block_s))
    sides = [left, right]
    for window_s in LEVEL_S:
        sides += _slopes(at, middle, max(window_s, 2 * block_s))
    slow = np.maximum(sides[-2], sides[-1])
    still = np.min(np.abs(sides[2:]), axis=0)
    return Blocks(at, middle, left, right, np.min(np.abs(sides), axis=0), slow, still, block_s)


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


def assign(blocks: Blocks, recipe: Recipe, *, resolution_c: float) -> Assignment:
    """Find the stays of each hold."""
    cost = _costs(blocks, recipe, resolution_c)
    path = _cheapest(cost, _transitions(recipe.holds))
    return _stays(blocks, path, recipe)


def _entry_rates(recipe: Recipe) -> list[float]:
    """Rate of the ramp into each hold [degC/h]."""
    rates: list[float] = []
    rate: float | None = None
    for step in recipe.steps:
        if isinstance(step, Ramp):
            rate = step.rate_c_per_h or step.min_rate_c_per_h
        else:
            rates.append(rate or FULL_POWER_C_PER_H)
    return rates


def slope_reference(recipe: Recipe, number: int, resolution_c: float) -> float:
    """Slope that tells climbing from holding at hold ``number`` [degC/h].

    Returns A quarter of the slowest neighbouring rate, between two resolution steps a window and 100 degC/h.
    """
    rates = _entry_rates(recipe)
    slowest = min(rates[number : number + 2])
    return max(2.0 * resolution_c / SLOPE_S * 3600.0, min(slowest / 4.0, FASTEST_REFERENCE_C_PER_H))


def _costs(blocks: Blocks, recipe: Recipe, resolution_c: float) -> FloatArray:
    """Cost of every block in every state, shape (m, states), in the order of ``_transitions``."""
    holds = recipe.holds
    temp, left, right = blocks.temp_c, blocks.left_c_per_h, blocks.right_c_per_h
    flat = blocks.flat_c_per_h
    slope = (left + right) / 2.0
    cost = np.zeros((temp.size, 2 + PARTS * len(holds)))
    start_c = float(temp[0])
    # A furnace that loses its heat over half a day still cools: only a slope over ten minutes shows it.
    slowest = COOLING_C_PER_H + 2.0 * resolution_c / LEVEL_S[-1] * 3600.0
    hot = (temp >= min(h.lower_c - HOT_BELOW_C for h in holds)).astype(np.float64)
    for number, hold in enumerate(holds):
        reference = slope_reference(recipe, number, resolution_c)
        cost[:, 1 + PARTS * number : 1 + PARTS * (number + 1)] = _hold_costs(
            temp,
            flat,
            slope,
            blocks.still_c_per_h / slowest,
            hot,
            hold,
            holds[number - 1].target_c if number else start_c,
            reference,
        )
    reference = slope_reference(recipe, len(holds) - 1, resolution_c)
    cost[:, 0] = np.clip(slope / reference, 0.0, 1.0) + np.where(
        hot > 0.0, 1.0, BEFORE_WARM * np.clip((temp - HOT_C) / HOT_C, 0.0, 1.0)
    )
    level = np.clip(1.0 + blocks.slow_c_per_h / slowest, 0.0, 1.0)
    cost[:, -1] = np.clip(slope / reference, 0.0, 1.0) + level * hot
    minutes = np.diff(blocks.t_s, append=blocks.t_s[-1] + blocks.block_s) / 60.0
    return cost * np.minimum(minutes, 3.0 * blocks.block_s / 60.0)[:, None]


def _hold_costs(
    temp: FloatArray,
    flat: FloatArray,
    slope: FloatArray,
    still: FloatArray,
    hot: FloatArray,
    hold: Hold,
    from_c: float,
    reference: float,
) -> FloatArray:
    """Costs of climbing to one hold, holding it, being interrupted in it or before it; shape (m, 4)."""
    half = (hold.below_c + hold.above_c) / 2.0
    outside = np.maximum(np.maximum(hold.lower_c - temp, temp - hold.upper_c), 0.0)
    sign = 1.0 if hold.target_c >= from_c else -1.0
    low, high = sorted((from_c, hold.target_c))
    beyond = np.maximum(np.maximum(low - hold.below_c - temp, temp - high - hold.above_c), 0.0)
    if sign > 0:
        beyond = np.maximum(temp - high - hold.above_c, 0.0)
    climbing = np.clip(1.0 - sign * slope / reference, 0.0, 1.0) + np.minimum(beyond / 10.0, 1.5)
    far = FAR_MORE * np.clip(outside / FAR_C - 1.0, 0.0, 1.0)
    holding = np.minimum(outside / (2.0 * half), OUTSIDE_MOST) + far + np.minimum(flat / (4.0 * reference), 1.0)
    # Cut off, a furnace falls or climbs again; standing still while hot is another hold.
    level = np.clip(1.0 - still, 0.0, 1.0) * hot
    interrupted = INTERRUPTED + (outside <= 0.0) + LEVEL * level
    return np.column_stack((climbing, holding, interrupted, interrupted))


def _transitions(holds: tuple[Hold, ...]) -> FloatArray:
    """Cost of going from state to state: before, (climbing, holding, interrupted, lost) a hold, cooling."""
    count = len(holds)
    states = 2 + PARTS * count
    go = np.full((states, states), np.inf)
    np.fill_diagonal(go, 0.0)
    end = states - 1
    first = [1 + PARTS * number for number in range(count)]
    go[0, first] = SKIP * np.arange(count)
    go[0, end] = SKIP * count
    for at in range(count):
        climb, hold, cut, lost = range(first[at], first[at] + PARTS)
        go[climb, hold] = go[cut, hold] = 0.0
        go[hold, cut] = go[climb, lost] = INTERRUPT
        go[[hold, cut], end] = SKIP * (count - 1 - at)
        go[[climb, lost], end] = SKIP * (count - at)
        for to in range(count):
            if to > at:
                # A further hold at the same temperature needs something in between.
                again = holds[to].lower_c <= holds[at].target_c <= holds[to].upper_c
                go[hold, first[to]] = SKIP * (to - at - 1 + 2 * again)
                go[cut, first[to]] = SKIP * (to - at - 1)
                go[[climb, lost], first[to]] = SKIP * (to - at)
            else:
                go[[cut, lost], first[to]] = AGAIN + FURTHER_BACK * (at - to)
    return go


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


def _stays(blocks: Blocks, path: np.ndarray, recipe: Recipe) -> Assignment:
    """Turn the path into stays; only the last attempt of each hold counts."""
    count = len(recipe.holds)
    changes = np.flatnonzero(np.diff(path, prepend=-1))
    every: list[tuple[int, BandStay]] = []
    for first, after in zip(changes, [*changes[1:], path.size], strict=True):
        number, part = divmod(int(path[first]) - 1, PARTS)
        if not 1 <= path[first] <= PARTS * count:
            continue
        if part == 1:
            half_s = blocks.block_s / 2.0
            every.append((number, BandStay(float(blocks.t_s[first]) - half_s, float(blocks.t_s[after - 1]) + half_s)))
    stays = tuple(_last_attempt(blocks, every, number, recipe.holds[number]) for number in range(count))
    begins = tuple(
        max((s.end_s for n, s in every if n == number and many and s.end_s < many[0].start_s), default=None)
        for number, many in enumerate(stays)
    )
    return Assignment(stays, begins)


def _last_attempt(blocks: Blocks, every: list[tuple[int, BandStay]], number: int, hold: Hold) -> tuple[BandStay, ...]:
    """Stays of one hold since the furnace last went cold or held another step: all that belong to one attempt."""
    kept: list[BandStay] = []
    for other, stay in reversed(every):
        if other != number and kept:
            break
        if other == number:
            if kept and _was_cold(blocks, stay.end_s, kept[0].start_s, hold):
                break
            kept.insert(0, stay)
    return tuple(kept)


def _was_cold(blocks: Blocks, since_s: float, until_s: float, hold: Hold) -> bool:
    """Tell whether the furnace lost more than half of its heat since: what follows is a new attempt."""
    part = blocks.temp_c[np.searchsorted(blocks.t_s, since_s) : np.searchsorted(blocks.t_s, until_s)]
    return bool(part.size) and float(part.min()) < (hold.target_c + ROOM_C) / 2.0
