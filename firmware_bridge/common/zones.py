"""Time zones, by name or by their distance from UTC: how one is read, and which one this computer keeps."""

from __future__ import annotations

import contextlib
import os
import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from soakwitness.firmware_bridge.errors import DoubtfulHour, UnknownZone

ALLOWED = "Europe/Vienna, UTC or +01:00"
_OFFSET = re.compile(r"([+-])(0?\d|1\d|2[0-3])(?::?([0-5]\d))?")


def zone_of(text: str) -> tzinfo:
    """The zone of a name such as ``Europe/Vienna``, of an offset such as ``+02:00`` or ``-0330``, of ``Z`` or ``UTC``.

    Raises UnknownZone if this computer knows no such zone.
    """
    offset = _OFFSET.fullmatch(text)
    if offset is not None:
        away = timedelta(hours=int(offset[2]), minutes=int(offset[3] or 0))
        return timezone(away if offset[1] == "+" else -away)
    if text.upper() in ("Z", "UTC"):
        return UTC
    try:
        return ZoneInfo(text)
    except (KeyError, ValueError, OSError):  # ZoneInfoNotFoundError is a KeyError
        raise UnknownZone(f"{text!r} is no time zone that this computer knows. Write one such as {ALLOWED}.") from None


def placed(wall: datetime, zone: str) -> datetime:
    """The moment of a local time, without a zone of its own, in a zone.

    Raises DoubtfulHour if the clocks there skip that hour, or have it twice; UnknownZone if this computer knows no such
    zone.
    """
    local = wall.replace(tzinfo=zone_of(zone), fold=0)
    text = wall.isoformat(sep=" ", timespec="seconds")
    try:
        back = local.astimezone(UTC).astimezone(local.tzinfo)
    except OverflowError:  # at the ends of the calendar nothing is set
        return local
    if back.replace(tzinfo=None, fold=0) != wall.replace(fold=0):
        raise DoubtfulHour(f"{text} does not exist in {zone}: the clock was set forward over it.")
    first, second = (local.replace(fold=fold).isoformat() for fold in (0, 1))
    if first != second:
        raise DoubtfulHour(
            f"{text} is there twice in {zone}: the clock was set back over that hour. Say which: {first} or {second}."
        )
    return local


def zone_on_record(text: str | None) -> tzinfo:
    """The zone that a record names; UTC where it names none, or one that this computer does not know."""
    try:
        return UTC if text is None else zone_of(text)
    except UnknownZone:
        return UTC


def zone_or_utc(text: str | None) -> str:
    """What ``zone_on_record`` is called: ``UTC`` where the record's zone is not known here."""
    return "UTC" if text is None or zone_on_record(text) is UTC else text


def local_zone() -> str | None:
    """Name of this computer's time zone, None where the system does not tell."""
    for name in _names():
        with contextlib.suppress(UnknownZone):
            zone_of(name)
            return name
    return None


def computer_zone() -> str:
    """Time zone of this computer, as ``zone_of`` reads it: its name, else its offset now."""
    name = local_zone()
    if name is not None:
        return name
    now = datetime.now().astimezone().strftime("%z")
    return f"{now[:3]}:{now[3:5]}"


def _names() -> list[str]:
    """What the system calls its zone, the best source first."""
    names = [os.environ.get("TZ", "").removeprefix(":")]
    with contextlib.suppress(OSError, ValueError, IndexError):
        names.append(str(Path("/etc/localtime").resolve(strict=True)).split("/zoneinfo/", 1)[1])
    with contextlib.suppress(OSError, IndexError):
        names.append(Path("/etc/timezone").read_text().split()[0])
    return [name for name in names if name]


def local_day(at_utc: str, zone: str | None) -> str:
    """Day on which a moment (ISO 8601, UTC) falls in the zone that a record names: ``2026-11-25``."""
    return datetime.fromisoformat(at_utc).astimezone(zone_on_record(zone)).date().isoformat()
