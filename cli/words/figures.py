"""Bounds and clock times of a run in words; numbers are written by ``firmware_bridge.common.wording``."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from soakwitness.firmware_bridge.common import wording
from soakwitness.firmware_bridge.common.zones import zone_on_record

if TYPE_CHECKING:
    from soakwitness.analysis.verification.results.verification import Bounds


def bounds(value: Bounds | None) -> str:
    """Duration with its bounds: ``24.2 min (23.8 to 24.5)``; without them where they say nothing more."""
    return wording.UNKNOWN if value is None else wording.duration_range(value.best, value.low, value.high)


def clock(started_utc: str, t_s: float, zone: str | None) -> str:
    """Clock time of a moment of the run [s] in the run's zone, else UTC: ``2026-03-02 08:12:05``."""
    moment = datetime.fromisoformat(started_utc).astimezone(UTC) + timedelta(seconds=t_s)
    return moment.astimezone(zone_on_record(zone)).strftime("%Y-%m-%d %H:%M:%S")
