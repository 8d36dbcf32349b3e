"""A part of a line in fewer points, asked anew for each part that is looked at; no numpy, so that a server stays light.

Lowest and highest of each block stay, gaps stay gaps.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from operator import sub
from statistics import median

GAP_PERIODS = 3  # an interval over so many nominal periods is a gap
LEAST_POINTS = 8


@dataclass(frozen=True)
class TraceLine:
    """Readings that were had, ``t_s`` [s] rising; after those of ``breaks`` (indices) nothing was read for a while."""

    t_s: array[float]
    value: array[float]
    breaks: tuple[int, ...]


@dataclass(frozen=True)
class LinePart:
    """Points of a part of a line, from the reading before it to the one after it; None between two: a gap."""

    t_s: tuple[float, ...]
    value: tuple[float | None, ...]


def line_of(t_s: array[float], value: array[float], *, gap_s: float) -> TraceLine:
    """A line of all readings, NaN where nothing was read; a pause longer than ``gap_s`` [s] is a gap."""
    if math.isnan(sum(value)):
        had = [i for i, number in enumerate(value) if number == number]
        t_s, value = array("d", (t_s[i] for i in had)), array("d", (value[i] for i in had))
    pauses = list(map(sub, t_s[1:], t_s))
    longer = pauses and max(pauses) > gap_s
    breaks = tuple(i for i, pause_s in enumerate(pauses) if pause_s > gap_s) if longer else ()
    return TraceLine(t_s, value, breaks)


def usual_gap_s(t_s: Sequence[float], every_s: float | None) -> float:
    """Pause above which a line is broken [s]: three periods, the stated one, else the median."""
    steps = [b - a for a, b in zip(t_s, t_s[1:], strict=False)] if not every_s else []
    period_s = every_s or (median(steps) if steps else 1.0)
    return GAP_PERIODS * period_s * (1.0 + 1e-9)


def part_of(line: TraceLine, start_s: float, stop_s: float, *, most: int) -> LinePart:
    """The part of a line from ``start_s`` to ``stop_s`` [s] in at most about ``most`` points.

    Its lowest and its highest reading are among them, and those of every block of it; of more gaps than find room the
    longest.
    """
    first, after = bisect_left(line.t_s, start_s), bisect_right(line.t_s, stop_s)
    picks = {i for i in (first - 1, after) if 0 <= i < len(line.t_s)}
    most = max(most, LEAST_POINTS)
    few = after - first <= most
    gaps = _gaps(line, max(first - 1, 0), after, most if few else most // 6)
    if few:
        picks.update(range(first, after))
    else:
        picks.update((first, after - 1))
        picks.update(i for gap in gaps for i in (gap, gap + 1))
        picks.update(_extremes(line.value, first, after, max(2, (most - len(picks) - len(gaps)) // 2)))
    return _points(line, sorted(picks), set(gaps))


def _gaps(line: TraceLine, first: int, after: int, most: int) -> list[int]:
    inside = line.breaks[bisect_left(line.breaks, first) : bisect_left(line.breaks, after)]
    longest = sorted(inside, key=lambda i: line.t_s[i] - line.t_s[i + 1])
    return sorted(longest[: max(most, 1)])


def _extremes(value: array[float], first: int, after: int, blocks: int) -> set[int]:
    """Indices of the lowest and the highest of each block."""
    size = math.ceil((after - first) / blocks)
    picks: set[int] = set()
    for begin in range(first, after, size):
        block = value[begin : min(begin + size, after)]
        picks.update((begin + block.index(min(block)), begin + block.index(max(block))))
    return picks


def _points(line: TraceLine, picks: Sequence[int], gaps: set[int]) -> LinePart:
    t_s: list[float] = []
    value: list[float | None] = []
    for i in picks:
        t_s.append(line.t_s[i])
        value.append(line.value[i])
        if i in gaps:
            t_s.append((line.t_s[i] + line.t_s[i + 1]) / 2.0)
            value.append(None)
    return LinePart(tuple(t_s), tuple(value))
