"""degF at the edges, degC and kelvin inside: the only place that knows 1.8 and 32.

All functions take numbers and arrays alike; what is not known (None) stays so. A difference or a rate is x 1.8,
never + 32.
"""

from __future__ import annotations

from typing import Any, Literal, TypeVar, cast

Unit = Literal["C", "F"]
Number = TypeVar("Number")  # a float, an array of them, or None

F_PER_C = 1.8
F_AT_0_C = 32.0


def to_celsius(temp: Number, unit: str | None) -> Number:
    """A temperature in ``unit`` as degC."""
    return cast(Number, (cast(Any, temp) - F_AT_0_C) / F_PER_C) if _fahrenheit(temp, unit) else temp


def from_celsius(temp_c: Number, unit: str | None) -> Number:
    """A temperature [degC] in ``unit``."""
    return cast(Number, cast(Any, temp_c) * F_PER_C + F_AT_0_C) if _fahrenheit(temp_c, unit) else temp_c


def to_kelvin(difference: Number, unit: str | None) -> Number:
    """A difference or rate in ``unit`` as kelvin."""
    return cast(Number, cast(Any, difference) / F_PER_C) if _fahrenheit(difference, unit) else difference


def from_kelvin(kelvin: Number, unit: str | None) -> Number:
    """A difference or rate [K] in ``unit``."""
    return cast(Number, cast(Any, kelvin) * F_PER_C) if _fahrenheit(kelvin, unit) else kelvin


def _fahrenheit(value: object, unit: str | None) -> bool:
    return unit == "F" and value is not None
