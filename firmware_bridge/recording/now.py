"""How a run stands at one moment: facts for a sentence, a page or an alarm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from soakwitness.firmware_bridge.common import units
from soakwitness.firmware_bridge.common.chamber import ORDER
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.marks.charges import Known
from soakwitness.firmware_bridge.marks.expecting import Expected
from soakwitness.firmware_bridge.runfolder.contents import Mark


@dataclass(frozen=True)
class Now:
    """How a run stands. ``values`` are the last reading's raw values, in the instrument's unit.

    ``missed`` counts slots without a reading, ``lost_answers`` answers or lines that were garbled or lost on the way.
    ``pieces`` are those that the log book has in this run.
    """

    furnace: Furnace
    run: Path | None
    t_s: float
    utc_s: float
    values: Mapping[str, float | None]
    faults: Mapping[str, str]
    reading_age_s: float | None
    rows: int
    missed: int = 0
    lost_answers: int = 0
    link_lost: str | None = None
    trouble: str | None = None
    held_rows: int = 0
    marks: tuple[Mark, ...] = ()
    pieces: tuple[Known, ...] = ()
    expected: Expected = Expected("load")  # noqa: RUF009 (frozen)
    alarms: Mapping[str, str] = field(default_factory=dict)

    def temp_c(self, name: str) -> float | None:
        """Last reading of a sensor, or of the setpoint, in degC."""
        value = self.values.get(name)
        return None if value is None else to_celsius(value, self.furnace)

    @property
    def chamber_c(self) -> float | None:
        """Chamber temperature [degC]: the control sensor's, else the first other one that is no ambient sensor's."""
        return chamber_c(self.furnace, self.values)


def to_celsius(value: float, furnace: Furnace) -> float:
    """A temperature in the instrument's unit as degC."""
    return units.to_celsius(value, furnace.unit)


def from_celsius(temp_c: float, furnace: Furnace) -> float:
    """A temperature in degC as the instrument shows it, without the dust of the sums."""
    return round(units.from_celsius(temp_c, furnace.unit), 6)


def chamber_c(furnace: Furnace, values: Mapping[str, float | None]) -> float | None:
    """Chamber temperature [degC] of one reading, None where no fit sensor has a value."""
    name = chamber_sensor(furnace, values)
    value = None if name is None else values[name]
    return None if value is None else to_celsius(value, furnace)


def chamber_sensor(furnace: Furnace, values: Mapping[str, float | None]) -> str | None:
    """Name of the sensor that speaks for the chamber in one reading."""
    return next((name for name in heat_sensors(furnace) if values.get(name) is not None), None)


def heat_sensors(furnace: Furnace) -> list[str]:
    """Names of the sensors that feel the furnace, the chamber's own first."""
    fit = [sensor for sensor in furnace.sensors if sensor.role in ORDER]
    return [sensor.name for sensor in sorted(fit, key=lambda sensor: ORDER.index(sensor.role))]


def heat_c(furnace: Furnace, values: Mapping[str, float | None]) -> dict[str, float | None]:
    """What the sensors that feel the furnace read [degC], the chamber's own first."""
    read = {name: values.get(name) for name in heat_sensors(furnace)}
    return {name: None if value is None else to_celsius(value, furnace) for name, value in read.items()}


def hottest_c(furnace: Furnace, values: Mapping[str, float | None]) -> float | None:
    """The highest of them [degC]: a furnace is as hot as its hottest place."""
    return max((temp_c for temp_c in heat_c(furnace, values).values() if temp_c is not None), default=None)


def setpoint_c(furnace: Furnace, values: Mapping[str, float | None]) -> float | None:
    """The setpoint [degC], where it is read."""
    value = values.get("setpoint")
    return None if value is None else to_celsius(value, furnace)


def shows_heat(
    furnace: Furnace, values: Mapping[str, float | None]
) -> tuple[dict[str, float | None], float | None, float | None]:
    """All that tells whether it heats: temperatures by sensor [degC], setpoint [degC], output [%]."""
    return heat_c(furnace, values), setpoint_c(furnace, values), values.get("output")


def over_limit(furnace: Furnace, values: Mapping[str, float | None]) -> str | None:
    """The first sensor over the furnace's limit, as a sentence; None where none is."""
    limit_c = furnace.alarm.over_c
    if limit_c is None:
        return None
    for sensor in furnace.sensors:
        value = values.get(sensor.name)
        if sensor.role != "ambient" and value is not None and to_celsius(value, furnace) >= limit_c:
            limit = from_celsius(limit_c, furnace)
            return f"{sensor.name} reads {value:g} °{furnace.unit}, over the limit of {limit:g}"
    return None


def facts(furnace: Furnace, run: Path | None, values: Mapping[str, float | None]) -> dict[str, str]:
    """What an alarm command is told beside the alarm itself."""
    readings = {f"reading_{name}": "" if value is None else f"{value:g}" for name, value in values.items()}
    return {"furnace": furnace.name, "run": run.name if run else "", "unit": furnace.unit, **readings}
