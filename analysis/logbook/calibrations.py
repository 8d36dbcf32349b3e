"""Calibrations in the log book: under which sensor life, which correction was valid on a day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from soakwitness.analysis.calibration.correcting.correction import Correction, correction_from_dict, correction_to_dict
from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.sensors import (
    KeptCalibration,
    SensorLife,
    add_calibration,
    calibration_valid_on,
    calibrations,
    counting_on,
    fit_sensor,
    sensor_life_on,
    sensor_lives,
)
from soakwitness.analysis.record.moments import Stamp, later, local_day, moment_of
from soakwitness.firmware_bridge.common.surfaces import Field, NextCommand
from soakwitness.firmware_bridge.common.units import to_kelvin
from soakwitness.firmware_bridge.common.wording import Diff, Says, joined
from soakwitness.firmware_bridge.runfolder.contents import Column, RunHeader

OFFSET_SAME_C = 0.05
LATEST_ZONE_S = 12 * 3600.0  # a local day ends up to so much later than that day in UTC


@dataclass(frozen=True)
class KeptSensorCalibration:
    """Entry of a calibration, its sensor life, and whether that life was begun for it.

    ``before_utc`` is where the life that was begun ends, if another one was on record that began later.
    """

    entry: int
    life: int
    begun: bool
    before_utc: str | None = None


def keep_correction(
    book: LogBook,
    correction: Correction,
    *,
    at_utc: str,
    stamp: Stamp,
    begins_utc: str | None = None,
    column: Column | None = None,
    run: str | None = None,
    note: str = "",
    kind: str = "calibration",
) -> KeptSensorCalibration:
    """Enter a correction under the sensor life that was in force.

    ``column``: what the run says of the sensor; it must agree with the life on record. Returns the entry. Where no life
    was on record one is begun at ``begins_utc``, else at ``at_utc``.

    Raises LogBookError if the run and the life on record disagree: the thermocouple, its channel, place or input offset
    was changed. Or if the calibration was done before its sensor life began.
    """
    furnace, sensor = correction.furnace, correction.sensor
    with book.writing(stamp):
        after = next((life for life in sensor_lives(book, furnace, sensor) if life.fitted_utc > at_utc), None)
        if run is None and after is not None and sensor_life_on(book, furnace, sensor, at_utc) is None:
            _check_day(correction, after.fitted_utc, "its sensor life")
            at_utc = after.fitted_utc
        life, begun = life_at(book, furnace, sensor, at_utc=at_utc, begins_utc=begins_utc, stamp=stamp, column=column)
        (here,) = (one for one in sensor_lives(book, furnace, sensor) if one.entry == life)
        _check_day(correction, here.fitted_utc, "the run it was made from" if begun else "its sensor life")
        entry = add_calibration(
            book,
            life=life,
            done_on=correction.done_on,
            due_on=correction.due_on,
            done_by=correction.done_by,
            correction=correction_to_dict(correction),
            stamp=stamp,
            run=run,
            note=note,
            kind=kind,
        )
    return KeptSensorCalibration(entry, life, begun, here.ended_utc if begun else None)


def _check_day(correction: Correction, began_utc: str, what: str) -> None:
    """Refuse a calibration that was done before its sensor life, or the run it was made from, began."""
    if later(moment_of(correction.done_on), LATEST_ZONE_S) < began_utc:
        says = (
            f"{correction.sensor} of {correction.furnace}: the calibration was done on {correction.done_on}, but "
            f"{what} began on {began_utc[:10]}. Give the right"
        )
        then = Says.of("{date}; or enter the sensor that was there then:", date=Field("date"))
        raise LogBookError(joined([says, then, _fitted(correction.sensor, correction.furnace)]))


def _fitted(sensor: str, furnace: str) -> NextCommand:
    return NextCommand.of("sensor", "fitted", sensor, "--furnace", furnace, "--at", "...")


def life_at(
    book: LogBook,
    furnace: str,
    sensor: str,
    *,
    at_utc: str,
    stamp: Stamp,
    begins_utc: str | None = None,
    column: Column | None = None,
) -> tuple[int, bool]:
    """Sensor life in force at a moment, begun there or at ``begins_utc`` if none is on record.

    ``stamp``: when and by whom a new life is entered. Returns number of the life, and whether it was begun now.

    Raises LogBookError if the run and the life on record disagree.
    """
    life = sensor_life_on(book, furnace, sensor, at_utc)
    if life is not None:
        if column is not None and (changed := changes(life, column)):
            step = _fitted(sensor, furnace)
            says = (
                "{whose}: the run says {changed}. That ends the sensor life on record; enter the change first: {step}"
            )
            raise LogBookError(Says.of(says, whose=f"{sensor} of {furnace}", changed=changed, step=step))
        return life.entry, False
    entry = fit_sensor(
        book,
        furnace,
        sensor,
        fitted_utc=begins_utc or at_utc,
        stamp=stamp,
        role=column.role if column else None,
        serial=column.serial if column else None,
        channel=column.channel if column else None,
        position=column.position if column else None,
        input_offset_c=to_kelvin(column.input_offset, column.unit) if column else None,
        thermocouple=column.thermocouple if column else None,
        tolerance_class=column.tolerance_class if column else None,
        note="begun with its first calibration; when it was fitted is not known",
    )
    return entry, True


def changes(life: SensorLife, column: Column) -> Says | None:
    """What a run says of a sensor that its life on record does not.

    Returns words; None where they agree, or where one of them says nothing.
    """
    found: list[str | Says] = [
        f"{name} {there}, the log book {here}"
        for name, here, there in (
            ("serial", life.serial, column.serial),
            ("channel", life.channel, column.channel),
            ("position", life.position, column.position),
            ("thermocouple type", life.thermocouple, column.thermocouple),
        )
        if here is not None and there is not None and here != there
    ]
    offset_c = to_kelvin(column.input_offset, column.unit)
    if None not in (offset_c, life.input_offset_c) and abs(offset_c - life.input_offset_c) > OFFSET_SAME_C:  # type: ignore[operator]
        here, there = (Diff(value or 0.0, digits=3) for value in (life.input_offset_c, offset_c))
        found.append(Says.of("input offset {there}, the log book {here}", there=there, here=here))
    return joined(found, "; ") if found else None


def correction_on(book: LogBook, furnace: str, sensor: str, day: str) -> Correction | None:
    """Correction that was valid for a sensor on a day.

    ``day``: local day, or UTC text of a moment such as a run's start. Returns none where the life in force has none.
    Ask it ``overdue_on(day)``.
    """
    kept = calibration_valid_on(book, furnace, sensor, day)
    return None if kept is None else correction_from_dict(kept.correction)


def calibrations_for(
    book: LogBook, furnace: str, columns: Iterable[Column], *, started_utc: str, zone: str | None
) -> tuple[dict[str, KeptCalibration], tuple[Says, ...]]:
    """Calibrations valid for the sensors of a run.

    ``columns``: what the run says of its columns; only sensors count. ``started_utc``: start of the run, UTC text: the
    life in force at that moment counts. ``zone``: zone of the run: a calibration counts from the local day on which it
    was done. Returns newest calibrations by the sensor's name, and in words why one on record is not used: it was
    withdrawn, or thermocouple, channel, place or input offset of the run are not those of the life on record.
    """
    day = local_day(started_utc, zone)
    found: dict[str, KeptCalibration] = {}
    refused: list[Says] = []
    for column in columns:
        life = sensor_life_on(book, furnace, column.name, started_utc) if column.kind == "sensor" else None
        made = [] if life is None else counting_on(calibrations(book, life.entry), day)
        if life is None or not made:
            refused += [] if life is None else _withdrawn(book, life.entry, column.name, day)
            continue
        if words := changes(life, column):
            says = "{sensor}: the correction of {day} is not used, the run says {words}."
            refused.append(Says.of(says, sensor=column.name, day=made[-1].done_on, words=words))
        else:
            found[column.name] = made[-1]
    return found, tuple(refused)


def _withdrawn(book: LogBook, life: int, sensor: str, day: str) -> list[Says]:
    """Name the newest calibration of a life that would have been used, had it not been withdrawn."""
    struck = [one for one in counting_on(calibrations(book, life, withdrawn=True), day) if one.struck_utc]
    if not struck:
        return []
    last = struck[-1]
    says = f"{sensor}: calibration {last.entry} of {last.done_on} is not used, it was withdrawn: {last.struck_why}."
    return [Says.plain(says)]


def with_wire_on_record(book: LogBook, header: RunHeader) -> RunHeader:
    """Say of a run's sensors the thermocouple type and tolerance class that the log book has, where the run has none.

    ``header``: the run as its folder says; the folder never changes. Returns with the columns filled in from the sensor
    lives in force, unless run and life disagree.
    """

    def filled(column: Column) -> Column:
        life = sensor_life_on(book, header.furnace_name, column.name, header.started_utc)
        if column.kind != "sensor" or life is None or changes(life, column):
            return column
        return replace(
            column,
            thermocouple=column.thermocouple or life.thermocouple,
            tolerance_class=column.tolerance_class or life.tolerance_class,
        )

    return replace(header, columns=tuple(filled(column) for column in header.columns))
