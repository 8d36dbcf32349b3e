"""Sensor lives with their calibrations, and the furnace's surveys and accuracy tests."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp, moment_of
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import joined


@dataclass(frozen=True)
class SensorLife:
    """One thermocouple on one instrument channel, from fitting to the next change. ``input_offset_c`` [K]."""

    entry: int
    furnace: str
    sensor: str
    fitted_utc: str
    ended_utc: str | None
    role: str | None
    serial: str | None
    channel: str | None
    position: str | None
    input_offset_c: float | None
    thermocouple: str | None
    tolerance_class: str | None
    note: str
    entered_by: str
    diameter_mm: float | None = None
    cuts: int | None = None


@dataclass(frozen=True)
class KeptCalibration:
    """A correction of one sensor life; ``correction`` is what the calibration's maker wrote, as a plain dict.

    ``kind`` is ``calibration``, or ``check`` of the one in force, which is never used to correct. ``counts_from`` is
    the local day from which it counts: that on which it was done, or an earlier one, and ``counts_why`` says why.
    """

    entry: int
    life: int
    done_on: str
    due_on: str | None
    done_by: str
    run: str | None
    correction: Mapping[str, Any]
    note: str
    struck_utc: str | None
    struck_by: str | None
    struck_why: str | None
    kind: str = "calibration"
    counts_from: str = ""
    counts_why: str = ""

    def overdue_on(self, day: str) -> bool:
        """Whether the due day has passed on ``day`` (both local days)."""
        return self.due_on is not None and day[:10] > self.due_on


@dataclass(frozen=True)
class Check:
    """A survey (``sensor`` None) or an accuracy test, with its result as a plain dict."""

    entry: int
    furnace: str
    sensor: str | None
    life: int | None
    done_on: str
    due_on: str | None
    run: str | None
    result: Mapping[str, Any]
    note: str
    entered_by: str


def fit_sensor(
    book: LogBook,
    furnace: str,
    sensor: str,
    *,
    fitted_utc: str,
    stamp: Stamp,
    role: str | None = None,
    serial: str | None = None,
    channel: str | None = None,
    position: str | None = None,
    input_offset_c: float | None = None,
    thermocouple: str | None = None,
    tolerance_class: str | None = None,
    diameter_mm: float | None = None,
    cuts: int | None = None,
    note: str = "",
) -> int:
    """Begin a new sensor life; the one before it ends there.

    Raises LogBookError if a life of this sensor was entered as fitted at that very moment.
    """
    fitted_utc = moment_of(fitted_utc)
    twin = book.row(
        "SELECT entry FROM sensor_lives WHERE furnace = ? AND sensor = ? AND fitted_utc = ? AND struck_utc IS NULL",
        furnace,
        sensor,
        fitted_utc,
    )
    if twin is not None:
        raise LogBookError(
            f"{sensor} of {furnace} is entered as fitted at {fitted_utc} already (entry {twin['entry']})."
        )
    with book.writing(stamp):
        return book.insert(
            "sensor_lives",
            furnace=furnace,
            sensor=sensor,
            fitted_utc=fitted_utc,
            role=role,
            serial=serial,
            channel=channel,
            position=position,
            input_offset_c=input_offset_c,
            thermocouple=thermocouple,
            tolerance_class=tolerance_class,
            diameter_mm=diameter_mm,
            cuts=cuts,
            note=note,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def sensor_lives(book: LogBook, furnace: str | None = None, sensor: str | None = None) -> tuple[SensorLife, ...]:
    """Lives that stand (not struck), oldest first, each with the moment the next one of that sensor began."""
    rows = book.rows(
        "SELECT *, lead(fitted_utc) OVER (PARTITION BY furnace, sensor ORDER BY fitted_utc) AS ended_utc "
        "FROM sensor_lives WHERE struck_utc IS NULL AND (?1 IS NULL OR furnace = ?1) AND (?2 IS NULL OR sensor = ?2) "
        "ORDER BY furnace, sensor, fitted_utc",
        furnace,
        sensor,
    )
    return tuple(_life(row) for row in rows)


def sensor_life_on(book: LogBook, furnace: str, sensor: str, day: str) -> SensorLife | None:
    """Life that was in force on a day or at a moment.

    ``day``: ``2026-11-25`` (its end counts), or UTC text of a moment such as a run's start. Returns none where no
    sensor was entered as fitted by then.
    """
    at_utc = moment_of(day)
    lives = [life for life in sensor_lives(book, furnace, sensor) if life.fitted_utc <= at_utc]
    return lives[-1] if lives else None


def add_calibration(
    book: LogBook,
    *,
    life: int,
    done_on: str,
    due_on: str | None,
    done_by: str,
    correction: Mapping[str, Any],
    stamp: Stamp,
    run: str | None = None,
    note: str = "",
    kind: str = "calibration",
) -> int:
    """Enter a correction for one sensor life.

    ``done_on``, ``due_on``: local days such as ``2026-11-25``; ``due_on`` None where it never falls due.
    ``correction``: the correction as plain data; this room keeps it and does not look inside.
    """
    if book.row("SELECT 1 FROM sensor_lives WHERE entry = ? AND struck_utc IS NULL", life) is None:
        raise LogBookError(
            joined([f"There is no sensor life {life}. Enter it first:", NextCommand.of("sensor", "fitted")])
        )
    with book.writing(stamp):
        return book.insert(
            "calibrations",
            life=life,
            done_on=done_on,
            due_on=due_on,
            done_by=done_by,
            run=run,
            correction=json.dumps(correction, ensure_ascii=False),
            kind=kind,
            note=note,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def calibrations(book: LogBook, life: int, *, withdrawn: bool = False) -> tuple[KeptCalibration, ...]:
    """Calibrations and checks of a sensor life, oldest first; those withdrawn only on request."""
    rows = book.rows(
        "SELECT c.*, coalesce(a.counts_from, c.done_on) AS counts_from, coalesce(a.why, '') AS counts_why "
        "FROM calibrations c LEFT JOIN calibrations_applied a ON a.entry = (SELECT max(entry) FROM "
        "calibrations_applied WHERE calibration = c.entry AND struck_utc IS NULL) "
        "WHERE c.life = ? AND (? OR c.struck_utc IS NULL) ORDER BY c.done_on, c.entry",
        life,
        withdrawn,
    )
    return tuple(_calibration(row) for row in rows)


def calibration_numbered(book: LogBook, entry: int) -> KeptCalibration:
    """A calibration or check by its number, withdrawn or not.

    Raises LogBookError if there is none.
    """
    row = book.row("SELECT life FROM calibrations WHERE entry = ?", entry)
    if row is None:
        raise LogBookError(
            joined([f"There is no calibration {entry}. Numbers are shown by:", NextCommand.of("sensor", "list")])
        )
    return next(one for one in calibrations(book, row["life"], withdrawn=True) if one.entry == entry)


def calibration_valid_on(book: LogBook, furnace: str, sensor: str, day: str) -> KeptCalibration | None:
    """Newest calibration, made by that day, of the sensor life in force then."""
    life = sensor_life_on(book, furnace, sensor, day)
    if life is None:
        return None
    found = counting_on(calibrations(book, life.entry), day)
    return found[-1] if found else None


def counting_on(made: Iterable[KeptCalibration], day: str) -> list[KeptCalibration]:
    """Calibrations (no checks) that count on a local day, the one in force last."""
    return [one for one in made if one.kind == "calibration" and one.counts_from <= day[:10]]


def withdraw_calibration(book: LogBook, entry: int, *, why: str, stamp: Stamp) -> None:
    """Strike a correction through: it is kept and named, and no longer used."""
    strike(book, "calibrations", [entry], why=why, stamp=stamp)


def calibrations_from_run(book: LogBook, run: str, furnace: str, sensor: str) -> tuple[int, ...]:
    """Numbers of the calibrations of a sensor that were made from a run and stand."""
    rows = book.rows(
        "SELECT c.entry FROM calibrations c JOIN sensor_lives l ON l.entry = c.life WHERE c.run = ? AND l.furnace = ? "
        "AND l.sensor = ? AND c.struck_utc IS NULL ORDER BY c.entry",
        run,
        furnace,
        sensor,
    )
    return tuple(row["entry"] for row in rows)


def add_survey(
    book: LogBook,
    furnace: str,
    *,
    done_on: str,
    due_on: str | None,
    result: Mapping[str, Any],
    stamp: Stamp,
    run: str | None = None,
    note: str = "",
) -> int:
    """Enter a uniformity survey of a furnace; ``done_on`` and ``due_on`` are local days. Returns its number."""
    with book.writing(stamp):
        return book.insert(
            "surveys",
            furnace=furnace,
            done_on=done_on,
            due_on=due_on,
            run=run,
            result=json.dumps(result, ensure_ascii=False),
            note=note,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def surveys(book: LogBook, furnace: str | None = None) -> tuple[Check, ...]:
    """Surveys of a furnace that stand, oldest first."""
    rows = book.rows(
        "SELECT *, NULL AS sensor, NULL AS life FROM surveys WHERE (?1 IS NULL OR furnace = ?1) AND struck_utc IS NULL "
        "ORDER BY done_on, entry",
        furnace,
    )
    return tuple(_check(row) for row in rows)


def survey_numbered(book: LogBook, entry: int) -> Check:
    """One survey by its number, struck ones left out.

    Raises LogBookError if there is none.
    """
    row = book.row("SELECT *, NULL AS sensor, NULL AS life FROM surveys WHERE entry = ? AND struck_utc IS NULL", entry)
    if row is None:
        raise LogBookError(
            joined([f"There is no survey {entry}. They are shown by:", NextCommand.of("survey", "--list")])
        )
    return _check(row)


def add_accuracy(
    book: LogBook,
    furnace: str,
    sensor: str,
    *,
    done_on: str,
    due_on: str | None,
    result: Mapping[str, Any],
    stamp: Stamp,
    run: str | None = None,
    note: str = "",
) -> int:
    """Enter an accuracy test of a sensor's chain, under the sensor life of that day. Returns its number.

    Trend charts read ``result["difference_c"]`` [K], the sensor's reading minus the reference's.
    """
    life = sensor_life_on(book, furnace, sensor, done_on)
    with book.writing(stamp):
        return book.insert(
            "accuracy_tests",
            furnace=furnace,
            sensor=sensor,
            life=None if life is None else life.entry,
            done_on=done_on,
            due_on=due_on,
            run=run,
            result=json.dumps(result, ensure_ascii=False),
            note=note,
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


def accuracy_tests(book: LogBook, furnace: str, sensor: str | None = None) -> tuple[Check, ...]:
    """Accuracy tests of a furnace (or of one sensor) that stand, oldest first."""
    rows = book.rows(
        "SELECT * FROM accuracy_tests WHERE furnace = ?1 AND (?2 IS NULL OR sensor = ?2) AND struck_utc IS NULL "
        "ORDER BY done_on, entry",
        furnace,
        sensor,
    )
    return tuple(_check(row) for row in rows)


def _life(row: sqlite3.Row) -> SensorLife:
    return SensorLife(**{name: row[name] for name in SensorLife.__dataclass_fields__})


def _calibration(row: sqlite3.Row) -> KeptCalibration:
    values = {name: row[name] for name in KeptCalibration.__dataclass_fields__}
    return KeptCalibration(**{**values, "correction": json.loads(row["correction"])})


def _check(row: sqlite3.Row) -> Check:
    values = {name: row[name] for name in Check.__dataclass_fields__}
    return Check(**{**values, "result": json.loads(row["result"])})
