"""Corrections as they count on the day of a run: U grown since, ended by hours hot or by a check that contradicts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from soakwitness.analysis.calibration.correcting.ageing import (
    Drift,
    Since,
    aged,
    assumed_drift,
    hours_left,
    measured_drift,
)
from soakwitness.analysis.calibration.correcting.checking import compare_with
from soakwitness.analysis.calibration.correcting.correction import Correction, correction_from_dict
from soakwitness.analysis.logbook.calibration_records import Heats, heats_of
from soakwitness.analysis.logbook.calibrations import calibrations_for
from soakwitness.analysis.logbook.runs import find_run_entry
from soakwitness.analysis.logbook.sensors import KeptCalibration, SensorLife, calibrations, counting_on, sensor_lives
from soakwitness.analysis.record.moments import days_between, local_day, moment_of

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.firmware_bridge.common.wording import Says
    from soakwitness.firmware_bridge.runfolder.contents import Column, RunHeader


def corrections_for(
    book: LogBook, header: RunHeader, columns: Iterable[Column] | None = None
) -> tuple[dict[str, Correction], tuple[Says, ...]]:
    """Corrections of a run's sensors as they count at its start, and in words why one on record is not used.

    One that has lapsed is among them: ask it ``overdue_on(day)``. ``columns``: those asked for, else all.
    """
    furnace, at_utc, zone = header.furnace_name, header.started_utc, header.zone
    wanted = header.columns if columns is None else columns
    found, refused = calibrations_for(book, furnace, wanted, started_utc=at_utc, zone=zone)
    return corrections_in_force(book, furnace, found, at_utc=at_utc, zone=zone), refused


def corrections_in_force(
    book: LogBook, furnace: str, found: Mapping[str, KeptCalibration], *, at_utc: str, zone: str | None
) -> dict[str, Correction]:
    """The calibrations found for the sensors of a run, as they count at a moment."""
    return {sensor: in_force(book, furnace, sensor, one, at_utc=at_utc, zone=zone) for sensor, one in found.items()}


def in_force(
    book: LogBook, furnace: str, sensor: str, kept: KeptCalibration, *, at_utc: str, zone: str | None
) -> Correction:
    """One calibration as it counts at a moment: with the drift that its sensor life has shown, or that is assumed."""
    day = local_day(at_utc, zone)
    life = next(one for one in sensor_lives(book, furnace, sensor) if one.entry == kept.life)
    made = calibrations(book, kept.life)

    def aged_at(moment_utc: str, on_day: str) -> Correction:
        since = since_calibration(book, life, kept, at_utc=moment_utc, day=on_day)
        drift = drift_of(book, life, kept, counting_on(made, on_day), hottest_c=since.hottest_c)
        correction = replace(correction_from_dict(kept.correction), done_on=kept.done_on, due_on=kept.due_on)
        return aged(correction, drift, since)

    now = aged_at(at_utc, day)
    for check in made:
        if check.kind != "check" or check.entry < kept.entry or not kept.done_on <= check.done_on <= day:
            continue
        then = aged_at(moment_of(check.done_on), check.done_on)
        found = None if then.overdue_on(check.done_on) else compare_with(correction_from_dict(check.correction), then)
        if found is not None and found.contradicts:
            lapse = f"contradicted by the check of {check.done_on}"
            return replace(now, due_on=min(now.due_on or check.done_on, check.done_on), lapse=lapse)
    return now


def since_calibration(book: LogBook, life: SensorLife, kept: KeptCalibration, *, at_utc: str, day: str) -> Since:
    """Time and hours hot between a calibration and a moment; the run it was made in heats nothing after it."""
    own = find_run_entry(book, kept.run) if kept.run else None
    begun = kept.done_on if own is None else own.started_utc
    heats = heats_of(book, life.furnace, life.sensor, after_utc=begun, before_utc=at_utc, without=kept.run)
    return Since(abs(days_between(kept.done_on, day)), heats.hours_800, heats.hours_950, heats.hottest_c)


def life_heats(book: LogBook, life: SensorLife) -> Heats:
    """Heats and hours hot of a sensor life so far."""
    return heats_of(book, life.furnace, life.sensor, after_utc=life.fitted_utc, before_utc=life.ended_utc)


def hours_left_of(book: LogBook, life: SensorLife, *, at_utc: str, zone: str | None) -> float | None:
    """Hours above 950 degC after which the calibration in force ends; None where none is, or nothing ends it [h]."""
    day = local_day(at_utc, zone)
    counting = counting_on(calibrations(book, life.entry), day)
    if not counting or life.ended_utc is not None:
        return None
    since = since_calibration(book, life, counting[-1], at_utc=at_utc, day=day)
    return hours_left(drift_of(book, life, counting[-1], counting, hottest_c=since.hottest_c), since)


def drift_of(
    book: LogBook,
    life: SensorLife,
    kept: KeptCalibration,
    counting: Sequence[KeptCalibration],
    *,
    hottest_c: float | None = None,
) -> Drift:
    """Drift of a sensor life: measured by the calibration before this one, else assumed of its wire."""
    given = correction_from_dict(kept.correction).drift
    assumed = assumed_drift(life.thermocouple, life.diameter_mm, hottest_c, None if given is None else dict(given))
    before = [one for one in counting if one.done_on < kept.done_on]
    if not before or given is not None:
        return assumed
    heats = heats_of(book, life.furnace, life.sensor, after_utc=before[-1].done_on, before_utc=kept.done_on)
    between = Since(days_between(before[-1].done_on, kept.done_on), heats.hours_800, heats.hours_950)
    two = correction_from_dict(before[-1].correction), correction_from_dict(kept.correction)
    return measured_drift(*two, between, assumed) or assumed
