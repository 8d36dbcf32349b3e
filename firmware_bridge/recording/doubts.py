"""Doubts about readings while they come: stuck values, a shifted decimal point. They are said, never corrected."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from soakwitness.firmware_bridge.common.units import from_kelvin
from soakwitness.firmware_bridge.common.wording import duration
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace

STUCK_S = 600.0
MOVED_C = 20.0  # another sensor moved by so much meanwhile
MOVED_PERCENT = 30.0  # or the output by so much
_NEAR = 0.03


@dataclass
class _Seen:
    value: float
    since_s: float
    others: dict[str, float]
    said: bool = False


class PlausibilityChecks:
    """Follows one furnace's readings; a new one with every run.

    *Stuck*: a sensor shows the same number for ten minutes while another sensor moved by 20 K, or the output by 30 %.
    *Decimal point*: from one reading to the next a value becomes ten, a hundred, a tenth or a hundredth of what it was,
    within 3 %, and differs by more than 50 K.
    """

    def __init__(self, furnace: Furnace) -> None:
        self._sensors = [sensor.name for sensor in furnace.sensors if sensor.role != "ambient"]
        self._moves = {name: from_kelvin(MOVED_C, furnace.unit) for name in self._sensors}
        self._moves |= {signal.name: MOVED_PERCENT for signal in furnace.signals if signal.name == "output"}
        self._jump = from_kelvin(50.0, furnace.unit)
        self._seen: dict[str, _Seen] = {}

    def look(self, t_s: float, values: Mapping[str, float | None]) -> list[str]:
        """Sentences about what is doubtful now and was not before."""
        here = {name: value for name in self._moves if (value := values.get(name)) is not None}
        says = []
        for name in self._sensors:
            if name in here:
                words = self._one(name, t_s, here)
                says += [words] if words else []
        return says

    def _one(self, name: str, t_s: float, here: Mapping[str, float]) -> str | None:
        value, seen = here[name], self._seen.get(name)
        if seen is None or value != seen.value:
            self._seen[name] = _Seen(value, t_s, dict(here))
            return self._shifted(name, seen.value, value) if seen is not None else None
        if seen.said or t_s - seen.since_s < STUCK_S:
            return None
        moved = [
            other
            for other, least in self._moves.items()
            if other != name and abs(here.get(other, 0.0) - seen.others.get(other, here.get(other, 0.0))) >= least
        ]
        if not moved:
            return None
        seen.said = True
        return f"{name}: shows {value:g} for {duration(t_s - seen.since_s)} while {moved[0]} moved; stuck?"

    def _shifted(self, name: str, before: float, now: float) -> str | None:
        if before == 0 or now == 0 or abs(now - before) < self._jump:
            return None
        for factor, words in ((10, "ten times"), (100, "a hundred times"), (0.1, "a tenth"), (0.01, "a hundredth")):
            if abs(now / before / factor - 1) < _NEAR:
                return f"{name}: from {before:g} to {now:g} at once, {words}: was its decimal point changed?"
        return None
