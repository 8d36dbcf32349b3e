"""One packet followed reading by reading: the scalar twin of ``packet.stepping``, standard library only."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from soakwitness.analysis.packet.piece import PARAMETERS, PacketModel
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties

LONGEST_STEP_S, SHORTEST_STEP_S = 5.0, 0.05
LOOK_AHEAD_STEP_S = 20.0
BLADE_AT_ONCE_K, FOIL_AT_ONCE_K = 5.0, 40.0
SMALLEST_CHANGE_K = 0.05
PLATE_HEIGHT_M = 0.04  # a blade's width, as in packet.tables
REFERENCE_K = 1000.0
QUANTILE = 1.96  # of the normal distribution, 2.5 % on either side
OTHER_SPREAD = 0.10  # of the lag as a logarithm, from convection and the transformation peak: engineering guess


@dataclass(frozen=True)
class _Figures:
    """Figures of one packet per heated face, SI units."""

    eps_o: float
    f_i: float
    gap_m: float
    peak_factor: float
    peak_shift_k: float
    steel_kg_m2: float
    foil_kg_m2: float


class LivePacket:
    """Work temperature of one packet, advanced reading by reading."""

    def __init__(self, packet: PacketModel, *, start_c: float = 20.0) -> None:
        self._figures = _Figures(
            eps_o=packet.eps_o,
            f_i=packet.f_i,
            gap_m=packet.gap_mm / 1000.0,
            peak_factor=packet.peak_factor,
            peak_shift_k=packet.peak_c - properties.PEAK_MID_C,
            steel_kg_m2=properties.STEEL_DENSITY * packet.steel_mm / 1000.0,
            foil_kg_m2=properties.FOIL_DENSITY * packet.foil_mm / 1000.0 if packet.foil else 0.0,
        )
        self._foil_k = self._blade_k = start_c + properties.ZERO_C_IN_K
        self._last: tuple[float, float] | None = None

    @property
    def work_c(self) -> float:
        """Work temperature [degC]."""
        return self._blade_k - properties.ZERO_C_IN_K

    def begin(self, t_s: float, chamber_c: float) -> None:
        """Put the packet in at ``t_s`` [s], the chamber then at ``chamber_c`` [degC]."""
        self._last = (t_s, chamber_c)

    def advance(self, t_s: float, chamber_c: float) -> float:
        """Move on to a reading; the chamber is a straight line since the one before.

        ``t_s``: time of the reading [s]; an earlier one than the last is passed over. Returns work temperature [degC].
        """
        if self._last is None:
            self._last = (t_s, chamber_c)
        start_s, start_c = self._last
        if t_s > start_s:
            slope = (chamber_c - start_c) / (t_s - start_s)
            self._foil_k, self._blade_k = self._walk(t_s - start_s, start_c, slope, LONGEST_STEP_S)
            self._last = (t_s, chamber_c)
        return self.work_c

    def reaches_in_s(self, level_c: float, chamber_c: float, within_s: float = 7200.0) -> float | None:
        """Time until the work is at a level if the chamber stays as it is.

        Returns time [s], 0 where it is there, None where it does not get there.
        """
        if self.work_c >= level_c:
            return 0.0
        ahead, at_s = LivePacket.__new__(LivePacket), 0.0
        ahead._figures, ahead._foil_k, ahead._blade_k = self._figures, self._foil_k, self._blade_k
        while at_s < within_s and chamber_c > level_c:
            before_c = ahead.work_c
            ahead._foil_k, ahead._blade_k = ahead._walk(LOOK_AHEAD_STEP_S, chamber_c, 0.0, LOOK_AHEAD_STEP_S)
            if ahead.work_c >= level_c:
                return at_s + LOOK_AHEAD_STEP_S * (level_c - before_c) / (ahead.work_c - before_c)
            at_s += LOOK_AHEAD_STEP_S
        return None

    def _walk(self, length_s: float, start_c: float, slope: float, longest_s: float) -> tuple[float, float]:
        """Foil and blade [K] after a stretch of straight chamber, in steps as short as they must be."""
        foil, blade, done = self._foil_k, self._blade_k, 0.0
        while done < length_s - 1e-9:
            chamber = start_c + properties.ZERO_C_IN_K + slope * done
            foil_rate, blade_rate = self._rates(chamber, foil, blade)
            step = min(
                longest_s, length_s - done, _ratio(BLADE_AT_ONCE_K, blade_rate), _ratio(FOIL_AT_ONCE_K, foil_rate)
            )
            step = min(max(step, SHORTEST_STEP_S), length_s - done)
            foil, blade = self._step(chamber + 0.5 * slope * step, slope, step, foil, blade)
            done += step
        return foil, blade

    def _rates(self, chamber_k: float, foil_k: float, blade_k: float) -> tuple[float, float]:
        """How fast foil and blade change just now [K/s]."""
        fig = self._figures
        blade_j = fig.steel_kg_m2 * properties.steel_cp_base(blade_k - properties.ZERO_C_IN_K)
        if not fig.foil_kg_m2:
            rate = self._outer(chamber_k, blade_k) * (chamber_k - blade_k) / blade_j
            return rate, rate
        into_foil = self._outer(chamber_k, foil_k) * (chamber_k - foil_k)
        into_blade = self._inner(foil_k, blade_k) * (foil_k - blade_k)
        foil_j = fig.foil_kg_m2 * properties.foil_cp(foil_k - properties.ZERO_C_IN_K)
        return (into_foil - into_blade) / foil_j, into_blade / blade_j

    def _step(self, mean_k: float, slope: float, step_s: float, foil_k: float, blade_k: float) -> tuple[float, float]:
        """Two passes of the exact linear step."""
        foil, blade = foil_k, blade_k
        for _ in range(2):
            blade_j = self._capacity(blade_k, blade)
            foil_mid, blade_mid = 0.5 * (foil + foil_k), 0.5 * (blade + blade_k)
            if self._figures.foil_kg_m2:
                outer, inner = self._outer(mean_k, foil_mid), self._inner(foil_mid, blade_mid)
                foil_j = self._figures.foil_kg_m2 * properties.foil_cp(foil_mid - properties.ZERO_C_IN_K)
                foil, blade = _two_nodes(mean_k, slope, step_s, (foil_k, blade_k), (outer, inner), (foil_j, blade_j))
            else:
                time_s = blade_j / self._outer(mean_k, blade_mid)
                away = blade_k - (mean_k - 0.5 * slope * step_s) + slope * time_s
                blade = mean_k + 0.5 * slope * step_s - slope * time_s + math.exp(-step_s / time_s) * away
                foil = blade
        return foil, blade

    def _capacity(self, start_k: float, end_k: float) -> float:
        change = end_k - start_k
        if abs(change) < SMALLEST_CHANGE_K:
            change = SMALLEST_CHANGE_K
        return self._figures.steel_kg_m2 * (self._enthalpy(start_k + change) - self._enthalpy(start_k)) / change

    def _enthalpy(self, temp_k: float) -> float:
        temp_c = temp_k - properties.ZERO_C_IN_K
        peak = properties.steel_enthalpy_peak(temp_c - self._figures.peak_shift_k)
        return properties.steel_enthalpy_base(temp_c) + self._figures.peak_factor * peak

    def _outer(self, chamber_k: float, surface_k: float) -> float:
        term_p, term_q = properties.convection_terms(0.5 * (chamber_k + surface_k), PLATE_HEIGHT_M)
        natural = (term_p + term_q * math.pow(abs(chamber_k - surface_k), 1.0 / 6.0)) ** 2
        return properties.radiation_conductance(self._figures.eps_o, chamber_k, surface_k) + natural

    def _inner(self, foil_k: float, blade_k: float) -> float:
        gas = properties.air_conductivity(0.5 * (foil_k + blade_k)) / self._figures.gap_m
        return properties.radiation_conductance(self._figures.f_i, foil_k, blade_k) + gas


def _ratio(change_k: float, rate: float) -> float:
    return change_k / abs(rate) if rate else math.inf


def _two_nodes(
    mean_k: float,
    slope: float,
    step_s: float,
    start_k: tuple[float, float],
    conductance: tuple[float, float],
    capacity: tuple[float, float],
) -> tuple[float, float]:
    """Foil and blade [K] at the end of a step with constant conductances and capacities, solved exactly."""
    (outer, inner), (foil_j, blade_j) = conductance, capacity
    a, b, c = outer / foil_j, inner / foil_j, inner / blade_j
    total = a + b + c
    root = math.sqrt(total * total - 4.0 * a * c)
    slow = -2.0 * a * c / (total + root)
    e_slow, e_quick = math.exp(slow * step_s), math.exp(-0.5 * (total + root) * step_s)
    weight = (e_slow - e_quick) / root
    lag_foil = slope * (foil_j + blade_j) / outer
    lag_blade = lag_foil + slope * blade_j / inner
    start, end = mean_k - 0.5 * slope * step_s, mean_k + 0.5 * slope * step_s
    u, v = start_k[0] - start + lag_foil, start_k[1] - start + lag_blade
    foil = end - lag_foil + e_slow * u + weight * (b * (v - u) - (a + slow) * u)
    blade = end - lag_blade + e_slow * v + weight * (c * (u - v) - slow * v)
    return foil, blade


def slow_packet(packet: PacketModel) -> PacketModel:
    """Packet that lags as the slow end of the draws does.

    The variance of the resistance's logarithm is taken to first order from the spreads at 1000 K.

    Returns the same with more steel behind each face: time scales with it.
    """
    total, outer, inner, radiated, gas = _resistance(packet)
    weights = [-1.0 / outer / total, 0.0, 0.0, 0.0]
    if packet.foil:
        weights[1:3] = [-radiated / inner**2 / total, gas / inner**2 / total]
    variance = OTHER_SPREAD**2
    for i in range(len(PARAMETERS)):
        variance += (weights[i] * packet.scatter[i]) ** 2
        for j in range(len(PARAMETERS)):
            spreads = packet.spread[i] * packet.spread[j] * packet.correlation[i][j]
            variance += weights[i] * weights[j] * spreads
    stretch = packet.slow_side * math.exp(QUANTILE * math.sqrt(max(variance, 0.0)))
    return replace(packet, thickness_mm=packet.thickness_mm * stretch)


def _resistance(packet: PacketModel) -> tuple[float, float, float, float, float]:
    """From chamber to blade [m2 K/W] at 1000 K, and its conductances: outer, inner, radiated and by gas [W/(m2 K)]."""
    cube = 4.0 * properties.STEFAN_BOLTZMANN * REFERENCE_K**3
    outer, radiated = cube * packet.eps_o, cube * packet.f_i
    gas = properties.air_conductivity(REFERENCE_K) * 1000.0 / packet.gap_mm
    inner = radiated + gas
    return 1.0 / outer + (1.0 / inner if packet.foil else 0.0), outer, inner, radiated, gas


def latest_packet(packets: Iterable[PacketModel]) -> PacketModel | None:
    """The packet that lags most: steel behind each face times the resistance to it; None of none."""
    return max(packets, key=lambda packet: packet.steel_mm * _resistance(packet)[0], default=None)
