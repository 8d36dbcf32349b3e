"""Sensor lives and their calibrations in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.cli.options.entering import shown_time
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, number, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.calibration_records import Heats
    from soakwitness.analysis.logbook.sensors import KeptCalibration, SensorLife


def life_words(life: SensorLife, zone: str | None, unit: Unit) -> str:
    """One line about a sensor life."""
    until = f" to {shown_time(life.ended_utc, zone)}" if life.ended_utc else ", in force"
    parts = [
        ("type", life.thermocouple),
        ("class", life.tolerance_class),
        ("diameter", None if life.diameter_mm is None else f"{life.diameter_mm:g} mm"),
        ("serial", life.serial),
        ("channel", life.channel),
        ("at", life.position),
        ("input offset", None if life.input_offset_c is None else difference(life.input_offset_c, unit, signed=True)),
    ]
    known = ", ".join(f"{name} {value}" for name, value in parts if value is not None)
    return f"{life.entry}  {life.sensor} of {life.furnace}, from {shown_time(life.fitted_utc, zone)}{until}" + (
        f": {known}" if known else ""
    )


def kept_calibration_words(one: KeptCalibration, unit: Unit) -> str:
    """One line about a calibration."""
    from soakwitness.analysis.calibration.correcting.correction import correction_from_dict

    correction = correction_from_dict(one.correction)
    span = f"{temperature(correction.low_c, unit)} to {temperature(correction.high_c, unit)}"
    adds = [
        difference(value, unit, signed=True)
        for value in (correction.table_correction_c[0], correction.table_correction_c[-1])
    ]
    return f"{made_words(one)}: {correction.model}, {span}, add {adds[0]} to {adds[1]}{standing_words(one)}"


def made_words(one: KeptCalibration) -> str:
    """Which calibration, of when and by whom."""
    return f"{one.kind} {one.entry} of {one.done_on} by {one.done_by}"


def standing_words(one: KeptCalibration) -> str:
    """How long it counts, since when, whether it was withdrawn."""
    words = f", due {one.due_on or 'never'}" if one.kind == "calibration" else ""
    if one.counts_from and one.counts_from != one.done_on:
        words += f", counts from {one.counts_from}: {one.counts_why}"
    if one.struck_utc is not None:
        words += f"; WITHDRAWN by {one.struck_by}: {one.struck_why}"
    return words


def heat_words(life: SensorLife, heats: Heats, left_h: float | None, unit: Unit) -> str:
    """How often and how long a thermocouple was hot, how often it was cut, what is left of its calibration."""
    parts = [counted(heats.heats, "heat")]
    if heats.heats:
        parts.append(f"{number(heats.hours_800)} h above {temperature(800.0, unit)}")
        parts.append(f"{number(heats.hours_950)} h above {temperature(950.0, unit)}")
        parts.append(f"hottest {temperature(heats.hottest_c, unit)}")
    parts.append(counted(life.cuts or 0, "cut"))
    words = ", ".join(parts)
    if left_h is not None:
        words += f"; {number(left_h)} h above {temperature(950.0, unit)} are left of its calibration"
    return words
