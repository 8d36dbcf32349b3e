"""What calibrations were made from, from which day they count, and how long sensors were hot: kept and read back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.record.moments import Stamp, read_day
from soakwitness.firmware_bridge.common.surfaces import ASIDE, Field
from soakwitness.firmware_bridge.common.wording import Says

if TYPE_CHECKING:
    from soakwitness.analysis.record.hours_hot import HoursHot

Reading = tuple[float, float, float]  # since the start [s], of the reference and of the sensor [degC]


@dataclass(frozen=True)
class KeptRecord:
    """What a calibration was made from: the record as its maker wrote it, and every reading used, level by level."""

    calibration: int
    record: Mapping[str, Any]
    levels: tuple[tuple[Reading, ...], ...]


def add_record(
    book: LogBook, calibration: int, record: Mapping[str, Any], levels: Sequence[Iterable[Reading]], *, stamp: Stamp
) -> None:
    """Keep what a calibration was made from; ``levels`` in the order of the record's."""
    with book.writing(stamp):
        text = json.dumps(record, ensure_ascii=False)
        book.connection.execute("INSERT INTO calibration_records VALUES (?, ?)", (calibration, text))
        book.connection.executemany(
            "INSERT INTO calibration_readings VALUES (?, ?, ?, ?, ?, ?)",
            [
                (calibration, level, number, *reading)
                for level, readings in enumerate(levels)
                for number, reading in enumerate(readings)
            ],
        )


def record_of_calibration(book: LogBook, calibration: int) -> KeptRecord | None:
    """What a calibration was made from; None where it was kept before records were."""
    row = book.row("SELECT record FROM calibration_records WHERE calibration = ?", calibration)
    if row is None:
        return None
    levels: dict[int, list[Reading]] = {}
    for one in book.rows(
        "SELECT * FROM calibration_readings WHERE calibration = ? ORDER BY level, number", calibration
    ):
        levels.setdefault(one["level"], []).append((one["t_s"], one["reference_c"], one["sensor_c"]))
    return KeptRecord(calibration, json.loads(row["record"]), tuple(tuple(levels[key]) for key in sorted(levels)))


def apply_from(book: LogBook, calibration: int, *, day: str, why: str, stamp: Stamp) -> int:
    """Have a calibration count from a day before it was done, on purpose and with a reason; returns the entry.

    Raises LogBookError without a reason, if there is no such calibration, or the day lies before its sensor life began
    or after it was done.
    """
    row = book.row(
        "SELECT c.*, l.fitted_utc FROM calibrations c JOIN sensor_lives l ON l.entry = c.life "
        "WHERE c.entry = ? AND c.struck_utc IS NULL",
        calibration,
    )
    if row is None:
        raise LogBookError(f"There is no calibration {calibration} in force. Numbers are shown by: sensor list")
    if not why.strip():
        raise LogBookError(Says.of("Say why it counts from an earlier day{why}.", why=Field("why", around=ASIDE)))
    if row["kind"] != "calibration":
        raise LogBookError(f"{calibration} is a check, and corrects nothing. Name a calibration.")
    counts_from = read_day(day)
    if counts_from > row["done_on"]:
        raise LogBookError(f"{counts_from} is after calibration {calibration} was done, on {row['done_on']}.")
    if counts_from < row["fitted_utc"][:10]:
        raise LogBookError(
            f"{counts_from} is before its sensor life began, on {row['fitted_utc'][:10]}: a calibration says nothing "
            "of another thermocouple. Give a later day."
        )
    with book.writing(stamp):
        return book.insert(
            "calibrations_applied",
            calibration=calibration,
            counts_from=counts_from,
            why=why.strip(),
            entered_utc=stamp.at_utc,
            entered_by=stamp.by,
        )


@dataclass(frozen=True)
class Heats:
    """How often and how long a sensor was hot in runs [h], and its hottest reading [degC]."""

    heats: int = 0
    hours_800: float = 0.0
    hours_950: float = 0.0
    hottest_c: float | None = None


def keep_hours_hot(book: LogBook, run: str, found: Iterable[HoursHot], *, files: str) -> None:
    """Keep how long each sensor was hot in a run; what was kept of it before is replaced."""
    book.connection.execute("DELETE FROM run_heat WHERE run = ?", (run,))
    for one in found:
        book.insert(
            "run_heat",
            run=run,
            sensor=one.sensor,
            files=files,
            hours_800=one.hours_800,
            hours_950=one.hours_950,
            hottest_c=one.hottest_c,
        )


def runs_without_hours(book: LogBook) -> list[tuple[str, str, str]]:
    """Runs of which it is not known, or of an earlier state of the folder: id, folder, state of the folder."""
    rows = book.rows(
        "SELECT run, folder, files FROM runs r WHERE missing = 0 AND NOT EXISTS "
        "(SELECT 1 FROM run_heat h WHERE h.run = r.run AND h.files = r.files) ORDER BY started_utc"
    )
    return [(row["run"], row["folder"], row["files"]) for row in rows]


def heats_of(
    book: LogBook,
    furnace: str,
    sensor: str,
    *,
    after_utc: str,
    before_utc: str | None = None,
    without: str | None = None,
) -> Heats:
    """Sum over the runs of a sensor that began from one moment on and before another; ``without`` leaves a run out.

    A doubtful run is no heat, but its hours were as hot.
    """
    row = book.row(
        "SELECT count(CASE WHEN r.run IN (SELECT run FROM standing_runs) THEN 1 END) AS heats, "
        "total(h.hours_800) AS hours_800, total(h.hours_950) AS hours_950, "
        "max(h.hottest_c) AS hottest_c FROM run_heat h JOIN unstruck_runs r ON r.run = h.run "
        "WHERE r.furnace = ?1 AND h.sensor = ?2 AND r.started_utc >= ?3 AND (?4 IS NULL OR r.started_utc < ?4) "
        "AND r.run IS NOT ?5 AND h.hottest_c >= 300",
        furnace,
        sensor,
        after_utc,
        before_utc,
        without,
    )
    assert row is not None
    return Heats(row["heats"], row["hours_800"], row["hours_950"], row["hottest_c"])
