"""Moments and days in the log book: UTC text inside, local days only where a due date needs one."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from soakwitness.analysis.errors import LogBookError
from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says
from soakwitness.firmware_bridge.common.zones import placed, zone_on_record
from soakwitness.firmware_bridge.errors import DoubtfulHour, UnknownZone


@dataclass(frozen=True)
class Stamp:
    """When an entry was made (UTC text) and by whom. Both come from outside: this wing reads no clock."""

    at_utc: str
    by: str


def utc_text(moment: datetime) -> str:
    """Write an aware moment as UTC text that sorts by time."""
    if moment.tzinfo is None:
        raise LogBookError(f"{moment.isoformat()}: a moment without a time zone cannot be entered.")
    return moment.astimezone(UTC).replace(microsecond=0, tzinfo=None).isoformat() + "Z"


def from_utc_text(text: str) -> datetime:
    """Read a moment that the log book or a run folder wrote, as an aware datetime in UTC."""
    moment = datetime.fromisoformat(text)
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def read_moment(text: str, *, zone: str | None = None) -> str:
    """Read what a person typed and return UTC text.

    ``text``: ISO 8601 date and time, with its offset, or without one where ``zone`` is given. ``zone``: time zone of a
    local time, such as ``Europe/Vienna`` or ``+01:00``.

    Raises LogBookError if the text is no moment, has no zone or one that is none, or names an hour that a change of the
    clocks skips or repeats.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        says = "{text} is no date and time. Write it as 2026-11-25T07:15+01:00, or as 2026-11-25T07:15{zone}."
        raise LogBookError(Says.of(says, text=repr(text), zone=Field("zone", around=" with {}"))) from None
    if moment.tzinfo is not None:
        return utc_text(moment)
    if zone is None:
        says = "{text} has no time zone. Add an offset such as +01:00{zone}."
        raise LogBookError(Says.of(says, text=repr(text), zone=Field("zone", around=", or give {}")))
    try:
        return utc_text(placed(moment, zone))
    except (UnknownZone, DoubtfulHour) as error:
        raise LogBookError(str(error)) from None


def is_local(text: str) -> bool:
    """Whether a date and time that a person typed has no time zone."""
    return datetime.fromisoformat(text.strip()).tzinfo is None


def read_day(text: str) -> str:
    """Read a day such as ``2026-11-25`` and return it in that form."""
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise LogBookError(f"{text!r} is no day. Write it as 2026-11-25.") from None


def local_day(at_utc: str, zone: str | None) -> str:
    """Day on which a moment falls in the zone of a record (UTC where none is known), such as ``2026-11-25``."""
    return from_utc_text(at_utc).astimezone(zone_on_record(zone)).date().isoformat()


def add_months(day: str, months: int) -> str:
    """Day so many months later; the last of the month where that month is shorter."""
    start = date.fromisoformat(day)
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(start.day, last)).isoformat()


def days_between(earlier: str, later: str) -> int:
    """Calendar days from one day to another; leap days count, summer time does not."""
    return (date.fromisoformat(later) - date.fromisoformat(earlier)).days


def seconds_between(earlier_utc: str, later_utc: str) -> float:
    """Seconds from one moment to another, as a clock that is never set would count them [s]."""
    return (from_utc_text(later_utc) - from_utc_text(earlier_utc)).total_seconds()


def moment_of(day_or_moment: str) -> str:
    """UTC text of a moment; of a day alone its last second, so that what was fitted on that day is in force."""
    if len(day_or_moment) == 10:
        return day_or_moment + "T23:59:59Z"
    return utc_text(from_utc_text(day_or_moment))


def later(at_utc: str, seconds: float) -> str:
    """UTC text of a moment some seconds later [s]."""
    return utc_text(from_utc_text(at_utc) + timedelta(seconds=seconds))
