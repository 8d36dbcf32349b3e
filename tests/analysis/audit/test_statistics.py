from __future__ import annotations

import itertools
import math
import random

import pytest
from scipy.stats import spearmanr

from soakwitness.analysis.audit.contrasts.statistics import (
    apart,
    chance_of_groups,
    chance_of_split,
    compare,
    mad,
    rank_correlation,
)


def test_median_and_mad_do_not_move_with_one_wild_value() -> None:
    # by hand: median 3, deviations 2 1 0 1 97, their median 1
    assert mad([1.0, 2.0, 3.0, 4.0, 100.0]) == 1.0
    beside = compare(13.0, [1.0, 2.0, 3.0, 4.0, 100.0], floor=0.5)
    assert beside.difference == 10.0
    assert beside.spreads == pytest.approx(10.0 / 1.4826)


def test_a_floor_keeps_equal_values_from_making_everything_stand_out() -> None:
    assert compare(1.2, [1.0, 1.0, 1.0], floor=0.5).spreads == pytest.approx(0.4)
    assert compare(1.2, [], floor=0.5).spreads is None


def test_rank_correlation_agrees_with_scipy() -> None:
    source = random.Random(5)
    for size in (3, 5, 9, 30):
        x = [float(source.randrange(6)) for _ in range(size)]
        y = [float(source.randrange(6)) for _ in range(size)]
        expected = spearmanr(x, y).statistic
        assert rank_correlation(x, y) == pytest.approx(0.0 if math.isnan(expected) else expected)


def test_rank_correlation_of_a_constant_is_nothing() -> None:
    assert rank_correlation([1.0, 2.0, 3.0], [5.0, 5.0, 5.0]) == 0.0


@pytest.mark.parametrize(("first", "second", "expected"), [(1, 3, 0.5), (2, 6, 1 / 14), (3, 5, 1 / 28), (0, 4, 1.0)])
def test_chance_of_a_split_counts_both_ways_round(first: int, second: int, expected: float) -> None:
    assert chance_of_split(first, second) == pytest.approx(expected)


@pytest.mark.parametrize("sizes", [(1, 1, 1, 1), (3, 2, 3), (2, 2, 4), (1, 2, 5)])
def test_chance_of_whole_groups_is_that_of_counting_all_choices(sizes: tuple[int, ...]) -> None:
    owner = [group for group, size in enumerate(sizes) for _ in range(size)]
    for chosen in range(1, len(owner)):
        choices = list(itertools.combinations(range(len(owner)), chosen))
        whole = sum(
            not {owner[i] for i in choice} & {owner[i] for i in range(len(owner)) if i not in choice}
            for choice in choices
        )
        assert chance_of_groups(sizes, chosen) == pytest.approx(whole / len(choices))


def test_apart_is_one_only_without_overlap() -> None:
    assert apart([5.0, 6.0], [1.0, 2.0]) == 1.0
    assert apart([1.0], [2.0, 3.0]) == -1.0
    assert apart([2.0], [1.0, 3.0]) == 0.0
    assert apart([], [1.0]) == 0.0
