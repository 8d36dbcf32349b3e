"""The loop that reads an instrument at equal distances and hands on what each slot brought."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from soakwitness.firmware_bridge.recording.clocks import Clock
from soakwitness.firmware_bridge.recording.linking import LinkKeeper, Look
from soakwitness.firmware_bridge.recording.schedule import Missed, Schedule

PAUSE_S = 0.25  # marks, keys and signals are looked at so often
CLOCK_STEP_S = 0.5


@dataclass(frozen=True)
class Sample:
    """One slot: ``now_s`` on the steady clock, ``utc_s`` on the wall clock, both right after the reading.

    ``missed`` are the due times that were passed over since the row before (only counted where they are many),
    ``step_s`` by how much the wall clock was set since then.
    """

    now_s: float
    utc_s: float
    look: Look
    missed: tuple[float, ...] = ()
    missed_count: int = 0
    step_s: float = 0.0


class SamplingLoop:
    """Reads one furnace's instrument until it is told to stop."""

    def __init__(self, clock: Clock, link: LinkKeeper, every_s: float) -> None:
        self._clock = clock
        self._link = link
        self._every_s = every_s
        self._schedule = Schedule(clock.monotonic(), every_s)
        self._pause_s = min(PAUSE_S, every_s)
        self._before: tuple[float, float] | None = None

    def run(self, take: Callable[[Sample], None], tend: Callable[[], None], stopped: Callable[[], bool]) -> None:
        """Sample for ever: ``take`` gets every slot, ``tend`` is called several times a second in between."""
        while not stopped():
            before = self._schedule.skip(self._clock.monotonic())
            due_s = self._schedule.take()
            while (left_s := due_s - self._clock.monotonic()) > 0:
                self._clock.sleep(min(left_s, self._pause_s))
                tend()
                if stopped():
                    return
            take(self._sample(before))
            tend()

    def first(self) -> Sample:
        """Take the reading of the first slot, before ``run`` goes on with the others; slots count from this one."""
        self._schedule = Schedule(self._clock.monotonic(), self._every_s)
        self._schedule.take()
        return self._sample(Missed())

    def _sample(self, before: Missed) -> Sample:
        """Take one reading now; slots that pass by meanwhile are missed too."""
        look = self._link.look()
        now_s, utc_s = self._clock.monotonic(), self._clock.utc_s()
        after = self._schedule.skip(now_s)
        count = before.count + after.count
        listed = before.due_s + after.due_s if len(before.due_s + after.due_s) == count else ()
        return Sample(now_s, utc_s, look, listed, count, self._step(now_s, utc_s))

    def _step(self, now_s: float, utc_s: float) -> float:
        """By how much the wall clock ran away from the steady one since the slot before, where that is a step."""
        before, self._before = self._before, (now_s, utc_s)
        if before is None:
            return 0.0
        apart_s = (utc_s - before[1]) - (now_s - before[0])
        return apart_s if abs(apart_s) > max(CLOCK_STEP_S, 0.002 * (now_s - before[0])) else 0.0
