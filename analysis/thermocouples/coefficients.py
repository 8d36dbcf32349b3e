"""Which thermocouple types there are; the published coefficients have their home in ``firmware_bridge.common``."""

from __future__ import annotations

from soakwitness.analysis.errors import ThermocoupleError
from soakwitness.firmware_bridge.common.reference_functions import REFERENCE_FUNCTIONS, TYPES

__all__ = ["REFERENCE_FUNCTIONS", "TYPES", "known_type"]


def known_type(type: str) -> str:
    """Letter of a type in capitals.

    Raises ThermocoupleError if there is no such type.
    """
    letter = str(type).strip().upper()
    if letter not in REFERENCE_FUNCTIONS:
        raise ThermocoupleError(f"thermocouple type {type!r} is not known. Types: {' '.join(TYPES)}.")
    return letter
