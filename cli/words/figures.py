"""Bounds and clock times of a run in words; numbers are written by ``firmware_bridge.common.wording``."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from soakwitness.firmware_bridge.common import wording
from soakwitness.firmware_bridge.common.zones import zone_on_record, zone_or_utc

if TYPE_CHECKING:
    from soakwitness.analysis.verification.results.verification import Bounds, PieceResult
    from soakwitness.firmware_bridge.marks.charges import PieceStay


def bounds(value: Bounds | None) -> str:
    """Duration with its bounds: ``24.2 min (23.8 to 24.5)``; without them where they say nothing more."""
    return wording.UNKNOWN if value is None else wording.duration_range(value.best, value.low, value.high)


def quench_words(piece: PieceStay | PieceResult) -> str:
    """How long it took from the pull to the plates, or why that is not known."""
    if piece.quench_delay_s is not None:
        return wording.duration(piece.quench_delay_s)
    both = piece.pull_s is not None and piece.plates_s is not None
    return "not proven: inferred" if both else "not on record"


def clock(started_utc: str, t_s: float, zone: str | None) -> str:
    """Clock time of a moment of the run [s] in the run's zone, else UTC: ``2026-03-02 08:12:05``."""
    return f"{_moment(started_utc, t_s, zone):%Y-%m-%d %H:%M:%S}"


def day(started_utc: str, t_s: float, zone: str | None) -> str:
    """The day of a moment of the run [s], in the run's zone: ``Monday 2 March 2026``."""
    there = _moment(started_utc, t_s, zone)
    return f"{there:%A} {there.day} {there:%B %Y}"


def hour(started_utc: str, t_s: float, zone: str | None) -> str:
    """The hour of a moment of the run [s], in the run's zone; another day is named: ``08:12``, ``00:31 (3 March)``."""
    there = _moment(started_utc, t_s, zone)
    other = there.date() != _moment(started_utc, 0.0, zone).date()
    return f"{there:%H:%M}" + (f" ({there.day} {there:%B})" if other else "")


def begin_to_end(started_utc: str, last_s: float, zone: str | None) -> str:
    """When a run was: ``Monday 2 March 2026, 08:12 to 10:01, Europe/Vienna``."""
    ends = f"{hour(started_utc, 0.0, zone)} to {hour(started_utc, last_s, zone)}"
    return f"{day(started_utc, 0.0, zone)}, {ends}, {zone_or_utc(zone)}"


def _moment(started_utc: str, t_s: float, zone: str | None) -> datetime:
    moment = datetime.fromisoformat(started_utc).astimezone(UTC) + timedelta(seconds=t_s)
    return moment.astimezone(zone_on_record(zone))
