"""Several searches that each ask one thing at a time, side by side: what all of them ask is answered at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
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
    enough: Callable[[Found], bool],
) -> list[Found]:
    """What the searches find, up to the first that is enough: as if one were made after the other.

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
        ended = [pool.submit(search, number) for number in range(len(searches))]
        try:
            running = len(searches)
            while running:
                said = [events.get() for _ in range(running)]
                asked = dict(sorted((number, question) for number, one in said for question in one))
                running = 0 if _decided(found, enough) else len(asked)
                if running:
                    for number, answer in zip(asked, answers(list(asked.values())), strict=True):
                        replies[number].put((answer,))
        finally:
            for reply in replies:
                reply.put(())
    needed = _decided(found, enough) or len(searches)
    for one in ended[:needed]:
        one.result()  # raises what the search raised
    return [found[number] for number in range(needed)]


def _decided(found: Mapping[int, Found], enough: Callable[[Found], bool]) -> int:
    """How many are needed, where one of those that have ended is enough and all before it have ended too; else 0."""
    for number in range(len(found)):
        if number not in found:
            return 0
        if enough(found[number]):
            return number + 1
    return 0
