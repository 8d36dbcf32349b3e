"""Slots at equal distances from one start: no drift, and every missed one counted."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Slot:
    """A moment at which a reading is due. ``missed`` are the due times passed over since the slot before."""

    number: int
    due_s: float
    missed: tuple[float, ...] = ()
    missed_count: int = 0


class Schedule:
    """Slots at ``start_s + k * every_s``.

    A slot that is still to come, or less than half an interval past, is taken; those further past are missed.
    """

    LISTED = 10  # so many missed slots are listed one by one, more are only counted

    def __init__(self, start_s: float, every_s: float) -> None:
        self._start_s = start_s
        self._every_s = every_s
        self._next = 0

    def next(self, now_s: float) -> Slot:
        """The slot to wait for at ``now_s``."""
        late = (now_s - self._start_s) / self._every_s - 0.5
        number = max(self._next, int(late) + 1) if late > 0 else self._next
        count = number - self._next
        listed = range(self._next, number) if count <= self.LISTED else ()
        self._next = number + 1
        return Slot(number, self._due(number), tuple(self._due(k) for k in listed), count)

    def _due(self, number: int) -> float:
        return self._start_s + number * self._every_s
