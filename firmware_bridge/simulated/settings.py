"""Reads what a furnace file says below ``kind = "simulated"`` into a scenario.

All keys are optional; temperatures are in the unit of the furnace file::

    [link]
    kind = "simulated"
    speaks = "modbus"           # or "lines"
    over = "auto"               # or "pseudo-terminal", "network"
    seed = 1
    start = 20                  # temperature of the furnace at the start
    room = 20
    noise = 0.05                # standard deviation of a reading
    waits_for_furnace = true    # a hold begins only when the furnace is there
    after_program = "off"       # or "stay": keep the last setpoint until the last piece is out
    line_every_s = 1.0          # lines only

    [link.controller]
    gain = 0.08                 # per degree
    integral_s = 300
    derivative_s = 30

    [[link.program]]
    ramp = "full power"         # or degrees per hour
    to = 780
    [[link.program]]
    hold_minutes = 10

    [[link.piece]]              # without load_... it is in from the start, without pull_... it stays
    name = "B-041"
    thickness_mm = 3.0
    steel = "S44004"            # open designation: where it transforms on heating follows from its group
    foil = true
    sensor = true               # a load sensor sits in it
    load_minutes = 30           # or load_after_step = 2 with load_plus_minutes = 1
    pull_after_step = 4

    [[link.fault]]
    what = "door"               # see scenario.FAULTS for all and for what their size means
    minutes = 50                # or after_step = 3 with plus_minutes = 2; without: from the start
    for_minutes = 1
    size = 1.0
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from soakwitness.firmware_bridge.common.tables import File, Table
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_celsius, to_kelvin
from soakwitness.firmware_bridge.errors import FurnaceFileError
from soakwitness.firmware_bridge.simulated.controller import PidParts, ProgramHold, ProgramRamp, ProgramStep
from soakwitness.firmware_bridge.simulated.furnace import SENSORS
from soakwitness.firmware_bridge.simulated.heated_packet import PacketParts, transforms_at
from soakwitness.firmware_bridge.simulated.scenario import (
    FAULTS,
    LOADS,
    Fault,
    FaultKind,
    Moment,
    Scenario,
    ScenarioPiece,
)
from soakwitness.firmware_bridge.simulated.thermocouples import TYPES

Over = Literal["auto", "pseudo-terminal", "network"]
COLDEST_C, HOTTEST_C = -20.0, 1300.0
USUAL_STEEL = "S44004"  # of the guide's recipes
LONGEST_MINUTES = 7.0 * 24.0 * 60.0


@dataclass(frozen=True)
class SimulatedSettings:
    """What to simulate and how to serve it."""

    scenario: Scenario
    unit: Unit = "C"
    speaks: Literal["modbus", "lines"] = "modbus"
    over: Over = "auto"
    line_every_s: float = 1.0


def read_settings(
    settings: Mapping[str, Any], *, unit: Unit = "C", source: str = "[link]", text: str = ""
) -> SimulatedSettings:
    """Check the keys and build the scenario; ``source`` and ``text`` are the furnace file's they stand in.

    Raises FurnaceFileError if a key or value is wrong: it names the line, the table, the key, the value and what is
    allowed.
    """
    reader = _SettingsReader(unit)
    table = Table(File(text, source, FurnaceFileError), ("link",), settings)
    table.value("kind")
    found = SimulatedSettings(
        scenario=reader.scenario(table),
        unit=unit,
        speaks=table.choice("speaks", ("modbus", "lines"), "modbus"),  # type: ignore[arg-type]
        over=table.choice("over", ("auto", "pseudo-terminal", "network"), "auto"),  # type: ignore[arg-type]
        line_every_s=table.number("line_every_s", 1.0, low=0.1, high=3600.0),
    )
    table.finish()
    return found


class _SettingsReader:
    """Turns tables into the parts of a scenario."""

    def __init__(self, unit: Unit) -> None:
        self.unit = unit

    def temp_c(self, table: Table, key: str, default_c: float) -> float:
        if table.value(key) is None:
            return default_c
        low, high = (from_celsius(edge, self.unit) for edge in (COLDEST_C, HOTTEST_C))
        return to_celsius(table.number(key, 0.0, low=low, high=high, unit=f"°{self.unit}"), self.unit)

    def scenario(self, table: Table) -> Scenario:
        room_c = self.temp_c(table, "room", 20.0)
        program = tuple(self.step(part) for part in table.tables("program")) or Scenario().program
        pieces = tuple(self.piece(part, len(program), room_c) for part in table.tables("piece"))
        if sum(piece.sensor for piece in pieces) > LOADS:
            table.refuse("piece", f"more than {LOADS} pieces with a sensor; the instrument has {LOADS} inputs.")
        noise = table.number("noise", low=0.0, high=100.0)
        return Scenario(
            seed=table.whole("seed", 0, 2**31, 1),
            room_c=room_c,
            start_c=self.temp_c(table, "start", room_c),
            program=program,
            waits_for_furnace=table.flag("waits_for_furnace", True),
            after_program=table.choice("after_program", ("off", "stay"), "off"),  # type: ignore[arg-type]
            pieces=pieces or (self.usual_piece(room_c),),
            faults=tuple(self.fault(part, len(program)) for part in table.tables("fault")),
            pid=self.pid(table.table("controller")),
            noise_c=Scenario.noise_c if noise is None else to_kelvin(noise, self.unit),
        )

    def pid(self, table: Table | None) -> PidParts:
        usual = PidParts()
        if table is None:
            return usual
        gain = table.number("gain", low=1e-4, high=10.0)
        parts = PidParts(
            gain_per_c=usual.gain_per_c if gain is None else gain / to_kelvin(1.0, self.unit),
            integral_s=table.number("integral_s", usual.integral_s, low=1.0, high=1e6),
            derivative_s=table.number("derivative_s", usual.derivative_s, low=0.0, high=1e4),
        )
        table.finish()
        return parts

    def step(self, table: Table) -> ProgramStep:
        step: ProgramStep
        if table.has("hold_minutes"):
            step = ProgramHold(60.0 * table.number("hold_minutes", 0.0, low=0.0, high=LONGEST_MINUTES))
        else:
            table.required("to", "a temperature (or hold_minutes in place of ramp and to)")
            step = ProgramRamp(self.temp_c(table, "to", 0.0), self.rate(table))
        table.finish()
        return step

    def rate(self, table: Table) -> float | None:
        value = table.value("ramp")
        if value is None or value == "full power":
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 1.0 <= value <= 10_000.0:
            allowed = '"full power" or degrees per hour from 1 to 10000'
            table.refuse("ramp", f"must be {allowed}.")
        return to_kelvin(float(value), self.unit)

    def usual_piece(self, room_c: float) -> ScenarioPiece:
        return ScenarioPiece(PacketParts(transforms_at_c=transforms_at(USUAL_STEEL), start_c=room_c), sensor=True)

    def piece(self, table: Table, steps: int, room_c: float) -> ScenarioPiece:
        packet = PacketParts(
            name=table.text("name") or "blade",
            thickness_mm=table.number("thickness_mm", 3.0, low=0.5, high=30.0),
            foil=table.flag("foil", True),
            heated_faces=table.whole("heated_faces", 1, 2, 2),
            transforms_at_c=self.temp_c(table, "transforms_at", transforms_at(table.text("steel") or USUAL_STEEL)),
            start_c=room_c,
        )
        piece = ScenarioPiece(
            packet,
            load=self.moment(table, "load_", steps),
            pull=self.moment(table, "pull_", steps),
            sensor=table.flag("sensor", False),
            door_s=table.number("door_s", ScenarioPiece.door_s, low=0.0, high=600.0),
            plates_s=table.number("plates_s", ScenarioPiece.plates_s, low=0.0, high=600.0),
        )
        table.finish()
        return piece

    def moment(self, table: Table, before: str, steps: int) -> Moment | None:
        minutes = table.number(before + "minutes", low=0.0, high=LONGEST_MINUTES)
        after = table.whole(before + "after_step", 1, steps, more=f" (the program has {steps} steps)")
        plus = table.number(before + "plus_minutes", 0.0, low=0.0, high=LONGEST_MINUTES)
        if after is not None:
            return Moment(after_step=after, plus_s=60.0 * plus)
        return None if minutes is None else Moment(60.0 * minutes)

    def fault(self, table: Table, steps: int) -> Fault:
        what: FaultKind = table.choice("what", tuple(FAULTS), needed=True)  # type: ignore[assignment]
        minutes = table.number("for_minutes", low=0.0, high=LONGEST_MINUTES)
        size = table.number("size", low=-10_000.0, high=10_000.0)
        in_degrees = what in ("drift", "offset", "noise")
        fault = Fault(
            what,
            begin=self.moment(table, "", steps) or Moment(),
            for_s=None if minutes is None else 60.0 * minutes,
            size=to_kelvin(size, self.unit) if size is not None and in_degrees else size,
            sensor=table.choice("sensor", SENSORS, "control"),
            share=table.number("share", 0.2, low=0.0, high=1.0),
            wired=table.choice("wired", TYPES, "K"),
            set_as=table.choice("set_as", TYPES, "N"),
        )
        _check_size(table, fault)
        table.finish()
        return fault


_SIZES: dict[str, tuple[float, float]] = {
    "mains sag": (0.0, 1.5),
    "aged element": (0.5, 10.0),
    "relay stuck": (0.0, 1.0),
    "door": (0.0, 1.0),
    "noise": (0.0, 100.0),
    "late replies": (0.0, 60.0),
}


def _check_size(table: Table, fault: Fault) -> None:
    low, high = _SIZES.get(fault.what, (-10_000.0, 10_000.0))
    if not low <= fault.amount <= high:
        table.refuse("size", f"must be from {low:g} to {high:g} for {fault.what!r} ({FAULTS[fault.what][0]}).")
