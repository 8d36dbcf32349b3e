"""Several searches that each ask one thing at a time, side by side: what all of them ask is answered at once."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from queue import SimpleQueue
from typing import TypeVar

Question = TypeVar("Question")
Answer = TypeVar("Answer")
Found = TypeVar("Found")


class _Stopped(Exception):
    """What a search is told whose result nobody needs any more."""


def together(
    searches: Sequence[Callable[[Callable[[Question], Answer]], Found]],
    answers: Callable[[Sequence[Question]], Sequence[Answer]],
    needed: Callable[[Mapping[int, Found]], Collection[int]],
) -> dict[int, Found]:
    """What the searches find, by their numbers. ``needed`` tells which are of use still, by what was found so far.

    A search gets a function that answers it. Each waits in a thread of its own, because a solver that calls back cannot
    be left and come back to; ``answers`` is called in the caller's, and only while all of them wait.
    """
    events: SimpleQueue[tuple[int, tuple[Question, ...]]] = SimpleQueue()  # nothing asked: it has ended
    replies: list[SimpleQueue[tuple[Answer, ...]]] = [SimpleQueue() for _ in searches]  # nothing answered: stop
    found: dict[int, Found] = {}

    def search(number: int) -> None:
        def ask(question: Question) -> Answer:
            events.put((number, (question,)))
            for answer in replies[number].get():
                return answer
            raise _Stopped

        try:
            found[number] = searches[number](ask)
        finally:
            events.put((number, ()))

    with ThreadPoolExecutor(len(searches)) as pool:
        made = [pool.submit(search, number) for number in range(len(searches))]
        try:
            running = len(searches)
            while running:
                said = [events.get() for _ in range(running)]
                asked = dict(sorted((number, question) for number, one in said for question in one))
                going = {number: question for number, question in asked.items() if number in needed(found)}
                answered = dict(zip(going, answers(list(going.values())) if going else (), strict=True))
                for number in asked:
                    replies[number].put((answered[number],) if number in answered else ())
                running = len(asked)
        finally:
            for reply in replies:
                reply.put(())
    for one in made:
        problem = one.exception()
        if problem is not None and not isinstance(problem, _Stopped):
            raise problem
    return found
