"""What a run folder holds, as frozen data (DEVELOPERS.md describes the files)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from soakwitness.firmware_bridge.runfolder.origins import Origin

NOTHING_MISSING = "nothing is missing"  # the end of a sentence on what another program did
FORMAT_VERSION = "1.0"
Act = Literal["load", "pull", "plates", "hand-warm", "door", "note"]
ACTS: tuple[Act, ...] = ("load", "pull", "plates", "hand-warm", "door", "note")
OPENS: tuple[Act, ...] = ("load", "pull", "door")  # acts for which the door is opened
EVENTS = (
    *("start", "mark", "sensor fault", "link lost", "link back", "clock step", "alarm", "resumed"),
    *("doubtful", "not doubtful", "end"),
)


@dataclass(frozen=True)
class Column:
    """One column of ``samples.csv`` as ``run.json`` describes it.

    ``unit`` is ``C`` or ``F`` for sensors and the setpoint, ``%`` for the output, empty for contacts.
    ``expanded_uncertainty`` (k = 2), ``instrument_uncertainty`` (k = 2), ``resolution`` and ``input_offset`` are
    differences in ``unit``.
    """

    name: str
    kind: Literal["sensor", "signal", "contact"]
    unit: str = ""
    role: str | None = None
    thermocouple: str | None = None
    tolerance_class: str | None = None
    resolution: float | None = None
    expanded_uncertainty: float | None = None
    instrument_uncertainty: float | None = None
    serial: str | None = None
    channel: str | None = None
    position: str | None = None
    input_offset: float | None = None
    thickness_mm: float | None = None
    means: str | None = None


@dataclass(frozen=True)
class RunHeader:
    """``run.json``. ``raw`` keeps unknown keys."""

    run: str
    started_utc: str
    columns: tuple[Column, ...]
    furnace_name: str
    furnace_file: str | None = None
    recipe_name: str | None = None
    recipe_file: str | None = None
    packet_name: str | None = None
    packet_file: str | None = None
    every_s: float | None = None
    zone: str | None = None
    operator: str | None = None
    software: str = ""
    origin: str = "recorded"  # recorded, imported, simulated
    recorder_id: str | None = None
    recorder_counter: int | None = None
    format: str = FORMAT_VERSION
    raw: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Event:
    """One row of ``events.csv``."""

    t_s: float
    utc: str
    event: str
    detail: str = ""


@dataclass(frozen=True)
class Mark:
    """A mark as it stands now: late entries carry their own time, struck ones say so.

    ``t_s`` is the moment the mark speaks of; ``entered_t_s`` when it was written. ``pieces`` empty: the whole charge.
    ``origin`` is how it came to be, ``within_s`` by how much its moment may be wrong [s] (None: as good as the person).
    """

    t_s: float
    act: Act
    pieces: tuple[str, ...] = ()
    note: str = ""
    mark_id: str = ""
    entered_t_s: float | None = None
    entered_later: bool = False
    by: str | None = None
    struck: bool = False
    struck_why: str | None = None
    origin: Origin | None = None
    within_s: float | None = None


@dataclass(frozen=True)
class ByteRange:
    """Bytes ``start`` to ``stop`` (exclusive) of one sample segment that hold whole good rows, no header."""

    segment: Path
    start: int
    stop: int
    rows: int


@dataclass(frozen=True)
class BadRow:
    """A row whose checksum does not hold."""

    segment: str
    line: int
    says: str


@dataclass(frozen=True)
class RecordCheck:
    """What a check of a run folder found. ``intact`` False: ``first_difference`` names the first file that differs.

    ``changed`` says what another program did to it while it was recorded: such a record is not called intact.
    ``differs`` names the files that are not what the seal says. ``seen``: a log book knows this very seal; ``doubt``
    says what it knows against it.
    """

    rows: int
    bad_rows: tuple[BadRow, ...]
    torn_tail: bool
    sealed: bool
    intact: bool
    first_difference: str | None
    good: tuple[ByteRange, ...]
    says: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    differs: tuple[str, ...] = ()
    seen: bool = False
    doubt: str | None = None

    @property
    def says_missing(self) -> bool:
        """Whether another program took readings away while it was recorded that could not be written again."""
        return is_missing(self.changed)


def is_missing(changed: Iterable[str]) -> bool:
    """Whether sentences on what another program did while a run was recorded leave anything missing."""
    return any(not says.endswith(NOTHING_MISSING) for says in changed)
