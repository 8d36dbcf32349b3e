"""Slots at equal distances from one start: no drift, and every missed one counted."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Missed:
    """Slots that were passed over: how many, and their due times where they are few."""

    count: int = 0
    due_s: tuple[float, ...] = ()


class Schedule:
    """Slots at ``start_s + k * every_s``; one that is more than half an interval past is missed."""

    LISTED = 10  # so many missed slots are listed one by one, more are only counted

    def __init__(self, start_s: float, every_s: float) -> None:
        self._start_s = start_s
        self._every_s = every_s
        self._next = 0

    def skip(self, now_s: float) -> Missed:
        """Pass over the slots that can no longer be met at ``now_s``."""
        late = (now_s - self._start_s) / self._every_s - 0.5
        number = max(self._next, int(late) + 1) if late > 0 else self._next
        count = number - self._next
        listed = range(self._next, number) if count <= self.LISTED else ()
        self._next = number
        return Missed(count, tuple(self._due(k) for k in listed))

    def take(self) -> float:
        """Due time of the next slot, which is taken."""
        self._next += 1
        return self._due(self._next - 1)

    def _due(self, number: int) -> float:
        return self._start_s + number * self._every_s
