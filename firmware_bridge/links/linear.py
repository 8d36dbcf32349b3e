"""Converters that take a thermocouple's curve for a straight line: their readings put back on the curve.

Such a converter shows cold + (E(hot) - E(cold)) / s with one sensitivity s, E the reference function of the wire.
"""

from __future__ import annotations

from soakwitness.firmware_bridge.common.reference_functions import temp_of_c, voltage_mv
from soakwitness.firmware_bridge.common.units import from_celsius, to_celsius
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace, Sensor


def straightened_c(shown_c: float, cold_c: float, *, uv_per_c: float, kind: str) -> float | None:
    """Give the temperature that such a converter shows as ``shown_c``; None outside the wire's function."""
    cold_mv = voltage_mv(kind, cold_c)
    return None if cold_mv is None else temp_of_c(kind, cold_mv + uv_per_c / 1000.0 * (shown_c - cold_c))


def put_back(furnace: Furnace, values: dict[str, float | None], faults: dict[str, str]) -> None:
    """Change the readings of such sensors in place; without its cold junction a reading is not had."""
    shown = dict(values)
    for sensor in furnace.sensors:
        value = shown[sensor.name]
        if sensor.linear_uv_per_c is None or value is None:
            continue
        cold = shown.get(sensor.cold_junction or "")
        values[sensor.name] = None if cold is None else _put_back(furnace, sensor, value, cold)
        if values[sensor.name] is None:
            faults[sensor.name] = "cold junction not had" if cold is None else f"beyond type {sensor.thermocouple}"


def _put_back(furnace: Furnace, sensor: Sensor, value: float, cold: float) -> float | None:
    assert sensor.linear_uv_per_c is not None
    shown_c, cold_c = to_celsius(value, furnace.unit), to_celsius(cold, furnace.unit)
    temp_c = straightened_c(shown_c, cold_c, uv_per_c=sensor.linear_uv_per_c, kind=sensor.thermocouple or "K")
    return None if temp_c is None else round(from_celsius(temp_c, furnace.unit), 3)
