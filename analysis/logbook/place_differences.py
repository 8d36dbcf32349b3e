"""Place differences in the log book: under which sensor life, which stand on a day, when one ended."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from soakwitness.analysis.calibration.correcting.place_difference import (
    MeasuredPlace,
    PlaceDifference,
    PlacePoint,
    standing,
)
from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.calibrations import changes, life_at
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.sensors import sensor_life_on
from soakwitness.analysis.record.moments import Stamp, local_day
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field, NextCommand
from soakwitness.firmware_bridge.common.wording import Says, joined
from soakwitness.firmware_bridge.runfolder.contents import Column


@dataclass(frozen=True)
class KeptPlace:
    """A place difference as it stands in the log book, with its sensor, and when and why it ended."""

    point: PlacePoint
    furnace: str
    sensor: str
    life: int
    life_ended_utc: str | None
    run: str | None
    survey: int | None
    ended_utc: str | None
    ended_why: str | None
    entered_by: str
    struck_why: str | None

    def stands_at(self, at_utc: str) -> bool:
        """Whether nobody had said by then that the work's place is another."""
        return self.ended_utc is None or at_utc < self.ended_utc


def keep_place(
    book: LogBook,
    furnace: str,
    sensor: str,
    point: PlacePoint,
    *,
    at_utc: str,
    stamp: Stamp,
    measured: MeasuredPlace | None = None,
    column: Column | None = None,
    run: str | None = None,
    survey: int | None = None,
) -> int:
    """Enter a place difference under the sensor life in force at a moment, begun there where none is on record.

    Raises LogBookError if the run and the life on record disagree: thermocouple, channel or place is another.
    """
    with book.writing(stamp):
        life, _ = life_at(book, furnace, sensor, at_utc=at_utc, stamp=stamp, column=column)
        return book.insert(
            "place_differences",
            life=life,
            at_c=point.at_c,
            difference_c=point.difference_c,
            expanded_c=point.expanded_c,
            correction_c=point.correction_c,
            correction_expanded_c=point.correction_expanded_c,
            holds_error=int(point.holds_error),
            source=point.source,
            run=run,
            survey=survey,
            work_place=point.work_place,
            why=point.why,
            detail=None if measured is None else json.dumps(measured.as_dict(), ensure_ascii=False),
            done_on=point.done_on,
            due_on=point.due_on,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def places(book: LogBook, furnace: str | None = None, *, struck: bool = False) -> tuple[KeptPlace, ...]:
    """Place differences, oldest first; ``struck``: those struck through too."""
    rows = book.rows(
        "SELECT p.*, l.furnace, l.sensor, (SELECT min(n.fitted_utc) FROM sensor_lives n WHERE n.furnace = l.furnace "
        "AND n.sensor = l.sensor AND n.struck_utc IS NULL AND n.fitted_utc > l.fitted_utc) AS life_ended_utc "
        "FROM place_differences p JOIN sensor_lives l ON l.entry = p.life "
        "WHERE (?1 IS NULL OR l.furnace = ?1) AND (?2 OR p.struck_utc IS NULL) ORDER BY p.done_on, p.entry",
        furnace,
        struck,
    )
    return tuple(_kept(row) for row in rows)


def end_place(book: LogBook, entry: int, *, at_utc: str, why: str, stamp: Stamp) -> None:
    """Say that the work stands elsewhere from a moment on, or the furnace was changed: earlier runs keep it.

    Raises LogBookError if there is no such entry, it ended already, or no reason is given.
    """
    if not why.strip():
        raise LogBookError(Says.of("Say why the place difference ends{why}.", why=Field("why", around=ASIDE)))
    with book.writing(stamp):
        row = book.row("SELECT ended_utc FROM place_differences WHERE entry = ? AND struck_utc IS NULL", entry)
        if row is None:
            raise LogBookError(
                joined([f"There is no place difference {entry}. They are shown by:", NextCommand.of("place", "list")])
            )
        if row["ended_utc"] is not None:
            raise LogBookError(f"Place difference {entry} ended at {row['ended_utc']} already.")
        book.connection.execute(
            "UPDATE place_differences SET ended_utc = ?, ended_by = ?, ended_why = ? WHERE entry = ?",
            (at_utc, stamp.by, why.strip(), entry),
        )


def places_for(
    book: LogBook,
    furnace: str,
    columns: Iterable[Column],
    *,
    started_utc: str,
    zone: str | None,
    work_places: Sequence[str] = (),
) -> tuple[dict[str, PlaceDifference], tuple[Says, ...]]:
    """Place differences that stand for the sensors of a run, by the sensor's name, and in words why one is not used.

    ``work_places``: where pieces of the run stood, as entered: a difference for another place is none for them.
    """
    day = local_day(started_utc, zone)
    kept = [one for one in places(book, furnace) if one.point.done_on <= day]
    found: dict[str, PlaceDifference] = {}
    refused: list[Says] = []
    for column in columns:
        life = sensor_life_on(book, furnace, column.name, started_utc) if kept and column.kind == "sensor" else None
        mine = [one for one in kept if life is not None and one.life == life.entry]
        standing_now = []
        for one in mine:
            why_not = _why_not(one, started_utc, changes(life, column) if life else None, work_places)
            if why_not is None:
                standing_now.append(one.point)
            else:
                says = "{sensor}: the {place} is not used, {why}."
                refused.append(Says.of(says, sensor=column.name, place=one.point.says, why=why_not))
        if standing_now:
            found[column.name] = standing(standing_now)
    return found, tuple(refused)


def _why_not(one: KeptPlace, started_utc: str, changed: Says | None, work_places: Sequence[str]) -> Says | None:
    """Why a place difference of the sensor's life does not count for a run."""
    if not one.stands_at(started_utc):
        return Says.plain(f"it ended on {str(one.ended_utc)[:10]}: {one.ended_why}")
    if changed is not None:
        return Says.of("the run says {changed}", changed=changed)
    elsewhere = sorted({p for p in work_places if p.casefold() != one.point.work_place.casefold()})
    if one.point.work_place and elsewhere:
        return Says.plain(f"a piece stood at {elsewhere[0]}")
    return None


def _kept(row: sqlite3.Row) -> KeptPlace:
    point = PlacePoint(
        **{name: row[name] for name in PlacePoint.__dataclass_fields__ if name != "holds_error"},
        holds_error=bool(row["holds_error"]),
    )
    names = [name for name in KeptPlace.__dataclass_fields__ if name != "point"]
    return KeptPlace(point=point, **{name: row[name] for name in names})
