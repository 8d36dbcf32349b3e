"""Thermocouple reference functions: temperature to emf and back, Seebeck coefficient, tolerance of new wire.

The arithmetic is in ``thermocouple_numerics``, the published figures in ``thermocouple_coefficients``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import ThermocoupleError
from soakwitness.analysis.thermocouples.coefficients import REFERENCE_FUNCTIONS, TYPES, known_type
from soakwitness.analysis.thermocouples.curve_arithmetic import (
    B_LOWEST_MV,
    forward,
    in_blocks,
    inverse_rows,
    temperature_rows,
)
from soakwitness.analysis.thermocouples.tolerance import TOLERANCE_CLASSES, tolerance_c
from soakwitness.firmware_bridge.common.wording import Says, Temp

__all__ = [
    "TOLERANCE_CLASSES",
    "TYPES",
    "ThermocoupleError",
    "TypeRange",
    "emf_mv",
    "seebeck_uv_per_c",
    "temperature_c",
    "tolerance_c",
    "type_range",
]

FloatArray = npt.NDArray[np.float64]
OnRange = Literal["nan", "raise"]


@dataclass(frozen=True)
class TypeRange:
    """Where the functions of one type are defined: temperature [degC] and, for the inverse, emf at 0 degC [mV]."""

    low_c: float
    high_c: float
    low_mv: float
    high_mv: float


def emf_mv(
    temp_c: npt.ArrayLike, type: str, reference_c: npt.ArrayLike = 0.0, *, on_range: OnRange = "nan"
) -> FloatArray:
    """Emf of a thermocouple.

    Parameters
    ----------
    temp_c : float or array
        Temperature of the measuring junction [degC], any shape.
    type : str
        Letter of the type: B E J K N R S T.
    reference_c : float or array
        Temperature of the reference junction [degC], broadcast against ``temp_c``.
    on_range : str
        What a temperature outside the range gives: ``"nan"`` or ``"raise"``.

    Returns
    -------
    float or array
        Emf [mV], shape of the input; a numpy number for a single value.

    Raises
    ------
    ThermocoupleError
        If the type is unknown, or with ``on_range="raise"`` if a temperature is outside the range.

    Notes
    -----
    E(t, t_ref) = E(t) - E(t_ref) with the reference function of ITS-90, valid over its published range.

    References
    ----------
    NIST Monograph 175 (1993), SRD 60; IEC 60584-1:2013, annex with the same functions.
    """
    kind = known_type(type)
    hot = _checked(forward(temp_c, kind), temp_c, kind, on_range, "°C")
    if not np.any(reference_c):
        return hot[()]
    cold = _checked(forward(reference_c, kind), reference_c, kind, on_range, "°C at the reference junction")
    return (hot - cold)[()]


def temperature_c(
    emf_mv: npt.ArrayLike, type: str, reference_c: npt.ArrayLike = 0.0, *, on_range: OnRange = "nan"
) -> FloatArray:
    """Temperature of the measuring junction.

    Parameters
    ----------
    emf_mv : float or array
        Measured emf [mV], any shape.
    type : str
        Letter of the type: B E J K N R S T.
    reference_c : float or array
        Temperature of the reference junction [degC], broadcast against ``emf_mv``.
    on_range : str
        What an emf outside the range gives: ``"nan"`` or ``"raise"``.

    Returns
    -------
    float or array
        Temperature [degC], shape of the input; a numpy number for a single value.

    Raises
    ------
    ThermocoupleError
        If the type is unknown, or with ``on_range="raise"`` if an emf is outside the range.

    Notes
    -----
    Solves E(t) = emf + E(t_ref) on the forward function with Newton steps to better than 1e-9 degC. Type B has two
    temperatures for one emf near its lower end and is refused below 0.291 mV (about 250 degC). An emf less than
    0.0005 mV beyond the exact end of the range, half the last printed digit of the tables, counts as the end itself.

    References
    ----------
    NIST Monograph 175 (1993), SRD 60.
    """
    kind = known_type(type)
    total: FloatArray = np.asarray(emf_mv, dtype=np.float64)
    if np.any(reference_c):
        cold = _checked(forward(reference_c, kind), reference_c, kind, on_range, "°C at the reference junction")
        total = total + cold
    return _checked(in_blocks(total, inverse_rows(kind)), total, kind, on_range, "mV")[()]


def seebeck_uv_per_c(temp_c: npt.ArrayLike, type: str, *, on_range: OnRange = "nan") -> FloatArray:
    """Seebeck coefficient, the slope of the reference function.

    Parameters
    ----------
    temp_c : float or array
        Temperature [degC], any shape.
    type : str
        Letter of the type: B E J K N R S T.
    on_range : str
        What a temperature outside the range gives: ``"nan"`` or ``"raise"``.

    Returns
    -------
    float or array
        dE/dt [uV/degC], shape of the input; a numpy number for a single value.

    Raises
    ------
    ThermocoupleError
        If the type is unknown, or with ``on_range="raise"`` if a temperature is outside the range.

    References
    ----------
    NIST Monograph 175 (1993): derivative of the reference functions.
    """
    kind = known_type(type)
    result = in_blocks(temp_c, temperature_rows(kind, "slope")) * 1e3
    return _checked(result, temp_c, kind, on_range, "°C")[()]


def type_range(type: str) -> TypeRange:
    """Range in which a type's functions are defined.

    ``type``: letter of the type: B E J K N R S T. Returns temperatures [degC] of the forward function, emf [mV] of the
    inverse.

    Raises ThermocoupleError if the type is unknown.
    """
    kind = known_type(type)
    pieces = REFERENCE_FUNCTIONS[kind]
    ends = np.array([pieces[0].low_c, pieces[-1].high_c])
    low_mv, high_mv = forward(ends, kind)
    return TypeRange(pieces[0].low_c, pieces[-1].high_c, B_LOWEST_MV if kind == "B" else float(low_mv), float(high_mv))


def _checked(result: FloatArray, given: npt.ArrayLike, kind: str, on_range: OnRange, unit: str) -> FloatArray:
    """Return the result, or raise where a number went in and none came out."""
    if on_range == "raise":
        value = np.asarray(given, dtype=np.float64)
        outside = np.isnan(result) & ~np.isnan(value)
        if outside.any():
            limits = type_range(kind)
            low, high = (limits.low_mv, limits.high_mv) if unit == "mV" else (limits.low_c, limits.high_c)
            worst = float(value[outside].flat[0]) if value.ndim else float(value)
            if unit == "mV":
                raise ThermocoupleError(f"{worst:.6g} mV is outside type {kind}, {low:.4g} to {high:.6g} mV.")
            says = f"{{at}}{unit.removeprefix('°C')} is outside type {kind}, {{low}} to {{high}}."
            raise ThermocoupleError(Says.of(says, at=Temp(worst, digits=3), low=Temp(low), high=Temp(high)))
    elif on_range != "nan":
        raise ThermocoupleError(f'on_range is {on_range!r}; it can be "nan" or "raise".')
    return result
