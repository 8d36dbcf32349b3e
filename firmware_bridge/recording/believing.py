"""Which readings are believed at once; the others are held back until the next one agrees.

The row keeps what was read. What is held back raises no alarm and is not shown: one digit changed on a line without
checksum makes 1072 or 107208 of 1040.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from soakwitness.firmware_bridge.common.units import from_kelvin
from soakwitness.firmware_bridge.common.wording import temperature
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace, Sensor
from soakwitness.firmware_bridge.recording.now import to_celsius

COLDEST_C, HOTTEST_C = -275.0, 1850.0  # what a thermocouple of any letter shows, with a margin (IEC 60584-1)
# No source: generous figures that only separate a leap from what a sheathed sensor in a furnace really does.
FASTEST_C_PER_S = 5.0
FASTEST_AMBIENT_C_PER_S = 1.0
FOR_LONG_C_PER_S = 1.0  # no furnace changes faster than this for longer than
SOON_S = 20.0
SPARE_C = 10.0
SAY_EVERY_S = 60.0


@dataclass(frozen=True)
class _At:
    t_s: float
    temp_c: float


class Believing:
    """Follows one furnace's readings; a new one with every run.

    A reading that no thermocouple can show is never believed. One that leaps further from the last believed one than
    the sensor can change, or beyond the furnace file's limits, is held back; the next one is believed if it lies nearer
    to it than to the last believed one. The first reading of a sensor is believed.
    """

    def __init__(self, furnace: Furnace) -> None:
        self._furnace = furnace
        self._believed: dict[str, _At] = {}
        self._held: dict[str, _At] = {}
        self._said_s: dict[str, float] = {}
        self._holding = False

    @property
    def holding(self) -> bool:
        """Whether a reading of this look was held back."""
        return self._holding

    def look(self, t_s: float, values: Mapping[str, float | None]) -> tuple[dict[str, float | None], list[str]]:
        """Give the values with None for what is held back, and sentences about what is not believed."""
        shown, says, self._holding = dict(values), [], False
        for sensor in self._furnace.sensors:
            value = values.get(sensor.name)
            if value is None:
                continue
            now = _At(t_s, to_celsius(value, self._furnace))
            why = self._doubt(sensor, now)
            if why is None:
                continue
            shown[sensor.name], self._holding = None, True
            if t_s - self._said_s.get(sensor.name, -SAY_EVERY_S) >= SAY_EVERY_S:
                self._said_s[sensor.name] = t_s
                read = temperature(now.temp_c, self._furnace.unit)
                says.append(f"{sensor.name}: {read} {why}; held back, no alarm from it alone")
        return shown, says

    def _doubt(self, sensor: Sensor, now: _At) -> str | None:
        """Say why a reading is held back; None where it is believed."""
        if not COLDEST_C <= now.temp_c <= HOTTEST_C:
            return "is no temperature that a thermocouple shows"
        before, held = self._believed.get(sensor.name), self._held.pop(sensor.name, None)
        if before is None:
            self._believed[sensor.name] = now
            return None
        leap_c = abs(now.temp_c - before.temp_c)
        again = held is not None and abs(now.temp_c - held.temp_c) < leap_c
        limits = self._furnace.limits
        outside = not _or(limits.min_temp_c, COLDEST_C) <= now.temp_c <= _or(limits.max_temp_c, HOTTEST_C)
        if again or not (outside or leap_c > self._reach_c(sensor, now.t_s - before.t_s)):
            self._believed[sensor.name] = now
            return None
        self._held[sensor.name] = now
        if outside:
            return "is beyond the limits of the furnace file"
        step = from_kelvin(now.temp_c - before.temp_c, self._furnace.unit)
        return f"is a leap of {step:+g} from the reading before"

    def _reach_c(self, sensor: Sensor, apart_s: float) -> float:
        """How far a reading may go in that time [K]."""
        fastest = FASTEST_AMBIENT_C_PER_S if sensor.role == "ambient" else FASTEST_C_PER_S
        rate = _or(self._furnace.limits.max_rate_c_per_s, fastest)
        return SPARE_C + rate * min(apart_s, SOON_S) + min(rate, FOR_LONG_C_PER_S) * max(apart_s - SOON_S, 0.0)


def _or(value: float | None, default: float) -> float:
    return default if value is None else value
