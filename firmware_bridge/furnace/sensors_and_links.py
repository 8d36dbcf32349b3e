"""What a furnace file says, as frozen data. ``furnace.file`` parses and checks the text."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.furnace.rack import Rack

Role = Literal["control", "recording", "load", "reference", "survey", "ambient", "over-temperature"]
NumberFormat = Literal["int16", "uint16", "int32", "uint32", "float32"]
Table = Literal["input", "holding"]
WordOrder = Literal["high first", "low first"]
LinkKind = Literal["modbus", "lines", "simulated"]
Checksum = Literal["none", "xor", "crc16", "crc16-modbus", "crc16-xmodem", "crc32"]

ROLES: tuple[Role, ...] = ("control", "recording", "load", "reference", "survey", "ambient", "over-temperature")


@dataclass(frozen=True)
class ModbusSource:
    """Where a number stands in the instrument's Modbus tables (register number as sent on the wire)."""

    table: Table
    register: int
    format: NumberFormat = "int16"
    word_order: WordOrder = "high first"
    bit: int | None = None  # contacts only: which bit of a 16-bit register


@dataclass(frozen=True)
class LineSource:
    """Which part of a text line holds a number: a field number (from 1) or a named group of the pattern."""

    field: int | None = None
    group: str | None = None


@dataclass(frozen=True)
class Sensor:
    """One thermocouple with its name and role; the raw number x ``scale`` + ``offset`` is in the instrument's unit."""

    name: str
    role: Role
    source: ModbusSource | LineSource
    scale: float = 1.0
    offset: float = 0.0
    fault_values: tuple[float, ...] = ()
    resolution: float | None = None  # in the instrument's unit
    thermocouple: str | None = None  # B E J K N R S T
    tolerance_class: str | None = None  # "1", "2", "special", "standard"
    expanded_uncertainty: float | None = None  # k = 2, a difference in the instrument's unit
    instrument_uncertainty: float | None = None  # k = 2, a difference in the instrument's unit
    serial: str | None = None
    channel: str | None = None
    position: str | None = None
    linear_uv_per_c: float | None = None  # the converter takes the wire's curve for a line of this slope
    cold_junction: str | None = None  # name of the sensor that has the converter's cold junction
    input_offset: float | None = None  # what is set in the instrument, in its unit
    thickness_mm: float | None = None  # load sensors: thickness of the dummy that carries it
    fault_source: ModbusSource | LineSource | None = None  # a number whose bits say what is wrong; 0 is well
    fault_words: tuple[str, ...] = ()  # a word for each bit from bit 0; an empty word: this bit is no fault


@dataclass(frozen=True)
class Signal:
    """A number that is no thermocouple temperature; ``setpoint`` is in the instrument's unit, ``output`` in %."""

    name: str
    source: ModbusSource | LineSource
    scale: float = 1.0
    offset: float = 0.0
    fault_values: tuple[float, ...] = ()


@dataclass(frozen=True)
class Contact:
    """A door contact or a foot switch: ``means`` is a mark's act or ``next`` (the next expected act).

    The raw number ``closed_is`` means acted (door open, switch pressed); a Reading gives 1.0 for acted, else 0.0.
    """

    name: str
    source: ModbusSource | LineSource
    means: str = "door"
    closed_is: int = 1


@dataclass(frozen=True)
class LinkSettings:
    """How to reach the instrument."""

    kind: LinkKind
    port: str
    baud: int = 9600
    parity: Literal["N", "E", "O"] = "N"
    data_bits: int = 8
    stop_bits: int = 1
    timeout_s: float = 1.0
    dtr: bool = False  # state of the line before the port is opened: a raised one resets many boards
    rts: bool = False
    # Modbus
    framing: Literal["rtu", "ascii"] = "rtu"
    unit_id: int = 1
    silence_s: float | None = None  # at least this pause between frames; None: what the standard asks
    late_reply_s: float = 65.0  # so long a reply that did not come in time may still come
    echo: bool = False  # the adapter hands back what is sent: read it and throw it away
    # text lines
    pattern: str | None = None  # regular expression with named groups
    separator: str | None = None  # between fields, where there is no pattern
    decimal: Literal[".", ","] | None = None  # what stands before the fraction; None: asked for where it matters
    agree_within: float | None = None  # a line counts if the one before it differs by no more
    checksum: Checksum = "none"  # after the last "*" of the line, in hex digits
    sequence: LineSource | None = None  # a number that grows by one a line
    # simulated
    settings: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Limits:
    """What is physically possible or allowed here; None: the default of the role."""

    max_temp_c: float | None = None
    min_temp_c: float | None = None
    max_rate_c_per_s: float | None = None


@dataclass(frozen=True)
class Alarm:
    """What raises an alarm, what is run then (a list of words, run without a shell), and the address that is told."""

    over_c: float | None = None
    command: tuple[str, ...] = ()
    bell: bool = True
    silent_s: float = 10.0
    post: str | None = None


@dataclass(frozen=True)
class Furnace:
    """A furnace file, checked. ``text`` is the file as it was."""

    name: str
    unit: Unit
    link: LinkSettings
    every_s: float
    sensors: tuple[Sensor, ...]
    signals: tuple[Signal, ...] = ()
    contacts: tuple[Contact, ...] = ()
    limits: Limits = Limits()
    alarm: Alarm = Alarm()
    rack: Rack | None = None
    text: str = ""
    source: str = ""

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns of ``samples.csv`` between ``utc`` and ``crc``."""
        return tuple(part.name for part in self.parts)

    @property
    def parts(self) -> tuple[Sensor | Signal | Contact, ...]:
        """All that is read, in the order of the columns."""
        return (*self.sensors, *self.signals, *self.contacts)
