"""The soak clock beside a recording: fed with every corrected reading, asked for its sentence and its alarms."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.words import sentence
from soakwitness.analysis.recipes.model import Recipe
from soakwitness.cli.corrections import Table, corrected, read_tables
from soakwitness.firmware_bridge.furnace.model import Furnace
from soakwitness.firmware_bridge.recording.now import chamber_sensor, to_celsius
from soakwitness.firmware_bridge.recording.recorder import Recording

if TYPE_CHECKING:
    import subprocess

Unit = Literal["C", "F"]


class SoakLine:
    """Follows one furnace's runs, one after the other, through a recipe.

    Where the log book has calibrations, a process of its own is asked for the corrections when a run begins; until it
    answers, and where there are none, readings count as they are.
    """

    def __init__(self, recipe: Recipe, furnace: Furnace) -> None:
        self._recipe = recipe
        self._furnace = furnace
        thickness = [sensor.thickness_mm for sensor in furnace.sensors if sensor.role == "load"]
        known = [mm for mm in thickness if mm is not None]
        self._thickness_mm = min(known) if known else None
        self._clock = self._new()
        self._run: Path | None = None
        self._asked: subprocess.Popen[str] | None = None
        self.tables: dict[str, Table] = {}

    def _new(self) -> SoakClock:
        return SoakClock(self._recipe, load_thickness_mm=self._thickness_mm, every_s=self._furnace.every_s)

    def follow(self, recording: Recording, unit: Unit) -> str:
        """Take the newest reading; return what leads the living sentence, and raise or end the soak alarms."""
        now = recording.now()
        if now.run is not None and now.run != self._run:
            self._run, self.tables = now.run, {}
            self._ask(now.run)
            self._catch_up(now.run)
        if self._run is not None and self._answered():
            self._catch_up(self._run)
        if now.reading_age_s is not None:
            t_s = now.t_s - now.reading_age_s
            chamber_c, load_c = self._temps(now.values)
            self._clock.read(t_s, chamber_c, load_c=load_c, marks=recording.desk.marks)
        state = self._clock.state()
        words = sentence(state, unit)
        recording.alarm("soak complete", words if state is not None and state.complete and state.take_out else None)
        recording.alarm("soak overdue", words if state is not None and state.overdue else None)
        return words

    def _ask(self, run: Path) -> None:
        """Ask for the corrections, without waiting for them."""
        self._asked = None
        logbook = run.parent.parent
        if not (logbook / "logbook.sqlite").exists():
            return
        import subprocess

        command = [sys.executable, "-m", "soakwitness.cli.corrections", str(run), "--logbook", str(logbook)]
        quiet = subprocess.DEVNULL
        self._asked = subprocess.Popen(command, stdin=quiet, stdout=subprocess.PIPE, stderr=quiet, text=True)

    def _answered(self) -> bool:
        """Whether corrections came just now."""
        if self._asked is None or self._asked.poll() is None:
            return False
        out, _ = self._asked.communicate()
        self._asked = None
        self.tables = read_tables(out)
        return bool(self.tables)

    def _catch_up(self, run: Path) -> None:
        """Read the rows that a run has already: gone on with, begun from memory, or corrected only now."""
        from soakwitness.firmware_bridge.runfolder.listing import good_rows

        self._clock = self._new()
        names = self._furnace.columns
        for t_s, _, *cells in good_rows(run):
            values = {name: float(cell) if cell else None for name, cell in zip(names, cells, strict=True)}
            chamber_c, load_c = self._temps(values)
            self._clock.read(float(t_s), chamber_c, load_c=load_c)

    def _temps(self, values: Mapping[str, float | None]) -> tuple[float | None, float | None]:
        """Chamber and coldest load sensor, corrected [degC]."""
        chamber = chamber_sensor(self._furnace, values)
        loads = [sensor.name for sensor in self._furnace.sensors if sensor.role == "load"]
        known = [temp_c for name in loads if (temp_c := self._temp(name, values)) is not None]
        return (None if chamber is None else self._temp(chamber, values)), (min(known) if known else None)

    def _temp(self, name: str, values: Mapping[str, float | None]) -> float | None:
        value = values.get(name)
        return None if value is None else corrected(to_celsius(value, self._furnace), self.tables.get(name, ()))
