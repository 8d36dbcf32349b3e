"""From an instrument's raw number to a reading: scale, fault values, fault bits."""

from __future__ import annotations

import math
from collections.abc import Sequence

from soakwitness.firmware_bridge.furnace.sensors_and_links import Sensor, Signal


def scaled(part: Sensor | Signal, raw: float) -> float:
    """Give the number in the instrument's unit, without the dust that a factor such as 0.1 leaves."""
    return round(raw * part.scale + part.offset, 9)


def is_fault(raw: float, fault_values: Sequence[float]) -> bool:
    """Whether the raw number is none, or one that the instrument uses to say "no reading"."""
    return not math.isfinite(raw) or raw in fault_values


def fault_word(raw: float, words: Sequence[str]) -> str | None:
    """Put the bits of a fault number into words; None where nothing is wrong.

    Without words every bit is a fault; with words, bits beyond them or with an empty word are none.
    """
    bits = int(raw)
    if not words:
        return f"fault 0x{bits & 0xFFFFFFFF:x}" if bits else None
    return ", ".join(word for bit, word in enumerate(words) if word and bits >> bit & 1) or None
