"""How long a thermocouple's wire is good for when it is hot, by its type and its diameter."""

from __future__ import annotations

# Assumptions, from memory; no source was found.
NOBLE_TYPES = frozenset("RSB")
THIN_MM = 3.0
ENDS_H, THIN_ENDS_H = 100.0, 50.0  # above 950 degC


def is_noble(thermocouple: str | None) -> bool:
    """Whether a type's wire is of platinum; one of an unknown type counts as base metal."""
    return thermocouple in NOBLE_TYPES


def is_thin(diameter_mm: float | None) -> bool:
    """Whether wire is thinner than 3 mm; one of an unknown diameter counts as 3 mm [mm]."""
    return diameter_mm is not None and diameter_mm < THIN_MM


def ends_h(thermocouple: str | None, diameter_mm: float | None) -> float | None:
    """Hours above 950 degC [h] after which a calibration of this wire has ended; None: no such end [mm]."""
    return None if is_noble(thermocouple) else THIN_ENDS_H if is_thin(diameter_mm) else ENDS_H
