"""Tables of the properties for quick look-up by whole arrays, in single precision: 0.0001 K is plenty here."""

from __future__ import annotations

from bisect import bisect_right
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from soakwitness.firmware_bridge.common import heat_transfer_properties as properties

SingleArray = npt.NDArray[np.float32]
Line = tuple[SingleArray, SingleArray]
LOWEST_K, HIGHEST_K = 150, 1900
ENTHALPY_PER_K = 4
PLATE_HEIGHT_M = 0.04  # a blade's width: engineering guess, no source
ROOT_PER_K = 4


def _by_kelvin(values: list[float]) -> SingleArray:
    """Table whose index is the whole kelvin: nothing below ``LOWEST_K`` is ever asked for."""
    return np.array([values[0]] * LOWEST_K + values, dtype=np.float32)


@lru_cache(maxsize=1)
def air_tables() -> tuple[SingleArray, SingleArray, SingleArray]:
    """Conductivity [W/mK] and the two convection terms of air by whole kelvin of its film temperature."""
    films = [k + 0.5 for k in range(LOWEST_K, HIGHEST_K)]
    terms = [properties.convection_terms(k, PLATE_HEIGHT_M) for k in films]
    return (
        _by_kelvin([properties.air_conductivity(k) for k in films]),
        _by_kelvin([p for p, _ in terms]),
        _by_kelvin([q for _, q in terms]),
    )


@lru_cache(maxsize=1)
def foil_table() -> SingleArray:
    """Specific heat of the foil [J/kgK] by whole kelvin."""
    temps = [min(max(k + 0.5 - properties.ZERO_C_IN_K, 0.0), 1200.0) for k in range(LOWEST_K, HIGHEST_K)]
    return _by_kelvin([properties.foil_cp(t) for t in temps])


@lru_cache(maxsize=1)
def root_table() -> SingleArray:
    """Sixth root of a temperature difference [K^(1/6)] by quarters of a kelvin."""
    steps = np.arange(ROOT_PER_K * HIGHEST_K) + 0.5
    root: SingleArray = ((steps / ROOT_PER_K) ** (1.0 / 6.0)).astype(np.float32)
    return root


@lru_cache(maxsize=1)
def enthalpy_lines() -> tuple[Line, Line]:
    """The enthalpy tables to be read on straight lines: their values, and what each goes up by to the next."""
    base, peak = enthalpy_tables()
    return (base, np.diff(base)), (peak, np.diff(peak))


@lru_cache(maxsize=1)
def enthalpy_tables() -> tuple[SingleArray, SingleArray]:
    """Enthalpy without the peak and of the peak alone [J/kg] by quarters of a kelvin."""
    temps = [k / ENTHALPY_PER_K - properties.ZERO_C_IN_K for k in range(ENTHALPY_PER_K * HIGHEST_K)]
    first, after = (bisect_right(temps, end_c) for end_c in (properties.PEAK_FROM_C, properties.PEAK_TO_C))
    peak = [properties.steel_enthalpy_peak(t) for t in temps[first : after + 1]]  # nothing before, no more after
    return (
        np.array([properties.steel_enthalpy_base(t) for t in temps], dtype=np.float32),
        np.array([0.0] * first + peak + peak[-1:] * (len(temps) - first - len(peak)), dtype=np.float32),
    )
