"""What the simulated instrument has to say: its Modbus registers and its text line.

The register map, the same in the input table (function 4) and the holding table (function 3). Numbers are as sent on
the wire, counted from 0. Temperatures are in the unit that the instrument is set to.

====== ============================================ ======================================================
0      control sensor                               int16, tenths of a degree; 32767: open circuit
1      load sensor 1                                the same; 32767 also where there is none
2      recording sensor                             the same
3      room, at the terminals                       the same
4      setpoint                                     int16, tenths of a degree
5      output                                       int16, tenths of a percent
6      contacts                                     bit 0: door open, bit 1: foot switch
7      program step                                 from 1; 0: no program is running
8      inputs with an open circuit                  bit 0: control, 1: load 1, 2: recording, 3: room, 4..6: load 2..4
9..11  load sensors 2 to 4                          as 1
12, 13 seconds since it was switched on             uint32, high word first
20..37 registers 0 to 5 and 9 to 11, two each       float32, high word first; NaN: open circuit
40..57 the same                                     int32 in thousandths, low word first; 2147483647: open circuit
====== ============================================ ======================================================

All other registers are answered with exception 2. The text line has the same numbers, comma-separated::

    $FURNACE,<line number>,<control>,<load 1>,<recording>,<room>,<setpoint>,<output>,<load 2>,<load 3>,<load 4>,
    <door>,<switch>*<sum>

``<sum>`` is the XOR of the characters between ``$`` and ``*`` as two hex digits; ``open`` stands for an input with an
open circuit or without a sensor.
"""

from __future__ import annotations

import struct
from functools import reduce

from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.simulated.furnace import SENSORS, Shown

OPEN_INT16 = 32767
OPEN_INT32 = 2147483647
FLOATS_AT = 20
LONGS_AT = 40


def numbers(shown: Shown, unit: Unit) -> list[float | None]:
    """The numbers of registers 0 to 5 and 9 to 11, unscaled."""
    temps = [from_celsius(shown.temp_c[sensor], unit) for sensor in SENSORS]
    return [*temps[:4], from_celsius(shown.setpoint_c, unit), 100.0 * shown.output, *temps[4:]]


def registers(shown: Shown, unit: Unit = "C") -> dict[int, int]:
    """All registers by number, each 0 to 65535."""
    table: dict[int, int] = {}
    for i, (register, number) in enumerate(zip((*range(6), 9, 10, 11), numbers(shown, unit), strict=True)):
        tenths = OPEN_INT16 if number is None else max(-32768, min(OPEN_INT16 - 1, round(number * 10.0)))
        table[register] = tenths & 0xFFFF
        words = struct.unpack(">HH", struct.pack(">f", float("nan") if number is None else number))
        table[FLOATS_AT + 2 * i], table[FLOATS_AT + 2 * i + 1] = words
        thousandths = OPEN_INT32 if number is None else round(number * 1000.0)
        high, low = struct.unpack(">HH", struct.pack(">i", thousandths))
        table[LONGS_AT + 2 * i], table[LONGS_AT + 2 * i + 1] = low, high
    table[6] = int(shown.door_open) | int(shown.foot_switch) << 1
    table[7] = shown.program_step
    table[8] = sum(1 << i for i, sensor in enumerate(SENSORS) if shown.temp_c[sensor] is None)
    table[12], table[13] = divmod(int(shown.t_s), 0x10000)
    return table


def line(shown: Shown, number: int, unit: Unit = "C") -> str:
    """The text line, without its line end."""
    cells = [_text(value) for value in numbers(shown, unit)]
    contacts = [str(int(shown.door_open)), str(int(shown.foot_switch))]
    body = ",".join(["FURNACE", str(number), *cells, *contacts])
    return f"${body}*{reduce(lambda a, c: a ^ ord(c), body, 0):02X}"


def _text(number: float | None) -> str:
    return "open" if number is None else f"{number:.1f}"
