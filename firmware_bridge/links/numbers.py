"""From an instrument's raw number to a reading: scale, fault values, fault bits."""

from __future__ import annotations

import math
from collections.abc import Sequence

from soakwitness.firmware_bridge.furnace.sensors_and_links import LineSource, ModbusSource, Sensor, Signal

WHOLE_NUMBERS = {
    "int16": (-(2**15), 2**15 - 1),
    "uint16": (0, 2**16 - 1),
    "int32": (-(2**31), 2**31 - 1),
    "uint32": (0, 2**32 - 1),
}
_FLOAT32_NEAR = 2.0**-22  # relative: a few in the last place of IEEE 754 binary32, whose fraction has 24 bits


def scaled(part: Sensor | Signal, raw: float) -> float:
    """Give the number in the instrument's unit, without the dust that a factor such as 0.1 leaves."""
    return round(raw * part.scale + part.offset, 9)


def is_fault(raw: float, fault_values: Sequence[float], source: ModbusSource | LineSource) -> bool:
    """Whether the raw number is none, or one that the instrument uses to say "no reading".

    A ``float32`` holds 9999.9 as 9999.900390625: there a fault value is known as near as 32 bits can say it.
    """
    near = _FLOAT32_NEAR if isinstance(source, ModbusSource) and source.format == "float32" else 0.0
    return not math.isfinite(raw) or any(math.isclose(raw, value, rel_tol=near) for value in fault_values)


def fault_word(raw: float, words: Sequence[str]) -> str | None:
    """Put the bits of a fault number into words; None where nothing is wrong.

    Without words every bit is a fault; with words, bits beyond them or with an empty word are none.
    """
    bits = int(raw)
    if not words:
        return f"fault 0x{bits & 0xFFFFFFFF:x}" if bits else None
    return ", ".join(word for bit, word in enumerate(words) if word and bits >> bit & 1) or None
