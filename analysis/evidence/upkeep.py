"""What was renewed or done to a furnace, as the log book keeps it and the condition takes it."""

from __future__ import annotations

from dataclasses import dataclass

PARTS = (
    "elements",
    "relay",
    "door seal",
    "insulation",
    "thermocouple",
    "controller",
    "mains",
    "moved house",
    "other",
)


@dataclass(frozen=True)
class Upkeep:
    """One piece of work on a furnace: what it was about, when it was done, and a word on it."""

    entry: int
    furnace: str
    part: str
    done_utc: str
    note: str
    entered_utc: str
    entered_by: str
