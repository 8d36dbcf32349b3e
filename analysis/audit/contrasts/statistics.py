"""Robust comparisons of one figure with several, and of two small groups of pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

MAD_TO_SIGMA = 1.4826  # median absolute deviation to standard deviation, normal distribution


@dataclass(frozen=True)
class FigureComparison:
    """A figure beside those of the good ones: their median and MAD, and how many spreads apart it lies."""

    value: float
    good_median: float | None
    good_mad: float | None
    good_count: int
    spreads: float | None

    @property
    def difference(self) -> float | None:
        """Figure minus the good ones' median, in its own unit."""
        return None if self.good_median is None else self.value - self.good_median


def mad(values: Sequence[float]) -> float:
    """Median absolute deviation from the median."""
    centre = median(values)
    return median([abs(v - centre) for v in values])


def compare(value: float, good: Sequence[float], *, floor: float) -> FigureComparison:
    """Compare a figure with those of good runs.

    ``floor``: spread below which nothing is told apart, same unit: what resolution and ordinary days make of it.
    Returns ``spreads`` is the difference over the larger of ``floor`` and 1.4826 MAD; None where there is nothing good.
    """
    if not good:
        return FigureComparison(value, None, None, 0, None)
    centre, spread = median(good), mad(good)
    return FigureComparison(value, centre, spread, len(good), (value - centre) / max(floor, MAD_TO_SIGMA * spread))


def rank_correlation(x: Sequence[float], y: Sequence[float]) -> float:
    """Spearman's rank correlation, ties at their mean rank.

    Returns -1 to 1; 0 where one of them is constant.

    Source: C. Spearman, The proof and measurement of association between two things, Am. J. Psychol. 15 (1904) 72-101.
    """
    a, b = _ranks(x), _ranks(y)
    mean = (len(a) + 1) / 2
    top = sum((p - mean) * (q - mean) for p, q in zip(a, b, strict=True))
    bottom = math.sqrt(sum((p - mean) ** 2 for p in a) * sum((q - mean) ** 2 for q in b))
    return top / bottom if bottom > 0 else 0.0


def _ranks(values: Sequence[float]) -> list[float]:
    ordered = sorted(range(len(values)), key=lambda i: values[i])
    ranks = [0.0] * len(values)
    i = 0
    while i < len(ordered):
        j = i
        while j + 1 < len(ordered) and values[ordered[j + 1]] == values[ordered[i]]:
            j += 1
        for k in range(i, j + 1):
            ranks[ordered[k]] = (i + j) / 2 + 1
        i = j + 1
    return ranks


def chance_of_split(first: int, second: int) -> float:
    """Probability that a random order puts two groups wholly apart, either way round."""
    if first == 0 or second == 0:
        return 1.0
    return min(1.0, 2.0 / math.comb(first + second, first))


def chance_of_groups(sizes: Sequence[int], chosen: int) -> float:
    """Probability that a random choice of pieces takes whole groups only.

    ``sizes``: sizes of the groups, such as the pieces at each place. Returns ways to put ``chosen`` together from whole
    groups over all ways to choose; 1 where every group has one piece.
    """
    ways = [1] + [0] * chosen
    for size in sizes:
        for total in range(chosen, size - 1, -1):
            ways[total] += ways[total - size]
    return min(1.0, ways[chosen] / math.comb(sum(sizes), chosen))


def apart(first: Sequence[float], second: Sequence[float]) -> float:
    """How well a number tells two groups apart.

    Returns share of all pairs in which the first is larger minus that in which it is smaller: -1 to 1, 0 for no
    difference.
    """
    if not first or not second:
        return 0.0
    total = sum((a > b) - (a < b) for a in first for b in second)
    return total / (len(first) * len(second))
