"""The simulated furnace as a whole: chamber, controller, pieces, sensors and their faults, over time."""

from __future__ import annotations

import random
from dataclasses import dataclass

from soakwitness.firmware_bridge.runfolder.contents import Act
from soakwitness.firmware_bridge.simulated.controller import ControllerProgram, Pid
from soakwitness.firmware_bridge.simulated.heated_packet import Packet
from soakwitness.firmware_bridge.simulated.physics import Chamber
from soakwitness.firmware_bridge.simulated.scenario import LINK_FAULTS, LOADS, Fault, Scenario, ScenarioPiece
from soakwitness.firmware_bridge.simulated.thermocouples import shown_c

STEP_S = 1.0
SENSORS = ("control", "load 1", "recording", "room", *(f"load {i}" for i in range(2, LOADS + 1)))


@dataclass(frozen=True)
class Shown:
    """What the instrument would show now [degC, %]; a temperature is None with an open circuit or without a sensor."""

    t_s: float
    temp_c: dict[str, float | None]
    setpoint_c: float
    output: float
    door_open: bool
    foot_switch: bool
    program_step: int


@dataclass(frozen=True)
class Happening:
    """Something a person did: an act of the trade at a moment, with the pieces it concerns."""

    t_s: float
    act: Act
    pieces: tuple[str, ...]


class _PieceState:
    """Where one piece is: waiting, in the furnace, out of it."""

    def __init__(self, piece: ScenarioPiece) -> None:
        self.piece = piece
        self.packet = Packet(piece.packet)
        self.loaded_s: float | None = None
        self.pulled_s: float | None = None

    @property
    def is_in(self) -> bool:
        return self.loaded_s is not None and self.pulled_s is None


class SimulatedFurnace:
    """Runs a scenario in steps of one second of furnace time.

    ``happenings`` lists what was done; ``true_blade_c`` gives a piece's real temperature, sensor or not.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.t_s = 0.0
        self.chamber = Chamber(scenario.parts, start_c=scenario.start_c, room_c=scenario.room_c)
        self.program = ControllerProgram(
            scenario.program, start_c=scenario.start_c, waits_for_furnace=scenario.waits_for_furnace
        )
        self.pid = Pid(scenario.pid)
        self.output = 0.0
        self.door = 0.0
        self.happenings: list[Happening] = []
        self._pieces = [_PieceState(piece) for piece in scenario.pieces]
        self._door_until_s = -1.0
        self._pressed_until_s = -1.0
        self._stuck: dict[str, float] = {}
        for state in self._pieces:
            if state.piece.load is None:
                self._load(state)

    def advance(self, to_s: float) -> None:
        """Run on until furnace time reaches ``to_s``."""
        while self.t_s + STEP_S <= to_s + 1e-9:
            self._step()

    def true_blade_c(self, name: str) -> float:
        """Temperature of the piece of this name [degC]."""
        return next(state.packet.blade_c for state in self._pieces if state.piece.packet.name == name)

    @property
    def is_off(self) -> bool:
        """Whether the program is over and the controller no longer heats."""
        waits = self.scenario.after_program == "stay" and any(state.pulled_s is None for state in self._pieces)
        return self.program.step_number == 0 and not waits

    def active(self, what: str) -> Fault | None:
        """First fault of this kind that is there now."""
        ended_s = self.program.ended_s
        faults = (fault for fault in self.scenario.faults if fault.what == what)
        return next((fault for fault in faults if fault.lasts(self.t_s, ended_s) is not None), None)

    def _step(self) -> None:
        self._move_pieces()
        control_c = self._reading_c("control")
        setpoint_c = self.program.step(STEP_S, self.chamber.sensor_c if control_c is None else control_c)
        safe = control_c is not None and not self.is_off
        self.output = self.pid.step(STEP_S, setpoint_c, control_c) if safe and control_c is not None else 0.0
        self.door = self._door_now()
        sag, aged = self.active("mains sag"), self.active("aged element")
        volts = self.scenario.parts.mains_v * (sag.amount if sag else 1.0)
        if aged:
            volts /= aged.amount**0.5
        stuck = self.active("relay stuck")
        self.chamber.step(STEP_S, stuck.amount if stuck else self.output, volts=volts, door=self.door)
        for state in self._pieces:
            if state.pulled_s is not None:
                between_plates = self.t_s >= state.pulled_s + state.piece.plates_s
                state.packet.cool(STEP_S, room_c=self.scenario.room_c, plates=between_plates)
        self.t_s += STEP_S

    def _door_now(self) -> float:
        fault = self.active("door")
        by_hand = 1.0 if self.t_s < self._door_until_s else 0.0
        return max(by_hand, fault.amount if fault else 0.0)

    def _move_pieces(self) -> None:
        ended_s = self.program.ended_s
        for state in self._pieces:
            load, pull = state.piece.load, state.piece.pull
            if state.loaded_s is None and load is not None and _due(load.seconds(ended_s), self.t_s):
                self._open_door(state)
                self._load(state)
            elif state.is_in and pull is not None and _due(pull.seconds(ended_s), self.t_s):
                self._open_door(state)
                self.chamber.packets.remove(state.packet)
                state.pulled_s = self.t_s
                self._note("pull", state)
            if state.pulled_s is not None and self.t_s == state.pulled_s + state.piece.plates_s:
                self._note("plates", state)

    def _load(self, state: _PieceState) -> None:
        state.loaded_s = self.t_s
        self.chamber.packets.append(state.packet)
        self._note("load", state)

    def _note(self, act: Act, state: _PieceState) -> None:
        pieces: tuple[str, ...] = (state.piece.packet.name,)
        if self.happenings and (self.happenings[-1].t_s, self.happenings[-1].act) == (self.t_s, act):
            pieces = (*self.happenings.pop().pieces, *pieces)
        self.happenings.append(Happening(self.t_s, act, pieces))
        self._pressed_until_s = self.t_s + 6.0

    def _open_door(self, state: _PieceState) -> None:
        self._door_until_s = max(self._door_until_s, self.t_s + state.piece.door_s)

    def _true_c(self, sensor: str) -> float | None:
        if sensor == "control":
            return self.chamber.sensor_c
        if sensor == "recording":
            heated = max(0.0, self.chamber.sensor_c - self.scenario.room_c) / 1000.0
            return self.chamber.sensor_c + self.scenario.recording_offset_c * heated
        if sensor == "room":
            return self.scenario.room_c
        carriers = [state for state in self._pieces if state.piece.sensor]
        number = int(sensor.removeprefix("load ")) - 1
        return carriers[number].packet.blade_c if number < len(carriers) else None

    def _reading_c(self, sensor: str) -> float | None:
        """Temperature that the input of a sensor gives, its faults included."""
        temp_c = self._true_c(sensor)
        if temp_c is None:
            return None
        spread_c = self.scenario.noise_c
        stuck = False
        for fault in self.scenario.faults:
            since_s = fault.lasts(self.t_s, self.program.ended_s)
            if fault.sensor != sensor or since_s is None or fault.what in LINK_FAULTS:
                continue
            if fault.what == "open circuit":
                return None
            stuck = stuck or fault.what == "stuck reading"
            spread_c = fault.amount if fault.what == "noise" else spread_c
            temp_c = _shifted_c(fault, temp_c, since_s, self.scenario.room_c)
        temp_c += spread_c * self._chance(sensor).gauss(0.0, 1.0)
        if stuck:
            return self._stuck.setdefault(sensor, temp_c)
        self._stuck.pop(sensor, None)
        return temp_c

    def _chance(self, what: str) -> random.Random:
        """Chance of one second: the same for the same seed, however often the instrument is asked."""
        return random.Random(f"{self.scenario.seed} {what} {round(self.t_s)}")

    def shown(self) -> Shown:
        """What the instrument shows now."""
        return Shown(
            t_s=self.t_s,
            temp_c={sensor: self._reading_c(sensor) for sensor in SENSORS},
            setpoint_c=self.scenario.room_c if self.is_off else self.program.setpoint_c,
            output=self.output,
            door_open=self.door > 0.0,
            foot_switch=self.t_s < self._pressed_until_s,
            program_step=self.program.step_number,
        )


def _due(moment_s: float | None, now_s: float) -> bool:
    return moment_s is not None and now_s >= moment_s


def _shifted_c(fault: Fault, temp_c: float, since_s: float, room_c: float) -> float:
    if fault.what == "offset":
        return temp_c + fault.amount
    if fault.what == "drift":
        return temp_c + fault.amount * since_s / 3600.0
    if fault.what == "wrong type":
        return shown_c(temp_c, wired=fault.wired, set_as=fault.set_as, terminals_c=room_c + 5.0)
    return temp_c
