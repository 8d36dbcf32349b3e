"""One step of many packets at once: exact for the linear two-node system, towards a linearly moving chamber."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.tables import (
    ENTHALPY_PER_K,
    ROOT_PER_K,
    Line,
    air_tables,
    enthalpy_lines,
    foil_table,
    root_table,
)

SingleArray = npt.NDArray[np.float32]
SMALLEST_CHANGE_K = 0.2  # the enthalpy secant is taken over no less


@dataclass(frozen=True)
class Bundle:
    """Figures of many packets side by side, float32, each shape (draws,), or (pieces, draws) where each has its own.

    ``eps_sigma`` and ``f_sigma`` are radiation factors times the Stefan-Boltzmann constant [W/m2K4], ``gap_m`` the gas
    gap [m], ``convection`` a factor [-], ``peak_factor`` [-], ``peak_shift_k`` [K], ``steel_kg_m2`` and ``foil_kg_m2``
    mass behind one heated face [kg/m2] (no foil: 0), ``sensor_lag_s`` the lag of the chamber's sensor [s].
    """

    eps_sigma: SingleArray
    f_sigma: SingleArray
    gap_m: SingleArray
    convection: SingleArray
    peak_factor: SingleArray
    peak_shift_k: SingleArray
    steel_kg_m2: SingleArray
    foil_kg_m2: float
    sensor_lag_s: SingleArray | float = 0.0

    def rows(self, rows: npt.NDArray[np.intp] | int) -> Bundle:
        """The figures of only some of the pieces."""
        if self.gap_m.ndim < 2:
            return self
        own: dict[str, Any] = {name: each[rows] for name, each in vars(self).items() if isinstance(each, np.ndarray)}
        return replace(self, **own)


def stacked(bundles: Sequence[Bundle]) -> Bundle:
    """Bundles of alike foils as one, each for a piece of its own."""
    names = [name for name, value in vars(bundles[0]).items() if isinstance(value, np.ndarray)]
    each: dict[str, Any] = {name: np.stack([getattr(bundle, name) for bundle in bundles]) for name in names}
    return replace(bundles[0], **each)


@dataclass
class State:
    """Foil and blade [K] and their last rates [K/s], each the shape of the draws."""

    foil_k: SingleArray
    blade_k: SingleArray
    foil_rate: SingleArray | float = 0.0
    blade_rate: SingleArray | float = 0.0


def enthalpy(temp_k: SingleArray, bundle: Bundle) -> SingleArray:
    """Enthalpy of the steel, its peak scaled and shifted.

    ``temp_k``: steel temperature [K], any shape that ends in (draws,). Returns enthalpy [J/kg], same shape.
    """
    base, peak = enthalpy_lines()
    return _on(base, temp_k) + bundle.peak_factor * _on(peak, temp_k - bundle.peak_shift_k)


def _on(line: Line, temp_k: SingleArray) -> SingleArray:
    values, rises = line
    place = temp_k * ENTHALPY_PER_K
    whole = np.floor(place)
    return read(values, whole) + (place - whole) * read(rises, whole)


def read(table: SingleArray, place: npt.NDArray[Any]) -> SingleArray:
    """A table at whole places; beyond its ends, where only a search that went astray looks, as at its ends."""
    return table.take(place.astype(np.int32, copy=False), mode="clip")


def outer_conductance(chamber_k: SingleArray | float, surface_k: SingleArray, bundle: Bundle) -> SingleArray:
    """Conductance from the chamber to the outer surface: radiation and natural convection.

    Returns conductance [W/m2K].
    """
    radiation = (chamber_k * chamber_k + surface_k * surface_k) * (chamber_k + surface_k)
    total_w: SingleArray = bundle.eps_sigma * radiation + natural_convection(chamber_k, surface_k, bundle)
    return total_w


def natural_convection(chamber_k: SingleArray | float, surface_k: SingleArray, bundle: Bundle) -> SingleArray:
    """Conductance of natural convection from the chamber's gas to the outer surface [W/m2K]."""
    _, term_p, term_q = air_tables()
    film = ((chamber_k + surface_k) * 0.5).astype(np.int32)
    root = read(root_table(), np.abs(chamber_k - surface_k) * ROOT_PER_K)
    natural = read(term_p, film) + read(term_q, film) * root
    convection_w: SingleArray = bundle.convection * (natural * natural)
    return convection_w


def inner_conductance(foil_k: SingleArray, blade_k: SingleArray, bundle: Bundle) -> SingleArray:
    """Conductance from foil to blade: radiation and conduction through the gas in the gap.

    Returns conductance [W/m2K].
    """
    total = foil_k + blade_k
    gas = read(air_tables()[0], total * 0.5) / bundle.gap_m
    total_w: SingleArray = bundle.f_sigma * ((foil_k * foil_k + blade_k * blade_k) * total) + gas
    return total_w


@dataclass(frozen=True)
class Drive:
    """The chamber over one step: mean [K], slope [K/s] and length [s], each a number or shape (pieces, 1)."""

    chamber_k: SingleArray
    slope_k_per_s: SingleArray
    step_s: SingleArray

    def rows(self, rows: npt.NDArray[np.intp]) -> Drive:
        """Only some of the pieces."""
        return Drive(self.chamber_k[rows], self.slope_k_per_s[rows], self.step_s[rows])


def advance(state: State, drive: Drive, bundle: Bundle, twice: npt.NDArray[np.intp]) -> State:
    """Advance all packets by one step.

    C_f dF/dt = G1 (T - F) - G2 (F - B) and C_b dB/dt = G2 (F - B), T the chamber, with conductances and capacities
    constant over the step, is solved exactly by its two eigenvalues: the foil may be as light as it likes.

    ``state``: where they are [K], shape (pieces, draws). ``twice``: indices of the pieces whose conductances and heat
    capacity are taken anew at the middle of the step. Returns where they are at the end of the step.
    """
    start_j = enthalpy(state.blade_k, bundle)
    foil, blade = state.foil_k + state.foil_rate * drive.step_s, state.blade_k + state.blade_rate * drive.step_s
    foil, blade = _solve(state, (foil, blade), start_j, drive, bundle)
    if twice.size == blade.shape[0]:
        foil, blade = _solve(state, (foil, blade), start_j, drive, bundle)
    elif twice.size:
        some = State(state.foil_k[twice], state.blade_k[twice])
        again = (some, (foil[twice], blade[twice]), start_j[twice], drive.rows(twice), bundle.rows(twice))
        foil[twice], blade[twice] = _solve(*again)
    step_s = drive.step_s
    return State(foil, blade, (foil - state.foil_k) / step_s, (blade - state.blade_k) / step_s)


def _solve(
    state: State, guess: tuple[SingleArray, SingleArray], start_j: SingleArray, drive: Drive, bundle: Bundle
) -> tuple[SingleArray, SingleArray]:
    """Foil and blade at the end of the step, from a guess of both."""
    foil, blade = guess
    change = blade - state.blade_k
    change = np.where(np.abs(change) < SMALLEST_CHANGE_K, np.float32(SMALLEST_CHANGE_K), change)
    blade_j = bundle.steel_kg_m2 * (enthalpy(state.blade_k + change, bundle) - start_j) / change
    middle = 0.5 * (blade + state.blade_k)
    if not bundle.foil_kg_m2:
        return _move_bare(state, middle, blade_j, drive, bundle)
    return _move_foil(state, 0.5 * (foil + state.foil_k), middle, blade_j, drive, bundle)


def _move_foil(
    state: State, foil_mid: SingleArray, blade_mid: SingleArray, blade_j: SingleArray, drive: Drive, bundle: Bundle
) -> tuple[SingleArray, SingleArray]:
    outer = outer_conductance(drive.chamber_k, foil_mid, bundle)
    inner = inner_conductance(foil_mid, blade_mid, bundle)
    foil_j = bundle.foil_kg_m2 * read(foil_table(), foil_mid)
    a, b, c = outer / foil_j, inner / foil_j, inner / blade_j
    total = a + b + c
    both = a * c
    root = np.sqrt(total * total - 4.0 * both)
    far = total + root
    slow = -2.0 * both / far
    e_slow, e_quick = np.exp(slow * drive.step_s), np.exp(-0.5 * far * drive.step_s)
    weight = (e_slow - e_quick) / root
    lag_foil = drive.slope_k_per_s * (foil_j + blade_j) / outer
    lag_blade = lag_foil + drive.slope_k_per_s * blade_j / inner
    half = 0.5 * drive.slope_k_per_s * drive.step_s
    start, end = drive.chamber_k - half, drive.chamber_k + half
    u, v = state.foil_k - start + lag_foil, state.blade_k - start + lag_blade
    foil = end - lag_foil + e_slow * u + weight * (b * (v - u) - (a + slow) * u)
    blade = end - lag_blade + e_slow * v + weight * (c * (u - v) - slow * v)
    return foil, blade


def _move_bare(
    state: State, blade_mid: SingleArray, blade_j: SingleArray, drive: Drive, bundle: Bundle
) -> tuple[SingleArray, SingleArray]:
    time_s = blade_j / outer_conductance(drive.chamber_k, blade_mid, bundle)
    half = 0.5 * drive.slope_k_per_s * drive.step_s
    lag = drive.slope_k_per_s * time_s
    away = state.blade_k - (drive.chamber_k - half) + lag
    blade = drive.chamber_k + half - lag + np.exp(-drive.step_s / time_s) * away
    return blade, blade.copy()
