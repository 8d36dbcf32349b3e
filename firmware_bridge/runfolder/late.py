"""Entering marks into a run that nobody records any more, and finding when a moment was in it."""

from __future__ import annotations

import math
import os
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

from soakwitness.firmware_bridge.common.surfaces import Field
from soakwitness.firmware_bridge.common.wording import Says, moment
from soakwitness.firmware_bridge.common.zones import placed, zone_of, zone_on_record
from soakwitness.firmware_bridge.errors import DoubtfulHour, RunFolderError
from soakwitness.firmware_bridge.runfolder.contents import Event, Mark
from soakwitness.firmware_bridge.runfolder.events import append_events
from soakwitness.firmware_bridge.runfolder.files import Files
from soakwitness.firmware_bridge.runfolder.header import read_header
from soakwitness.firmware_bridge.runfolder.line_format import event_body, read_utc, utc_text
from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, Lock
from soakwitness.firmware_bridge.runfolder.marks import FAR_S, encode_mark, encode_strike, mark_to_strike
from soakwitness.firmware_bridge.runfolder.reader import check_record, last_row, read_events, read_marks
from soakwitness.firmware_bridge.runfolder.sealing import append_sealed

EARLY_S = 3600.0  # loaded cold, and recorded only once it heats
JUST_NOW_S = 1.0  # of the time that one clock is behind another
_ALLOWED = (
    "2026-11-25T14:05+01:00, 14:05 by the clock, or the time into the run: +1:25 (hours and minutes), +1:25:30, or "
    "+85 (seconds)"
)
_INTO = re.compile(r"\+(?:(\d+):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?|(\d+(?:\.\d+)?))")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?")


@dataclass(frozen=True)
class _Times:
    """When a run began and how long it was, and by how much the computer's clock was set at which time in it [s]."""

    started_s: float
    end_s: float
    steps: tuple[tuple[float, float], ...]

    def shown_s(self, t_s: float) -> float:
        """What the computer's clock showed at a time in the run, in seconds since 1970."""
        return self.started_s + t_s + sum(step_s for at_s, step_s in self.steps if at_s <= t_s)

    def away_s(self, t_s: float) -> float:
        """How far a time is outside the run [s]."""
        return max(-t_s, t_s - self.end_s, 0.0)

    def t_s(self, utc_s: float) -> float:
        """Time in the run of what the computer's clock showed.

        A time that it showed twice counts as the first one, one that it skipped as the moment of the step.
        """
        shift_s, from_s = 0.0, -math.inf
        found: list[float] = []
        skipped: list[float] = []
        for at_s, step_s in (*self.steps, (math.inf, 0.0)):
            t_s = utc_s - self.started_s - shift_s
            found += [t_s] if from_s <= t_s < at_s else []
            skipped += [at_s] if t_s >= at_s > t_s - step_s else []
            shift_s, from_s = shift_s + step_s, at_s
        return min(found or skipped or [utc_s - self.started_s], key=lambda t_s: (self.away_s(t_s), t_s))


def _times(path: Path) -> _Times:
    steps = tuple((event.t_s, _step_s(event)) for event in read_events(path) if event.event == "clock step")
    return _Times(read_utc(read_header(path).started_utc), last_t_s(path), steps)


def time_in_run(path: Path, utc_s: float) -> float:
    """Time in a run of a moment in UTC [s], the steps of the computer's clock during the run taken into account.

    ``utc_s``: the moment, in seconds since 1970 as the computer showed it.
    """
    return _times(path).t_s(utc_s)


def _step_s(event: Event) -> float:
    try:
        return float(event.detail.split()[0])
    except (ValueError, IndexError):
        return 0.0


def moment_in_run(path: Path, text: str, zone: str | None) -> float:
    """Time in a run [s] of a moment that a person typed.

    ``text``: into the run ``+1:25`` (hours and minutes, as on the charts), ``+1:25:30`` or ``+85`` (seconds), ISO 8601
    with its offset, or a local time with ``zone``: of a whole date, or ``14:05`` for the first such time in the run,
    else the one nearest to it. ``zone``: time zone of a local time, by name or by offset.

    Raises RunFolderError if it is no moment, a local time without a zone, or over a day away from the run; UnknownZone
    if there is no such zone.
    """
    times = _times(path)
    t_s = _moment(times, text.strip(), zone)
    if times.away_s(t_s) > FAR_S:
        began = utc_text(times.started_s)
        raise RunFolderError(f"{text!r} is not near this run: it began at {began} and was {times.end_s:.0f} s long.")
    return t_s


def _moment(times: _Times, text: str, zone: str | None) -> float:
    if text.startswith("+"):
        return _into_run(text)
    clock = _CLOCK.fullmatch(text)
    if clock is not None:
        local = datetime.fromtimestamp(times.started_s, UTC).astimezone(_zone(text, zone))
        hour, minute, second = (int(part or 0) for part in clock.groups())
        at = local.replace(hour=hour, minute=minute, second=second, microsecond=0)
        days = [at + timedelta(days=day) for day in (-1, 0, 1)]
        starts = [(times.t_s(day.timestamp()), day) for day in days]
        _, day = min(starts, key=lambda start: (times.away_s(start[0]), start[0]))
        return times.t_s(_placed(day.replace(tzinfo=None), text, zone))
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise RunFolderError(f"{text!r} is no time. Write {_ALLOWED}.") from None
    if moment.tzinfo is None:
        return times.t_s(_placed(moment, text, zone))
    return times.t_s(moment.timestamp())


def _placed(wall: datetime, text: str, zone: str | None) -> float:
    """A local time in a zone [s since 1970]; an hour that is skipped or there twice is asked."""
    _zone(text, zone)
    try:
        return placed(wall, zone or "").timestamp()
    except DoubtfulHour as error:
        raise RunFolderError(str(error)) from None


def _into_run(text: str) -> float:
    hit = _INTO.fullmatch(text)
    if hit is None:
        raise RunFolderError(f"{text!r} is no time. Write {_ALLOWED}.")
    hours, minutes, seconds, alone = (float(part or 0) for part in hit.groups())
    return 3600.0 * hours + 60.0 * minutes + seconds + alone


def _zone(text: str, zone: str | None) -> tzinfo:
    if zone is None:
        says = "{text} has no time zone. Give{zone} an offset such as +01:00."
        raise RunFolderError(
            Says.of(says, text=repr(text), zone=Field("zone", around=" {}, such as Europe/Vienna, or"))
        )
    return zone_of(zone)


def moment_words(path: Path, t_s: float, zone: str) -> str:
    """A time in a run [s] said back: ``1:25:00 into the run (2026-11-25 08:40:02 Europe/Vienna)``."""
    times = _times(path)
    place = f"{moment(t_s)} into the run" if t_s >= 0 else f"{moment(-t_s)} before the start"
    return f"{place} ({_shown(times, t_s, zone)})"


def outside_words(path: Path, t_s: float, zone: str, *, now_utc_s: float | None = None) -> str | None:
    """Why a time [s] can hardly be meant: outside the run's record; None where it is inside.

    ``now_utc_s`` is this moment in seconds since 1970 where the run is still being recorded: then nothing in the future
    is inside. What was loaded up to an hour before the start is.
    """
    times = _times(path)
    last_s = times.end_s if now_utc_s is None else max(times.end_s, times.t_s(now_utc_s))
    if t_s > last_s + JUST_NOW_S:
        what = "its record ends" if now_utc_s is None else "is still to come: it is now"
        return f"{moment(t_s)} into the run {what} at {moment(last_s)} ({_shown(times, last_s, zone)})"
    if t_s < -EARLY_S:
        return f"{moment(-t_s)} before the start, which was at {_shown(times, 0.0, zone)}"
    return None


def _shown(times: _Times, t_s: float, zone: str) -> str:
    local = datetime.fromtimestamp(times.shown_s(t_s), UTC).astimezone(zone_on_record(zone))
    return f"{local:%Y-%m-%d %H:%M:%S} {zone}"


def last_t_s(path: Path) -> float:
    """Time of the last good row [s], 0 where there is none."""
    last = last_row(check_record(path))
    return 0.0 if last is None else last.t_s


def enter_late(path: Path, mark: Mark, *, now_utc: datetime | float, files: Files | None = None) -> None:
    """Enter a mark into a run that nobody records; it must say that it was entered later.

    Raises RunFolderError if the run is being recorded, was changed since it was sealed, or cannot be written.
    """
    _append(path, encode_mark(mark), now_utc, files)


def strike_late(
    path: Path, mark_id: str, *, why: str, by: str | None, now_utc: datetime | float, files: Files | None = None
) -> Mark:
    """Strike a mark out of a run that nobody records; its entry stays. Returns the mark."""
    mark = mark_to_strike(read_marks(path), mark_id)
    _append(path, encode_strike(mark.mark_id, why=why, by=by), now_utc, files)
    return mark


def _append(path: Path, detail: str, now_utc: datetime | float, files: Files | None) -> None:
    t_s = last_t_s(path)
    lock = Lock(path / RUN_LOCK, {"who": "mark"})
    try:
        if (path / "seal.json").exists():
            append_sealed(path, [(t_s, detail)], now_utc=now_utc, files=files)
        else:
            append_events(path, [event_body(t_s, utc_text(now_utc), "mark", detail)], files=files)
    except OSError as error:
        raise RunFolderError(f"{path} cannot be written: {error.strerror or error}.") from None
    finally:
        lock.release()
        os.unlink(path / RUN_LOCK)
