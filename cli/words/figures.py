"""Numbers as this project writes them: minutes, degrees, bounds, clock times. Rounding happens here and only here."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Literal

from soakwitness.firmware_bridge.common.zones import zone_on_record

if TYPE_CHECKING:
    from soakwitness.analysis.verification.model import Bounds

Unit = Literal["C", "F"]


def degrees(temp_c: float | None, unit: Unit, *, digits: int = 1) -> str:
    """Temperature [degC] in words of the shown unit; ``not known`` for None."""
    if temp_c is None:
        return "not known"
    value = temp_c * 1.8 + 32 if unit == "F" else temp_c
    return f"{value:.{digits}f} °{unit}"


def difference(kelvin: float | None, unit: Unit, *, digits: int = 1, signed: bool = False) -> str:
    """Difference [K] in words of the shown unit: x 1.8 for degrees Fahrenheit, never + 32."""
    if kelvin is None:
        return "not known"
    value = kelvin * 1.8 if unit == "F" else kelvin
    return f"{value:{'+' if signed else ''}.{digits}f} °{unit}"


def rate(c_per_h: float | None, unit: Unit) -> str:
    """Rate [degC/h] in words of the shown unit."""
    if c_per_h is None:
        return "not known"
    return f"{c_per_h * (1.8 if unit == 'F' else 1.0):.0f} °{unit}/h"


def minutes(seconds: float | None) -> str:
    """Duration [s] as minutes and seconds, ``m:ss``, or hours where there are more than two."""
    if seconds is None:
        return "not known"
    sign = "-" if seconds < -0.5 else ""
    whole = round(abs(seconds))
    if whole >= 7200:
        return f"{sign}{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d} h"
    return f"{sign}{whole // 60}:{whole % 60:02d} min"


def bounds(value: Bounds | None) -> str:
    """Duration with its bounds: ``24:10 min (23:50 to 24:31)``; without them where they say nothing more."""
    if value is None:
        return "not known"
    best, low, high = (minutes(x) for x in (value.best, value.low, value.high))
    if low == high:
        return best
    return f"{best} ({low.removesuffix(' min')} to {high.removesuffix(' min')})"


def clock(started_utc: str, t_s: float, zone: str | None) -> str:
    """Clock time of a moment of the run [s] in the run's zone, else UTC: ``2026-03-02 08:12:05``."""
    moment = datetime.fromisoformat(started_utc).astimezone(UTC) + timedelta(seconds=t_s)
    return moment.astimezone(zone_on_record(zone)).strftime("%Y-%m-%d %H:%M:%S")
