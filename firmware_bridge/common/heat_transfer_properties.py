"""Published properties of steel, foil and air, natural convection and radiation. Standard library only."""

from __future__ import annotations

import math

ZERO_C_IN_K = 273.15
STEFAN_BOLTZMANN = 5.670374419e-8  # W/m2K4, CODATA 2018
GRAVITY = 9.80665  # m/s2
STEEL_DENSITY = 7850.0  # kg/m3, EN 1993-1-2:2005, 3.2.2
FOIL_DENSITY = 7850.0  # kg/m3, EN 1993-1-2:2005, 3.2.2 (also for stainless steel)
PRANDTL_AIR = 0.70
PEAK_FROM_C, PEAK_MID_C, PEAK_TO_C = 600.0, 735.0, 900.0
BASE_AT_600, BASE_AT_900 = 760.217, 650.0  # c_p without the peak: a straight line between the neighbouring branches


def steel_cp(temp_c: float) -> float:
    """Specific heat of carbon steel, transformation peak included.

    Returns specific heat [J/kgK].

    Source: EN 1993-1-2:2005, 3.4.1.2, equations (3.2a) to (3.2d).
    """
    if temp_c < PEAK_FROM_C:
        t = max(temp_c, 0.0)
        return 425.0 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3
    if temp_c < PEAK_MID_C:
        return 666.0 + 13002.0 / (738.0 - temp_c)
    if temp_c < PEAK_TO_C:
        return 545.0 + 17820.0 / (temp_c - 731.0)
    return 650.0


def steel_cp_base(temp_c: float) -> float:
    """Specific heat of carbon steel with the transformation peak taken out.

    EN 1993-1-2 up to 600 and from 900 degC, a straight line between; what the standard has above it is the peak.

    Returns specific heat [J/kgK].
    """
    if PEAK_FROM_C <= temp_c < PEAK_TO_C:
        share = (temp_c - PEAK_FROM_C) / (PEAK_TO_C - PEAK_FROM_C)
        return BASE_AT_600 + share * (BASE_AT_900 - BASE_AT_600)
    return steel_cp(temp_c)


def steel_cp_with_peak_at(temp_c: float, peak_c: float) -> float:
    """Specific heat of a steel whose transformation peak is carbon steel's, but lies elsewhere [J/kgK].

    ``peak_c``: its middle on heating [degC]; 735 is carbon steel's own.
    """
    if peak_c == PEAK_MID_C:
        return steel_cp(temp_c)
    as_if = temp_c - (peak_c - PEAK_MID_C)
    return steel_cp_base(temp_c) + steel_cp(as_if) - steel_cp_base(as_if)


def steel_enthalpy_base(temp_c: float) -> float:
    """Integral of :func:`steel_cp_base` from 0 degC.

    ``temp_c``: steel temperature [degC]; below 0 the specific heat of 0 degC is held. Returns enthalpy [J/kg].
    """
    if temp_c <= 0.0:
        return 425.0 * temp_c
    t = min(temp_c, PEAK_FROM_C)
    total = 425.0 * t + 0.773 / 2 * t**2 - 1.69e-3 / 3 * t**3 + 2.22e-6 / 4 * t**4
    if temp_c > PEAK_FROM_C:
        t = min(temp_c, PEAK_TO_C)
        total += (t - PEAK_FROM_C) * (BASE_AT_600 + steel_cp_base(min(t, PEAK_TO_C - 1e-9))) / 2
    return total + max(temp_c - PEAK_TO_C, 0.0) * 650.0


def steel_enthalpy_peak(temp_c: float) -> float:
    """Heat of the transformation peak taken up to a temperature: integral of c_p less its base.

    ``temp_c``: steel temperature [degC], for a peak at 735 degC. Returns enthalpy [J/kg], 0 below 600 degC and constant
    above 900 degC.
    """
    if temp_c <= PEAK_FROM_C:
        return 0.0
    t = min(temp_c, PEAK_MID_C)
    total = 666.0 * (t - PEAK_FROM_C) + 13002.0 * math.log((738.0 - PEAK_FROM_C) / (738.0 - t))
    if temp_c > PEAK_MID_C:
        t = min(temp_c, PEAK_TO_C)
        total += 545.0 * (t - PEAK_MID_C) + 17820.0 * math.log((t - 731.0) / (PEAK_MID_C - 731.0))
    return total - (steel_enthalpy_base(min(temp_c, PEAK_TO_C)) - steel_enthalpy_base(PEAK_FROM_C))


def steel_conductivity(temp_c: float) -> float:
    """Thermal conductivity of carbon steel, for the Biot number.

    Returns conductivity [W/mK].

    Source: EN 1993-1-2:2005, 3.4.1.3.
    """
    return 54.0 - 3.33e-2 * temp_c if temp_c < 800.0 else 27.3


def foil_cp(temp_c: float) -> float:
    """Specific heat of stainless steel foil.

    Returns specific heat [J/kgK].

    Source: EN 1993-1-2:2005, annex C, C.3.2.
    """
    return 450.0 + 0.280 * temp_c - 2.91e-4 * temp_c**2 + 1.34e-7 * temp_c**3


def air_conductivity(temp_k: float) -> float:
    """Thermal conductivity of air.

    Returns conductivity [W/mK].

    Source: US Standard Atmosphere 1976, equation (53).
    """
    return 2.64638e-3 * math.pow(temp_k, 1.5) / (temp_k + 245.4 * math.pow(10.0, -12.0 / temp_k))


def air_viscosity(temp_k: float) -> float:
    """Kinematic viscosity of air at 101 325 Pa.

    Returns kinematic viscosity [m2/s].

    Source: US Standard Atmosphere 1976, equations (51) and (42), M = 28.9644 kg/kmol.
    """
    return 1.458e-6 * math.pow(temp_k, 1.5) / (temp_k + 110.4) / (101325.0 * 28.9644 / (8314.32 * temp_k))


def vertical_plate_nusselt(rayleigh: float, prandtl: float) -> float:
    """Mean Nusselt number of natural convection at a vertical plate.

    Any Rayleigh number; a blade stands near 1e3 to 1e6.

    ``rayleigh``: rayleigh number [-] of the plate's height. ``prandtl``: prandtl number [-]. Returns nusselt number
    [-].

    Source: Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1323; Incropera, 6th edition, equation (9.26).
    """
    factor = 0.387 * math.pow(1.0 + math.pow(0.492 / prandtl, 9.0 / 16.0), -8.0 / 27.0)
    root = 0.825 + factor * math.pow(rayleigh, 1.0 / 6.0)
    return root * root


def convection_terms(film_k: float, height_m: float) -> tuple[float, float]:
    """Two numbers p and q with which natural convection is h = (p + q dT^(1/6))^2.

    Returns p [(W/m2K)^(1/2)] and q [(W/m2K)^(1/2) K^(-1/6)]: :func:`vertical_plate_nusselt` x k/L for a difference dT
    [K].
    """
    root = math.sqrt(air_conductivity(film_k) / height_m)
    rayleigh_per_k = GRAVITY * height_m**3 * PRANDTL_AIR / (film_k * air_viscosity(film_k) ** 2)
    at_one = math.sqrt(vertical_plate_nusselt(rayleigh_per_k, PRANDTL_AIR))
    return 0.825 * root, (at_one - 0.825) * root


def radiation_conductance(factor: float, one_k: float, other_k: float) -> float:
    """Radiation between two surfaces as a conductance.

    ``factor``: emissivity towards large surroundings, or :func:`exchange_factor` [-]. Returns conductance [W/m2K];
    times the difference it is factor x sigma x (T1^4 - T2^4).
    """
    return factor * STEFAN_BOLTZMANN * (one_k**2 + other_k**2) * (one_k + other_k)


def exchange_factor(emissivity_1: float, emissivity_2: float, area_ratio: float = 1.0) -> float:
    """Radiation factor of two grey surfaces that see only each other, on the area of the first.

    ``emissivity_1``, ``emissivity_2``: emissivities [-]. ``area_ratio``: first area over second [-]: 1 for parallel
    plates. Returns factor [-].

    Source: Incropera, 6th edition, table 13.3.
    """
    return 1.0 / (1.0 / emissivity_1 + (1.0 - emissivity_2) / emissivity_2 * area_ratio)
