"""A furnace file and a reading in sentences."""

from __future__ import annotations

import os
from collections import Counter

from soakwitness.firmware_bridge.common.units import from_celsius, to_celsius
from soakwitness.firmware_bridge.common.wording import duration, number, temperature
from soakwitness.firmware_bridge.furnace.sensors_and_links import (
    Contact,
    Furnace,
    LineSource,
    ModbusSource,
    Sensor,
    Signal,
)
from soakwitness.firmware_bridge.links.base import Reading
from soakwitness.firmware_bridge.links.numbers import WHOLE_NUMBERS

MANUAL_NUMBERS = range(30001, 49999)  # how manuals print register numbers; on the wire they are rarely so high


def furnace_sentences(furnace: Furnace) -> list[str]:
    """Say what the furnace file was understood to mean."""
    link = furnace.link
    says = [f"{furnace.name}: the instrument shows °{furnace.unit} and is read every {duration(furnace.every_s)}."]
    if link.kind == "simulated":
        says.append(f"Link: a simulated furnace that speaks {link.settings.get('speaks', 'modbus')}.")
    else:
        kind = f"Modbus {link.framing.upper()}, unit {link.unit_id}," if link.kind == "modbus" else "text lines"
        line = "" if "://" in link.port else f" at {link.baud} baud, {link.data_bits}{link.parity}{link.stop_bits}"
        says.append(f"Link: {kind} on {link.port}{line}; an answer may take {duration(link.timeout_s)}.")
    if link.kind == "modbus":
        says.append(
            f"An answer that does not come in time may still come within {duration(link.late_reply_s)}: until then no"
            " question is asked whose answer it could pass for. Reading up to 7 registers along leaves others to ask;"
            " an instrument that allows none is not read for so long then (furnace read tells which it is)."
        )
    says += [_part_sentence(part, furnace) for part in furnace.parts]
    return [*says, *_limit_sentences(furnace)]


def furnace_notes(furnace: Furnace) -> list[str]:
    """Say what is allowed but worth a second look."""
    link, notes = furnace.link, []
    if link.kind in ("modbus", "lines") and "://" not in link.port and not os.path.exists(link.port):
        notes.append(f"{link.port} is not there at the moment. See what is: soakwitness ports")
    if link.kind == "modbus" and link.timeout_s >= furnace.every_s:
        notes.append("One answer may take as long as from one reading to the next: make timeout_s smaller.")
    if link.kind == "lines" and link.checksum == "none" and link.agree_within is None:
        notes.append("The lines carry no checksum: a digit changed on the way is not noticed (agree_within helps).")
    if link.kind == "lines" and link.sequence is None:
        notes.append("The lines are not counted: a lost line is not noticed.")
    if not any(sensor.role in ("control", "recording", "load") for sensor in furnace.sensors):
        notes.append('No sensor has the role "control", "recording" or "load": a soak can not be judged.')
    notes += _register_notes(furnace) + _fault_value_notes(furnace)
    if furnace.alarm.over_c is None:
        notes.append("No alarm above a temperature is set ([alarm], over).")
    return notes


def reading_lines(furnace: Furnace, reading: Reading, unit: str) -> list[str]:
    """Say what arrived, a line for each column."""
    lines = []
    for part in furnace.parts:
        value = reading.values.get(part.name)
        if value is None:
            lines.append(f"{part.name}: no reading, {reading.faults.get(part.name, 'nothing came')}")
        elif isinstance(part, Contact):
            lines.append(f"{part.name}: {'acted' if value else 'at rest'} ({part.means})")
        else:
            shown = shown_in(part, value, furnace, unit)
            lines.append(
                f"{part.name}: {number(shown) if is_temperature(part) else f'{shown:g}'}{unit_word(part, unit)}"
            )
    if reading.missed:
        lines.append(f"Answers or lines lost or garbled before it: {reading.missed}.")
    return [*lines, *reading.texts]


def lengths_sentence(furnace: Furnace, lengths: int) -> str:
    """Say what an answer that does not come costs on this instrument."""
    late = duration(furnace.link.late_reply_s)
    if lengths > 1:
        return f"It allows {lengths} lengths of answer: after one that does not come it is asked for another."
    return (
        f"It allows one length of answer alone: after one that does not come it is not read for {late} (late_reply_s in"
        " [link]), since the late answer would pass for the next."
    )


def is_temperature(part: Sensor | Signal | Contact) -> bool:
    """Whether a column is in degrees."""
    return isinstance(part, Sensor) or part.name == "setpoint"


def shown_in(part: Sensor | Signal | Contact, value: float, furnace: Furnace, unit: str) -> float:
    """Give a value in the unit to show."""
    if not is_temperature(part) or unit == furnace.unit:
        return value
    return round(from_celsius(to_celsius(value, furnace.unit), unit), 4)


def unit_word(part: Sensor | Signal | Contact, unit: str) -> str:
    """Give the unit behind a number."""
    if is_temperature(part):
        return f" °{unit}"
    return " %" if part.name == "output" else ""


def _part_sentence(part: Sensor | Signal | Contact, furnace: Furnace) -> str:
    kind = type(part).__name__
    if isinstance(part, Contact):
        return f'{kind} "{part.name}" (means {part.means}): {_place(part.source)}; {part.closed_is} means acted.'
    role = f" (role {part.role})" if isinstance(part, Sensor) else ""
    sums = "" if part.scale == 1 else f", times {part.scale:g}"
    sums += f", plus {part.offset:g}" if part.offset else ""
    faults = [f"{value:g}" for value in part.fault_values]
    sums += f"; {' and '.join(faults)} mean{'s' * (len(faults) == 1)} no reading" if faults else ""
    if isinstance(part, Sensor):
        sums += f"; steps of {part.resolution:g} °{furnace.unit}" if part.resolution else ""
        sums += f"; fault bits in {_place(part.fault_source)}" if part.fault_source else ""
        if part.linear_uv_per_c is not None:
            sums += f'; a line of {part.linear_uv_per_c:g} µV/°C put back on the curve by "{part.cold_junction}"'
        sums += f"; type {part.thermocouple}" if part.thermocouple else ""
    return f'{kind} "{part.name}"{role}: {_place(part.source)}{sums}.'


def _place(source: ModbusSource | LineSource) -> str:
    if isinstance(source, LineSource):
        return f'group "{source.group}"' if source.group else f"field {source.field}"
    if source.bit is not None:
        return f"{source.table} register {source.register}, bit {source.bit}"
    if source.format.endswith("32"):
        both = f"registers {source.register} and {source.register + 1}"
        return f"{source.table} {both}, {source.format}, {source.word_order}"
    return f"{source.table} register {source.register}, {source.format}"


def _limit_sentences(furnace: Furnace) -> list[str]:
    limits, alarm = furnace.limits, furnace.alarm
    parts = [
        f"above {temperature(limits.max_temp_c, furnace.unit)}" if limits.max_temp_c is not None else "",
        f"below {temperature(limits.min_temp_c, furnace.unit)}" if limits.min_temp_c is not None else "",
    ]
    says = [f"Readings {' or '.join(p for p in parts if p)} are not believed."] if any(parts) else []
    if alarm.over_c is not None:
        says.append(
            f"Alarm above {temperature(alarm.over_c, furnace.unit)}, "
            f"and after {duration(alarm.silent_s)} without a reading."
        )
    if alarm.command:
        says.append(f"An alarm runs: {' '.join(alarm.command)}")
    return says


def _register_notes(furnace: Furnace) -> list[str]:
    notes = []
    for part in furnace.parts:
        if isinstance(part.source, ModbusSource) and part.source.register in MANUAL_NUMBERS:
            wire = part.source.register % 10000 - 1
            notes.append(
                f'"{part.name}" has register {part.source.register}: where a manual prints that, register = {wire} is'
                " sent on the wire."
            )
    numbers = [(part.name, part.source) for part in furnace.parts if not isinstance(part, Contact)]
    places = Counter(source for _, source in numbers)
    for name, source in numbers:
        if places[source] > 1:
            notes.append(f'"{name}" is read from the same place as another one ({_place(source)}).')
    return notes


def _fault_value_notes(furnace: Furnace) -> list[str]:
    """Fault values that never match: a number after scale where the raw one is meant."""
    notes = []
    for part in furnace.parts:
        if isinstance(part, Contact):
            continue
        kind = part.source.format if isinstance(part.source, ModbusSource) else ""
        low, high = WHOLE_NUMBERS.get(kind, (-float("inf"), float("inf")))
        for value in part.fault_values:
            if not low <= value <= high or (kind in WHOLE_NUMBERS and not value.is_integer()):
                notes.append(
                    f'"{part.name}" never has the fault value {value:g}: {kind} is sent as a whole number from {low} to'
                    f" {high}, and fault values are meant before scale and offset."
                )
    return notes
