"""What the registers that were read say of the columns of a furnace file. No port, no waiting."""

from __future__ import annotations

from collections.abc import Mapping

from soakwitness.firmware_bridge.furnace.sensors_and_links import Contact, Furnace, ModbusSource, Sensor, Signal
from soakwitness.firmware_bridge.links.base import Reading
from soakwitness.firmware_bridge.links.blocks import Words, number
from soakwitness.firmware_bridge.links.linear import put_back
from soakwitness.firmware_bridge.links.numbers import fault_word, is_fault, scaled

Refused = Mapping[tuple[str, int], str]  # (table, register) -> what the instrument says


def register_sources(furnace: Furnace) -> list[ModbusSource]:
    """Give all registers that a furnace file names."""
    faults = [sensor.fault_source for sensor in furnace.sensors]
    return [s for s in (*(part.source for part in furnace.parts), *faults) if isinstance(s, ModbusSource)]


def values_read(furnace: Furnace, words: Words, refused: Refused, texts: tuple[str, ...], missed: int) -> Reading:
    """Give the reading of all columns."""
    values: dict[str, float | None] = {}
    faults: dict[str, str] = {}
    for part in furnace.parts:
        assert isinstance(part.source, ModbusSource)
        raw = number(part.source, words)
        if isinstance(part, Contact):
            values[part.name] = None if raw is None else float(raw == part.closed_is)
            continue
        fault = _fault(part, raw, words, refused)
        if fault:
            faults[part.name] = fault
        values[part.name] = None if fault or raw is None else scaled(part, raw)
    put_back(furnace, values, faults)
    return Reading(values=values, faults=faults, texts=texts, missed=missed)


def _fault(part: Sensor | Signal, raw: float | None, words: Words, refused: Refused) -> str | None:
    if raw is None:
        assert isinstance(part.source, ModbusSource)
        return "refused" if (part.source.table, part.source.register) in refused else None
    if isinstance(part, Sensor) and isinstance(part.fault_source, ModbusSource):
        bits = number(part.fault_source, words)
        fault = "fault bits missing" if bits is None else fault_word(bits, part.fault_words)
        if fault:
            return fault
    return f"fault value {raw:g}" if is_fault(raw, part.fault_values, part.source) else None
