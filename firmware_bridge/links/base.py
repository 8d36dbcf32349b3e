"""What every link is: something that can be read, closed and described. Nothing here touches a port."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol


@dataclass(frozen=True)
class Reading:
    """What one look at the instrument brought.

    ``values`` has every column of the furnace file: sensors and signals in the instrument's unit after scale and
    offset, contacts as 1.0 (acted: the raw number equals ``closed_is``) or 0.0; None where it is missing.
    A contact that was acted at any time since the reading before counts as acted.
    ``faults`` gives a word for each sensor that reports a fault (its value is None).
    ``texts`` are sentences worth an event: lines lost, instrument restarted.
    ``missed`` counts answers or lines since the reading before that were garbled or lost.
    ``age_s`` is how old the values may be at most, where that is more than the time the reading took.
    """

    values: Mapping[str, float | None]
    faults: Mapping[str, str] = field(default_factory=dict)
    texts: tuple[str, ...] = ()
    missed: int = 0
    age_s: float = 0.0


class LinkClock(Protocol):
    """What a link needs of time; the module ``time`` is one."""

    def monotonic(self) -> float:
        """Seconds on a clock that does not jump."""
        ...

    def sleep(self, seconds: float, /) -> None:
        """Wait."""
        ...


class Link(Protocol):
    """A way to the instrument. One thread only; after a LinkError close it, forget it and open a new one.

    ``silent``, ``garbled``, ``echo`` and ``refused`` leave the port open: reading again is allowed, the link waits
    past a late answer and empties its input by itself.
    """

    def read(self) -> Reading:
        """Take one reading; raises LinkError."""
        ...

    def close(self) -> None:
        """Let go of the port; never raises."""
        ...

    def describe(self) -> str:
        """One phrase for a person: port, settings, protocol."""
        ...
