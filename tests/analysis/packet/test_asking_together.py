"""Searches side by side: found as if one were made after the other, with as few answers as the longest needs."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Mapping, Sequence

import pytest

from soakwitness.analysis.packet_runs.asking_together import together

Ask = Callable[[int], int]


def climbing(start: int, steps: int) -> Callable[[Ask], int]:
    """A search that asks so many times, each time what it was answered."""

    def search(ask: Ask) -> int:
        at = start
        for _ in range(steps):
            at = ask(at)
        return at

    return search


class Answers:
    """Doubles, and remembers who was asked what at once."""

    def __init__(self) -> None:
        self.asked: list[list[int]] = []

    def __call__(self, questions: Sequence[int]) -> list[int]:
        self.asked.append(list(questions))
        assert threading.current_thread() is threading.main_thread()
        return [2 * each for each in questions]


def all_of(count: int) -> Callable[[Mapping[int, int]], Collection[int]]:
    return lambda _: range(count)


def test_each_search_gets_its_own_answers_and_all_are_asked_at_once() -> None:
    answers = Answers()
    searches = [climbing(1, 3), climbing(10, 1), climbing(100, 2)]
    assert together(searches, answers, all_of(3)) == {0: 8, 1: 20, 2: 400}
    assert answers.asked == [[1, 10, 100], [2, 200], [4]]


def test_a_search_that_nobody_needs_any_more_is_asked_no_further() -> None:
    answers = Answers()
    searches = [climbing(1, 4), climbing(10, 1), climbing(100, 9)]
    assert together(searches, answers, lambda found: {0, 1} if 1 in found else {0, 1, 2}) == {0: 16, 1: 20}
    assert answers.asked == [[1, 10, 100], [2], [4], [8]]


def test_nothing_is_answered_once_all_that_is_needed_is_found() -> None:
    answers = Answers()
    assert together([climbing(1, 1), climbing(10, 9)], answers, lambda found: () if found else (0, 1)) == {0: 2}
    assert answers.asked == [[1, 10]]


def test_searches_that_ask_nothing() -> None:
    answers = Answers()
    assert together([climbing(1, 0), climbing(2, 0)], answers, all_of(2)) == {0: 1, 1: 2}
    assert answers.asked == []


def test_what_a_search_raises_is_raised_and_no_thread_stays() -> None:
    def breaks(ask: Ask) -> int:
        raise ZeroDivisionError(f"at {ask(1)}")

    before = threading.active_count()
    with pytest.raises(ZeroDivisionError, match="at 2"):
        together([climbing(1, 2), breaks], Answers(), all_of(2))
    assert threading.active_count() == before


def test_what_answering_raises_is_raised_and_no_thread_stays() -> None:
    def breaks(_: Sequence[int]) -> list[int]:
        raise KeyboardInterrupt

    before = threading.active_count()
    with pytest.raises(KeyboardInterrupt):
        together([climbing(1, 2), climbing(1, 2)], breaks, all_of(2))
    assert threading.active_count() == before
