"""The soak clock beside a recording: fed with every reading, asked for its sentence and its alarms."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Literal

from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.words import sentence
from soakwitness.analysis.recipes.model import Recipe
from soakwitness.firmware_bridge.furnace.model import Furnace
from soakwitness.firmware_bridge.recording.now import chamber_c, to_celsius
from soakwitness.firmware_bridge.recording.recorder import Recording

Unit = Literal["C", "F"]


class SoakLine:
    """Follows one furnace's runs, one after the other, through a recipe."""

    def __init__(self, recipe: Recipe, furnace: Furnace) -> None:
        self._recipe = recipe
        self._furnace = furnace
        thickness = [sensor.thickness_mm for sensor in furnace.sensors if sensor.role == "load"]
        known = [mm for mm in thickness if mm is not None]
        self._thickness_mm = min(known) if known else None
        self._clock = self._new()
        self._run: Path | None = None

    def _new(self) -> SoakClock:
        return SoakClock(self._recipe, load_thickness_mm=self._thickness_mm)

    def follow(self, recording: Recording, unit: Unit) -> str:
        """Take the newest reading; return what leads the living sentence, and raise or end the soak alarms."""
        now = recording.now()
        if now.run is not None and now.run != self._run:
            self._catch_up(now.run)
        if now.reading_age_s is not None:
            self._read(now.t_s - now.reading_age_s, now.values, recording)
        state = self._clock.state()
        words = sentence(state, unit)
        recording.alarm("soak complete", words if state is not None and state.complete and state.take_out else None)
        recording.alarm("soak overdue", words if state is not None and state.overdue else None)
        return words

    def _catch_up(self, run: Path) -> None:
        """A run that has rows already: gone on with, or begun from memory."""
        from soakwitness.firmware_bridge.runfolder.listing import good_rows

        self._clock = self._new()
        self._run = run
        names = self._furnace.columns
        for t_s, _, *cells in good_rows(run):
            values = {name: float(cell) if cell else None for name, cell in zip(names, cells, strict=True)}
            self._clock.read(float(t_s), chamber_c(self._furnace, values), load_c=self._load_c(values))

    def _read(self, t_s: float, values: Mapping[str, float | None], recording: Recording) -> None:
        chamber = chamber_c(self._furnace, values)
        self._clock.read(t_s, chamber, load_c=self._load_c(values), marks=recording.desk.marks)

    def _load_c(self, values: Mapping[str, float | None]) -> float | None:
        """The coldest load sensor [degC]."""
        loads = [values.get(sensor.name) for sensor in self._furnace.sensors if sensor.role == "load"]
        known = [to_celsius(value, self._furnace) for value in loads if value is not None]
        return min(known) if known else None
