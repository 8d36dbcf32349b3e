"""What waits for a person, as frozen data."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from soakwitness.analysis.logbook.runs import RunEntry
from soakwitness.analysis.logbook.set_aside import SetAside
from soakwitness.analysis.record.moments import from_utc_text, local_day
from soakwitness.firmware_bridge.common.surfaces import TERMINAL, NextCommand
from soakwitness.firmware_bridge.common.wording import Says, duration, listed
from soakwitness.firmware_bridge.common.zones import zone_on_record
from soakwitness.firmware_bridge.runfolder.names import in_ranges

# In the order in which they are told; what endangers people or blades comes first.
KINDS = (
    "recording",
    "hot",
    "cut-out fault",
    "temper",
    "cold treatment",
    "second temper",
    "decision",
    "hardness",
    "doubtful",
    "look",
    "cut-out test",
    "calibration",
    "accuracy test",
    "survey",
    "thermocouple",
    "first runs",
    "disk",
    "backup",
)
Urgency = Literal["at once", "today", "soon", "when it suits"]
About = Literal["run", "piece", "sensor", "furnace", "log book"]


@dataclass(frozen=True)
class Concern:
    """What something is about. A sensor is named ``control of small furnace``."""

    about: About
    name: str


@dataclass(frozen=True)
class WaitingAct:
    """One thing that waits.

    ``since_utc``: since when, ``for_s``: for how long [s], None where there is no such moment; ``due_on``: local day.
    ``settle``: the command that settles it, as it is typed. ``page``: its address, such as ``("piece", "B-041")``.
    """

    kind: str
    urgency: Urgency
    says: Says
    concerns: tuple[Concern, ...]
    settle: str
    page: tuple[str, ...]
    since_utc: str | None = None
    for_s: float | None = None
    due_on: str | None = None


@dataclass(frozen=True)
class RunBeingRecorded:
    """A run that is being recorded: since when, and when its last row was written."""

    run: str
    furnace: str
    recipe: str | None
    started_utc: str
    last_utc: str | None


@dataclass(frozen=True)
class Waiting:
    """All that waits, in the order in which it is told, and what is being recorded.

    ``days``: how far back blades and runs were looked at; ``set_aside``: how many entries say not to ask.
    """

    now_utc: str
    acts: tuple[WaitingAct, ...]
    recording: tuple[RunBeingRecorded, ...]
    days: int
    set_aside: int = 0


@dataclass(frozen=True)
class AskedAbout:
    """When and where it is asked, and what was set aside. ``zone``: the zone of days and of times of the day."""

    now_utc: str
    zone: str | None = None
    aside: tuple[SetAside, ...] = ()

    @property
    def today(self) -> str:
        """The local day."""
        return local_day(self.now_utc, self.zone)

    def wanted(self, kind: str, *subjects: str) -> bool:
        """Whether something is still to be asked: nobody set it aside for any of these subjects."""
        return not any(one.covers(kind, subject, self.today) for one in self.aside for subject in subjects)


def how_long(time_s: float) -> str:
    """How long something waits [s], in whole minutes: ``45 s``, ``33 min``, ``5 h 20 min``, ``4 days``."""
    return duration(60.0 * round(time_s / 60.0) if time_s >= 120.0 else time_s)


def began(run: RunEntry, zone: str | None) -> str:
    """When a run began, by the clock: ``2026-11-25 08:15``."""
    return f"{from_utc_text(run.started_utc).astimezone(zone_on_record(zone or run.zone)):%Y-%m-%d %H:%M}"


def command(*words: str) -> str:
    """A command of soakwitness as it is typed, words quoted where a shell would take them apart."""
    return NextCommand(words).text(TERMINAL)


def pieces_typed(names: Sequence[str]) -> tuple[str, ...]:
    """Names of pieces as a command takes them, ranges drawn together."""
    return in_ranges(names)


def pieces_said(names: Sequence[str]) -> str:
    """Names of pieces in a sentence: ``B-041 to B-046 and C-1``."""
    return listed([one.replace("..", " to ") for one in in_ranges(names)], most=4)


def concerns(about: About, names: Iterable[str]) -> tuple[Concern, ...]:
    """Several of one kind."""
    return tuple(Concern(about, name) for name in names)
