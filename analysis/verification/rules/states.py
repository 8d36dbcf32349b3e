"""The states of a run in its recipe, what they cost, and the stays that a path through them means. No numpy.

Every block of a trace is in one of the states *before*, *climbing* to a hold, *holding* it, *interrupted* in it, *lost*
on the way to it, or *cooling*. ``assignment`` looks for the cheapest path through a whole trace, ``live.searching``
block by block.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe

MOST_POINTS = 4000
BLOCK_S = 10.0
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
ROOM_C = 20.0
PARTS = 4
INTERRUPT = 1.5
AGAIN = 2.0
FURTHER_BACK = 0.5
COOLING_C_PER_H = 15.0
FULL_POWER_C_PER_H = 400.0
FASTEST_REFERENCE_C_PER_H = 100.0
LONGEST_BLOCKS = 3.0  # a block after a gap counts for no more
FEWEST_LEVEL = 3  # blocks


class Blocks(Protocol):
    """Block medians of a trace: how the rules ask for them, whether they are arrays or lists."""

    @property
    def block_s(self) -> float:
        """Length of a block [s]."""
        ...

    def coldest_c(self, since_s: float, until_s: float) -> float:
        """Lowest median between two moments [s]; inf without a block."""
        ...

    def level_runs(
        self, slope_c_per_h: float, between_c: tuple[float, float], between_s: tuple[float, float]
    ) -> list[tuple[list[float], list[float]]]:
        """Times [s] and medians [degC] of every run of blocks within two levels, the slope to a side below a limit."""
        ...


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


@dataclass(frozen=True)
class Facts:
    """What the costs of a block follow from: its median [degC] and its slopes [degC/h], see ``block_slopes``.

    Numbers for one block, or arrays for all of them.
    """

    temp_c: Any
    left_c_per_h: Any
    right_c_per_h: Any
    flat_c_per_h: Any
    slow_c_per_h: Any
    still_c_per_h: Any


@dataclass(frozen=True)
class Arithmetic:
    """Minimum, maximum and choice, for numbers or for arrays."""

    minimum: Callable[[Any, Any], Any]
    maximum: Callable[[Any, Any], Any]
    where: Callable[[Any, Any, Any], Any]

    def clip(self, value: Any) -> Any:
        """No less than 0, no more than 1."""
        return self.minimum(self.maximum(value, 0.0), 1.0)


def _where(condition: Any, one: Any, other: Any) -> Any:
    return one if condition else other


NUMBERS = Arithmetic(min, max, _where)


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
    """Slope that tells climbing from holding at a hold, by its index among the recipe's holds [degC/h].

    A quarter of the slowest neighbouring rate, between two steps of the reading ``resolution_c`` [K] a window and
    100 degC/h.
    """
    rates = _entry_rates(recipe)
    slowest = min(rates[number : number + 2])
    return max(2.0 * resolution_c / SLOPE_S * 3600.0, min(slowest / 4.0, FASTEST_REFERENCE_C_PER_H))


class Costs:
    """Cost of a block in every state, in the order of ``transitions``, for numbers or for arrays.

    ``start_c`` is the first block's median [degC].
    """

    def __init__(self, recipe: Recipe, *, resolution_c: float, start_c: float, arithmetic: Arithmetic) -> None:
        self._holds, self._calc = recipe.holds, arithmetic
        self._references = [slope_reference(recipe, number, resolution_c) for number in range(len(self._holds))]
        self._froms = [start_c, *(hold.target_c for hold in self._holds)][: len(self._holds)]
        # A furnace that loses its heat over half a day still cools: only a slope over ten minutes shows it.
        self._slowest = COOLING_C_PER_H + 2.0 * resolution_c / LEVEL_S[-1] * 3600.0
        self._hot_c = min(hold.lower_c - HOT_BELOW_C for hold in self._holds)

    def of(self, facts: Facts, minutes: Any) -> list[Any]:
        """Costs of blocks that stand for so many minutes."""
        calc, temp = self._calc, facts.temp_c
        slope = (facts.left_c_per_h + facts.right_c_per_h) / 2.0
        hot = calc.where(temp >= self._hot_c, 1.0, 0.0)
        rises = calc.clip(slope / self._references[-1])
        warm = calc.where(hot > 0.0, 1.0, BEFORE_WARM * calc.clip((temp - HOT_C) / HOT_C))
        costs = [rises + warm]
        for hold, from_c, reference in zip(self._holds, self._froms, self._references, strict=True):
            costs += self._of_hold(facts, slope, hot, hold, from_c, reference)
        costs.append(rises + calc.clip(1.0 + facts.slow_c_per_h / self._slowest) * hot)
        return [cost * minutes for cost in costs]

    def _of_hold(self, facts: Facts, slope: Any, hot: Any, hold: Hold, from_c: float, reference: float) -> list[Any]:
        """Costs of climbing to one hold, holding it, being interrupted in it or before it."""
        calc, temp = self._calc, facts.temp_c
        half = (hold.below_c + hold.above_c) / 2.0
        outside = calc.maximum(calc.maximum(hold.lower_c - temp, temp - hold.upper_c), 0.0)
        sign = 1.0 if hold.target_c >= from_c else -1.0
        low, high = sorted((from_c, hold.target_c))
        beyond = temp - high - hold.above_c
        if sign < 0.0:
            beyond = calc.maximum(low - hold.below_c - temp, beyond)
        beyond = calc.maximum(beyond, 0.0)
        climbing = calc.clip(1.0 - sign * slope / reference) + calc.minimum(beyond / 10.0, 1.5)
        far = FAR_MORE * calc.clip(outside / FAR_C - 1.0)
        level = calc.minimum(facts.flat_c_per_h / (4.0 * reference), 1.0)
        holding = calc.minimum(outside / (2.0 * half), OUTSIDE_MOST) + far + level
        # Cut off, a furnace falls or climbs again; standing still while hot is another hold.
        still = calc.clip(1.0 - facts.still_c_per_h / self._slowest) * hot
        interrupted = INTERRUPTED + calc.where(outside <= 0.0, 1.0, 0.0) + LEVEL * still
        return [climbing, holding, interrupted, interrupted]


def transitions(holds: Sequence[Hold]) -> list[list[float]]:
    """Cost of going from state to state: before, (climbing, holding, interrupted, lost) a hold, cooling."""
    count = len(holds)
    end = 1 + PARTS * count
    go = [[0.0 if one == other else math.inf for other in range(end + 1)] for one in range(end + 1)]
    first = [1 + PARTS * number for number in range(count)]
    for number, climb in enumerate(first):
        go[0][climb] = SKIP * number
    go[0][end] = SKIP * count
    for at, climb in enumerate(first):
        hold, cut, lost = climb + 1, climb + 2, climb + 3
        go[climb][hold] = go[cut][hold] = 0.0
        go[hold][cut] = go[climb][lost] = INTERRUPT
        go[hold][end] = go[cut][end] = SKIP * (count - 1 - at)
        go[climb][end] = go[lost][end] = SKIP * (count - at)
        for to, start in enumerate(first):
            if to > at:
                # A further hold at the same temperature needs something in between.
                again = holds[to].lower_c <= holds[at].target_c <= holds[to].upper_c
                go[hold][start] = SKIP * (to - at - 1 + 2 * again)
                go[cut][start] = SKIP * (to - at - 1)
                go[climb][start] = go[lost][start] = SKIP * (to - at)
            else:
                go[cut][start] = go[lost][start] = AGAIN + FURTHER_BACK * (at - to)
    return go


def part_of(state: int, count: int) -> tuple[int, int] | None:
    """Which hold a state belongs to, and whether climbing (0), holding, interrupted or lost (3); None beside them."""
    return divmod(state - 1, PARTS) if 1 <= state <= PARTS * count else None


def stays_of(blocks: Blocks, path: Iterable[tuple[int, float, float]], recipe: Recipe) -> Assignment:
    """Turn a path into stays; only the last attempt of each hold counts.

    ``path`` has each run of blocks in one state: the state, the first and the last block's time [s].
    """
    count, half_s = len(recipe.holds), blocks.block_s / 2.0
    every: list[tuple[int, BandStay]] = []
    for state, first_s, last_s in path:
        place = part_of(state, count)
        if place is not None and place[1] == 1:
            every.append((place[0], BandStay(first_s - half_s, last_s + half_s)))
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
    return blocks.coldest_c(since_s, until_s) < (hold.target_c + ROOM_C) / 2.0


def level_parts(
    blocks: Blocks, slope_c_per_h: float, between_c: tuple[float, float], between_s: tuple[float, float]
) -> list[tuple[float, float]]:
    """Stretches (from, to) [s] in which a trace stood level: slope below ``slope_c_per_h``, within [degC] and [s]."""
    half_s = blocks.block_s / 2.0
    return [
        (t_s[0] - half_s, t_s[-1] + half_s)
        for t_s, temp_c in blocks.level_runs(slope_c_per_h, between_c, between_s)
        if _surely_level(t_s, temp_c, slope_c_per_h)
    ]


def _surely_level(t_s: Sequence[float], temp_c: Sequence[float], slope_c_per_h: float) -> bool:
    """Whether a line through the blocks of a stretch is level, two standard errors included: noise is no level part."""
    count = len(t_s)
    if count < FEWEST_LEVEL:
        return False
    middle_s, middle_c = math.fsum(t_s) / count, math.fsum(temp_c) / count
    t = [at - middle_s for at in t_s]
    y = [level - middle_c for level in temp_c]
    spread = math.fsum(a * a for a in t)
    slope = math.fsum(a * b for a, b in zip(t, y, strict=True)) / spread
    off = math.fsum((b - slope * a) ** 2 for a, b in zip(t, y, strict=True))
    error = math.sqrt(off / (count - 2) / spread)
    return (abs(slope) + 2.0 * error) * 3600.0 < slope_c_per_h


def slope_windows_s(block_s: float) -> tuple[float, ...]:
    """Over how long a block's slopes are taken [s]: for climbing and holding, and for what still is level."""
    return tuple(max(window_s, 2.0 * block_s) for window_s in (SLOPE_S, *LEVEL_S))
