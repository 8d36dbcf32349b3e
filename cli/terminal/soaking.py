"""The soak clock beside a recording: fed with every reading, asked for its sentence and its alarms."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.clock_inputs import ClockInputs, clock_inputs_from
from soakwitness.analysis.live.followed_sensors import LiveSensor
from soakwitness.analysis.live.living_sentence import sentence
from soakwitness.analysis.live.state import ClockState
from soakwitness.analysis.packet.piece import PacketModel, packet_of
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.inputs.stays import known_of
from soakwitness.firmware_bridge.common.units import to_kelvin
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace, Sensor
from soakwitness.firmware_bridge.recording.now import to_celsius
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.runfolder.contents import Mark

if TYPE_CHECKING:
    import subprocess

Unit = Literal["C", "F"]
ASK_EVERY_S = 30.0
AT_ONCE_S = 0.1  # of a slot, for going through a run again
Signs = tuple[object, ...]


class SoakLine:
    """Follows one furnace's runs, one after the other, through a recipe.

    Where there is a log book, a process of its own is asked for what it knows of the run: calibrations of the sensors,
    packets of the pieces. It is asked when a run begins, and again when the log book changed or marks name other
    pieces. Until it answers, and where there is nothing, readings count as they are and pieces are what the recipe
    says.
    """

    def __init__(
        self,
        recipe: Recipe,
        furnace: Furnace,
        *,
        packet: PacketModel | None = None,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._recipe = recipe
        self._furnace = furnace
        self._now = now
        self._usual = ClockInputs(packet=packet_of(packet, recipe.packet, recipe.steel))
        self.inputs = self._usual
        self._clock = self._new(self._usual)
        self.state: ClockState | None = None
        self._run: Path | None = None
        self._asked: subprocess.Popen[str] | None = None
        self._asked_at_s = 0.0
        self._signs: Signs = ()
        self._again: _Again | None = None

    def _new(self, inputs: ClockInputs) -> SoakClock:
        return SoakClock(
            self._recipe,
            sensors=[_live(sensor, self._furnace, inputs) for sensor in self._furnace.sensors],
            packet=inputs.packet,
            packets=inputs.packets,
            known=inputs.pieces,
            every_s=self._furnace.every_s,
        )

    def follow(self, recording: Recording, unit: Unit) -> str:
        """Take the newest reading; return what leads the living sentence, and raise or end the soak alarms.

        Whatever becomes of the clock, the recording goes on: what stops it is said in its place.
        """
        try:
            return self._follow(recording, unit)
        except (ArithmeticError, AssertionError, LookupError, TypeError, ValueError) as error:
            return f"The soak clock stands ({type(error).__name__}: {error}); the record goes on, verify it afterwards"

    def _follow(self, recording: Recording, unit: Unit) -> str:
        now, marks = recording.now(), recording.desk.marks
        if now.run is not None and now.run != self._run:
            self._run, self.inputs, self._again = now.run, self._usual, None
            self._ask(now.run, _signs(now.run, marks))
            self._clock = self._caught_up(now.run, marks)
        elif self._run is not None:
            self._keep_asking(self._run, marks)
        if now.reading_age_s is not None:
            t_s = now.t_s - now.reading_age_s
            if self._again is not None:
                self._again.meanwhile.append((t_s, now.values))
            self._read(self._clock, t_s, now.values, marks)
        self._go_on(marks)
        recording.desk.pieces = tuple(known_of(marks, self.inputs.pieces, self._furnace.rack))
        state = self.state = self._clock.state()
        words = sentence(state, unit)
        recording.alarm("soak complete", words if state is not None and state.complete and state.take_out else None)
        recording.alarm("soak overdue", words if state is not None and state.overdue else None)
        recording.alarm("not to recipe", words if state is not None and state.troubles else None)
        return words

    def _keep_asking(self, run: Path, marks: tuple[Mark, ...]) -> None:
        """Take an answer that came; ask again where something changed, at most every half minute."""
        if self._asked is not None:
            found = self._answer()
            if found is not None and found != self.inputs:
                self._again = _Again(found, self._new(found), _rows(run))
        elif self._now() - self._asked_at_s >= ASK_EVERY_S:
            signs = _signs(run, marks)
            if signs != self._signs:
                self._ask(run, signs)
            self._asked_at_s = self._now()

    def leave(self) -> None:
        """Ask no more: a process that has not answered yet is ended, and waited for."""
        if self._asked is not None:
            self._asked.kill()
            self._asked.communicate()
            self._asked = None

    def _ask(self, run: Path, signs: Signs) -> None:
        """Ask what is known of the run, without waiting for it."""
        self.leave()
        self._asked_at_s, self._signs = self._now(), signs
        logbook = run.parent.parent
        if not (logbook / "logbook.sqlite").exists():
            return
        import subprocess

        command = [sys.executable, "-m", "soakwitness.cli.verdicts.clock_inputs", str(run), "--logbook", str(logbook)]
        quiet = subprocess.DEVNULL
        self._asked = subprocess.Popen(command, stdin=quiet, stdout=subprocess.PIPE, stderr=quiet, text=True)

    def _answer(self) -> ClockInputs | None:
        """What came just now, if anything did."""
        if self._asked is None or self._asked.poll() is None:
            return None
        out, _ = self._asked.communicate()
        self._asked = None
        try:
            return clock_inputs_from(json.loads(out))
        except ValueError:
            return None

    def _caught_up(self, run: Path, marks: tuple[Mark, ...]) -> SoakClock:
        """A clock that has read the rows that a run has already: gone on with, or begun from memory."""
        clock = self._new(self.inputs)
        for t_s, values in self._values(_rows(run)):
            self._read(clock, t_s, values, _until(t_s, marks))
        return clock

    def _go_on(self, marks: tuple[Mark, ...]) -> None:
        """Go through the run again with what is known now, a little in each slot; the clock so far goes on as well."""
        again = self._again
        if again is None:
            return
        until_s = self._now() + AT_ONCE_S
        for t_s, values in self._values(again.rows):
            self._read(again.clock, t_s, values, _until(t_s, marks))
            if self._now() > until_s:
                return
        for then_s, seen in again.meanwhile:
            self._read(again.clock, then_s, seen, marks)
        self._clock, self.inputs, self._again = again.clock, again.inputs, None

    def _values(self, rows: Iterator[list[str]]) -> Iterator[tuple[float, dict[str, float | None]]]:
        names = self._furnace.columns
        for t_s, _, *cells in rows:
            yield float(t_s), {name: float(cell) if cell else None for name, cell in zip(names, cells, strict=True)}

    def _read(self, clock: SoakClock, t_s: float, values: Mapping[str, float | None], marks: tuple[Mark, ...]) -> None:
        """Give a clock all sensors [degC], output and setpoint, as they read."""
        furnace = self._furnace
        temps = {
            sensor.name: None if (value := values.get(sensor.name)) is None else to_celsius(value, furnace)
            for sensor in furnace.sensors
        }
        signals = {
            signal.name: to_celsius(value, furnace) if signal.name == "setpoint" else value
            for signal in furnace.signals
            if signal.name in ("output", "setpoint") and (value := values.get(signal.name)) is not None
        }
        clock.read(t_s, temps, signals=signals, marks=marks)


def _live(sensor: Sensor, furnace: Furnace, inputs: ClockInputs) -> LiveSensor:
    """A sensor as the clock follows it, with what its calibration says."""
    step, known = sensor.resolution, inputs.of(sensor.name)
    return LiveSensor(
        sensor.name,
        sensor.role,
        sensor.thickness_mm,
        None if step is None else to_kelvin(step, furnace.unit),
        known.added_c,
        known.reach_c,
        known.place_c,
    )


class _Again:
    """Going through a run again: how far it is, and what was read meanwhile."""

    def __init__(self, inputs: ClockInputs, clock: SoakClock, rows: Iterator[list[str]]) -> None:
        self.inputs = inputs
        self.clock = clock
        self.rows = rows
        self.meanwhile: list[tuple[float, Mapping[str, float | None]]] = []


def _rows(run: Path) -> Iterator[list[str]]:
    from soakwitness.firmware_bridge.runfolder.listing import good_rows

    return good_rows(run)


def _until(t_s: float, marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
    """Marks up to a moment [s]: so the clock need not go back for each of them."""
    return tuple(mark for mark in marks if mark.t_s <= t_s)


def _signs(run: Path, marks: tuple[Mark, ...]) -> Signs:
    """What tells whether the log book may know something else of the run: its files, and the pieces that marks name."""
    named = frozenset(name for mark in marks if not mark.struck for name in mark.pieces)
    return named, *(_file_sign(run.parent.parent / name) for name in ("logbook.sqlite", "logbook.sqlite-wal"))


def _file_sign(path: Path) -> tuple[int, int] | None:
    try:
        state = path.stat()
    except OSError:
        return None
    return (state.st_mtime_ns, state.st_size) if state.st_size else None
