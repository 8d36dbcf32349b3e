"""A packet as an ordinary differential equation, solved tightly: written apart from the model, for tests of it.

Formulas as CHECKS section 4 gives them: EN 1993-1-2 specific heats, US Standard Atmosphere 1976 conductivity, natural
convection of a vertical plate after Churchill and Chu (viscosity: Sutherland's law of the same Atmosphere, Pr 0.7).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp

FloatArray = npt.NDArray[np.float64]
SIGMA = 5.670374419e-8
KELVIN = 273.15


@dataclass(frozen=True)
class TruePacket:
    """One packet; ``height_m`` is the blade's width."""

    thickness_mm: float = 3.0
    eps_o: float = 0.6
    f_i: float = 0.19
    gap_mm: float = 1.0
    foil: bool = True
    foil_mm: float = 0.05
    faces: int = 2
    peak_factor: float = 1.0
    height_m: float = 0.04
    convection: float = 1.0


def steel_heat(t: float) -> float:
    if t < 600:
        return 425 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3
    if t < 735:
        return 666 + 13002 / (738 - t)
    return 545 + 17820 / (t - 731) if t < 900 else 650.0


def scaled_heat(t: float, factor: float) -> float:
    """The peak between 600 and 900 degC, over the straight line between the two ends, times a factor."""
    if not 600 < t < 900:
        return steel_heat(t)
    line = 760.217 + (650 - 760.217) * (t - 600) / 300
    return line + factor * (steel_heat(t) - line)


def convection(gas_c: float, wall_c: float, height_m: float) -> float:
    film = (gas_c + wall_c) / 2 + KELVIN
    k = 2.64638e-3 * film**1.5 / (film + 245.4 * 10 ** (-12 / film))
    nu = 1.458e-6 * film**1.5 / (film + 110.4) / (101325 / (287.053 * film))
    rayleigh = 9.80665 * abs(gas_c - wall_c) * height_m**3 / (film * nu**2) * 0.7
    nusselt = (0.825 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.492 / 0.7) ** (9 / 16)) ** (8 / 27)) ** 2
    return nusselt * k / height_m


def solve(
    packet: TruePacket,
    chamber: Callable[[float], float],
    at_s: FloatArray,
    *,
    start_c: float = 20.0,
    heat: Callable[[float], float] | None = None,
) -> FloatArray:
    """Blade [degC] at times from the loading on; ``chamber`` tells degC at a time since the loading.

    ``heat``: specific heat of a steel whose peak lies elsewhere [J/kgK] at a temperature [degC].
    """
    mass = 7850 * packet.thickness_mm / 1000 / packet.faces

    def rates(t: float, state: FloatArray) -> list[float]:
        gas = chamber(t)
        wall, blade = state[0], state[-1]
        outer = packet.eps_o * SIGMA * ((gas + KELVIN) ** 4 - (wall + KELVIN) ** 4)
        outer += packet.convection * convection(gas, wall, packet.height_m) * (gas - wall)
        heat_j = scaled_heat(blade, packet.peak_factor) if heat is None else heat(blade)
        if not packet.foil:
            return [outer / (mass * heat_j)]
        film = (wall + blade) / 2 + KELVIN
        air = 2.64638e-3 * film**1.5 / (film + 245.4 * 10 ** (-12 / film))
        inner = packet.f_i * SIGMA * ((wall + KELVIN) ** 4 - (blade + KELVIN) ** 4)
        inner += air / (packet.gap_mm / 1000) * (wall - blade)
        foil_heat = 450 + 0.280 * wall - 2.91e-4 * wall**2 + 1.34e-7 * wall**3
        return [(outer - inner) / (7850 * packet.foil_mm / 1000 * foil_heat), inner / (mass * heat_j)]

    start = [start_c] * (2 if packet.foil else 1)
    answer = solve_ivp(rates, (0, at_s[-1]), start, method="LSODA", t_eval=at_s, rtol=1e-8, atol=1e-6, max_step=10.0)
    assert answer.success
    blade: FloatArray = answer.y[-1]
    return blade


def shown_late(t_s: FloatArray, chamber_c: FloatArray, lag_s: float) -> FloatArray:
    """What a sensor of first order shows of a chamber; exact for steps held at the middle of two readings."""
    shown = np.empty_like(chamber_c)
    shown[0] = chamber_c[0]
    for i, stays in enumerate(np.exp(-np.diff(t_s) / lag_s), start=1):
        middle_c = 0.5 * (chamber_c[i] + chamber_c[i - 1])
        shown[i] = middle_c + (shown[i - 1] - middle_c) * stays
    return shown


def minutes_behind(
    packet: TruePacket, begin_c: float, hold_c: float, within_c: float, rate_c_per_min: float | None
) -> float:
    """Minutes after the chamber reaches its hold until the blade is within some degrees; no rate: loaded hot."""
    ramp = 0.0 if rate_c_per_min is None else (hold_c - begin_c) / rate_c_per_min * 60

    def chamber(t: float) -> float:
        return hold_c if rate_c_per_min is None else min(hold_c, begin_c + rate_c_per_min / 60 * t)

    at = np.arange(ramp, ramp + 5400, 2.0)
    blade = solve(packet, chamber, np.concatenate([[0.0], at]) if ramp else at, start_c=begin_c)[-at.size :]
    return float(np.interp(hold_c - within_c, blade, at) - ramp) / 60
