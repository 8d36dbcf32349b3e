"""Draws of a packet's figures from a fixed low-discrepancy set: same input, same output."""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.piece import LIMITS, PARAMETERS, PacketModel
from soakwitness.analysis.packet.stepping import Bundle
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties

FloatArray = npt.NDArray[np.float64]
DIMENSIONS = 8  # four figures, place of the peak, convection, what the chamber did in a gap, lag of its sensor
IN_A_GAP, LAG_OF_SENSOR = 6, 7  # of them
BASES = (2, 3, 5, 7, 11, 13, 17, 19)
SKIPPED = 20
CONVECTION_SPREAD = 0.20  # of natural convection, Incropera chapter 9: correlations hold within about 20 %
REFERENCE_K = 1000.0


@lru_cache(maxsize=4)
def uniform_set(draws: int, dimensions: int = DIMENSIONS) -> FloatArray:
    """Points spread evenly over the unit cube.

    Coordinate k of point n is n mirrored at the point in the base of the k-th prime; the first points are left out.

    ``draws``: number of points [-]. ``dimensions``: number of coordinates [-].

    Source: J. H. Halton, Numer. Math. 2 (1960) 84.
    """
    return np.array([[_mirrored(n + SKIPPED, base) for base in BASES[:dimensions]] for n in range(1, draws + 1)])


def _mirrored(number: int, base: int) -> float:
    """Digits of a number in a base, mirrored at the point."""
    value, place = 0.0, 1.0
    while number:
        number, digit = divmod(number, base)
        place /= base
        value += digit * place
    return value


@lru_cache(maxsize=4)
def normal_set(draws: int) -> FloatArray:
    """Standard normal points from :func:`uniform_set`.

    ``draws``: number of points [-]. Returns shape (draws, 8) [-].
    """
    inverse = NormalDist().inv_cdf
    return np.array([[inverse(u) for u in row] for row in uniform_set(draws).tolist()]).reshape(draws, DIMENSIONS)


def bundle_of(packet: PacketModel, draws: int) -> tuple[Bundle, FloatArray]:
    """Best figures and draws of a packet side by side.

    ``draws``: number of draws [-]; one more column, the first, holds the best figures. Returns where the chamber stood
    within its doubt in a gap, -1 to 1 [-], shape (draws + 1,).
    """
    points = normal_set(draws)
    logs = _logs(packet, draws)
    figures = {name: _drawn(getattr(packet, name), logs[:, i], *LIMITS[name]) for i, name in enumerate(PARAMETERS)}
    shift = packet.peak_c - properties.PEAK_MID_C + np.append(0.0, packet.peak_spread_c * points[:, 4])
    convection = np.append(1.0, np.exp(CONVECTION_SPREAD * points[:, 5]))
    unseen = np.append(0.0, np.clip(points[:, IN_A_GAP] / 2.0, -1.0, 1.0))
    sigma = properties.STEFAN_BOLTZMANN
    steel = properties.STEEL_DENSITY * packet.steel_mm / 1000.0
    bundle = Bundle(
        eps_sigma=(sigma * figures["eps_o"]).astype(np.float32),
        f_sigma=(sigma * figures["f_i"]).astype(np.float32),
        gap_m=(figures["gap_mm"] / 1000.0).astype(np.float32),
        convection=convection.astype(np.float32),
        peak_factor=figures["peak_factor"].astype(np.float32),
        peak_shift_k=shift.astype(np.float32),
        steel_kg_m2=(steel * _stretch(packet, figures)).astype(np.float32),
        foil_kg_m2=properties.FOIL_DENSITY * packet.foil_mm / 1000.0 if packet.foil else 0.0,
        sensor_lag_s=_sensor_lags(packet, logs).astype(np.float32),
    )
    return bundle, unseen


def sensor_lags_s(packet: PacketModel, draws: int) -> FloatArray:
    """Lags of the chamber's sensor [s], the best figure first, shape (draws + 1,)."""
    return _sensor_lags(packet, _logs(packet, draws))


def _sensor_lags(packet: PacketModel, logs: FloatArray) -> FloatArray:
    """Drawn together with the figures: what these say of the lag, and what they leave open."""
    own = packet.sensor_lag_spread_s
    points = normal_set(logs.shape[0])[:, LAG_OF_SENSOR]
    together = own * np.array(packet.spread) * np.array(packet.sensor_lag_with)
    by_figures = np.linalg.pinv(_covariance(packet)) @ together
    left = math.sqrt(max(own**2 - float(together @ by_figures), 0.0))
    return packet.sensor_lag_s + np.append(0.0, logs @ by_figures + left * points)


def _covariance(packet: PacketModel) -> FloatArray:
    """Of the logarithms of a packet's figures: what is not known of them, and what differs from packet to packet."""
    spread, scatter = np.array(packet.spread), np.array(packet.scatter)
    covariance: FloatArray = np.outer(spread, spread) * np.array(packet.correlation) + np.diag(scatter**2)
    return covariance


def _logs(packet: PacketModel, draws: int) -> FloatArray:
    """How far each draw's figures are off the best ones, as logarithms, shape (draws, 4)."""
    logs: FloatArray = normal_set(draws)[:, :4] @ _root_of(_covariance(packet)).T
    return logs


def _root_of(covariance: FloatArray) -> FloatArray:
    """Square root of a covariance that may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    root: FloatArray = vectors * np.sqrt(np.maximum(values, 0.0))
    return root


def _drawn(best: float, logs: FloatArray, lowest: float, highest: float) -> FloatArray:
    return np.append(best, np.clip(best * np.exp(logs), lowest, highest))


def _stretch(packet: PacketModel, figures: dict[str, FloatArray]) -> FloatArray:
    """Factor on the steel of the slow half of the draws: the lag at the 97.5 % quantile grows by ``slow_side``.

    Time scales with the mass behind each face, so a slow draw of 1.5 x the mass has 1.5 x the lag.
    """
    factor = np.ones(figures["eps_o"].size)
    if packet.slow_side > 1.0 and factor.size > 1:
        cube = 4.0 * properties.STEFAN_BOLTZMANN * REFERENCE_K**3
        resistance = 1.0 / (cube * figures["eps_o"])
        if packet.foil:
            gas = properties.air_conductivity(REFERENCE_K) * 1000.0 / figures["gap_mm"]
            resistance = resistance + 1.0 / (cube * figures["f_i"] + gas)
        rank = np.argsort(np.argsort(resistance[1:])) / (factor.size - 1)
        factor[1:] += (packet.slow_side - 1.0) * np.clip((rank - 0.5) / 0.475, 0.0, 1.0)
    return factor
