"""The question that shows whether a line lives and brings no value. No port, no waiting; times of a steady clock [s].

It asks for more registers than any block reads along, where it can by the function that no block is read by. Its
answer, good or refused, passes for no value, so that it can be asked as often as one likes: of a silent line, until it
lives again; of a restless one before each block, so that what begins between two readings costs no form that brings
values, and behind it, since a line that lives would have sent the true answer behind one that only came again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from soakwitness.firmware_bridge.links.blocks import (
    FUNCTION,
    LARGEST_BLOCK,
    LAST_REGISTER,
    MOST_ALONG,
    Block,
    BlockQuestion,
)

TRY_AGAIN_S = 60.0  # what was refused is tried again after so long
_JUST_NOW_S = 0.03  # so long after an answer nothing has begun
_AFTER_SILENCE = 2  # answers in a row: the first one may be an older question's
_AFTER_OTHER_ANSWERS = 3  # answers as ever in a row, until an instrument is believed that refused in another way
_IN_THE_LONG_RUN = 10  # what is so often the same is how it is from now on


class Probing:
    """The probe of one instrument, and what it was answered."""

    def __init__(self) -> None:
        self.question: BlockQuestion | None = None
        self.asked_s = -float("inf")
        self._lives_s = -float("inf")
        self._ever: set[str] = set()  # what it is answered where values are to be had
        self._says, self._same = "", 0  # what it was answered last, and how often in a row
        self._silences = 0
        self._to_prove = 0
        self._no_use: dict[BlockQuestion, float] = {}  # when it is tried again

    def new(self, blocks: Sequence[Block], now_s: float, busy: Callable[[int], bool]) -> BlockQuestion | None:
        """Give one to be tried where the one that there is does not do; not by a function of which answers may come."""
        largest = max(blocks, key=lambda block: block.count, default=None)
        if largest is None or largest.count + MOST_ALONG >= LARGEST_BLOCK:
            return None
        count = largest.count + MOST_ALONG + 1
        start = min(largest.start, LAST_REGISTER + 1 - count)
        unused = set(FUNCTION.values()) - {FUNCTION[block.table] for block in blocks}
        fit = [BlockQuestion(function, start, count) for function in (*unused, FUNCTION[largest.table])]
        if self.question in fit and self.answers:
            return None
        self._ever, self._says = set(), ""
        due = (probe for probe in fit if not busy(probe.function) and now_s >= self._no_use.get(probe, now_s))
        self.question = next(due, None)
        return self.question

    @property
    def answers(self) -> bool:
        """Whether the instrument answers the probe at all."""
        return bool(self._ever)

    def answered(self, says: str) -> None:
        """Note what it was answered: "good", or how it was refused."""
        self._silences = 0
        self._same = self._same + 1 if says == self._says else 1
        self._says = says
        if not self._ever:
            self._ever.add(says)
        self._to_prove = max(self._to_prove - 1, 0) if says in self._ever else _AFTER_OTHER_ANSWERS

    def unanswered(self) -> None:
        """Note that it was not answered in time."""
        self._silences += 1
        self._to_prove = max(self._to_prove, _AFTER_SILENCE)

    def no_use(self, now_s: float) -> None:
        """Note that it is not answered where others are."""
        assert self.question is not None
        self._no_use[self.question] = now_s + TRY_AGAIN_S
        self._ever, self._silences = set(), 0

    @property
    def otherwise(self) -> bool:
        """Whether the last answer is another than ever: no sign that values are to be had."""
        return self._says not in self._ever and self._same < _IN_THE_LONG_RUN

    @property
    def proved(self) -> bool:
        """Whether it was answered as ever often enough since it was not."""
        return self._to_prove == 0 or not self.answers

    def alive(self, now_s: float) -> None:
        """Note that the line answered just now, and as ever."""
        self._lives_s = now_s

    def gave(self, now_s: float) -> None:
        """Note that a value came: what the probe is answered all the time is as ever; one never answered is no use."""
        self.alive(now_s)
        if self._silences >= _IN_THE_LONG_RUN and self.answers:
            self.no_use(now_s)
        elif self._same >= _IN_THE_LONG_RUN:
            self._ever.add(self._says)

    def lives(self, now_s: float) -> bool:
        """Whether the line answered just now."""
        return now_s - self._lives_s <= _JUST_NOW_S
