"""Stepping a whole row of packets at once: each blade exactly towards what it feels, coupled across the openings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.grid import Steps
from soakwitness.analysis.packet.marching import Feed
from soakwitness.analysis.packet.row_bundle import RowBundle
from soakwitness.analysis.packet.stepping import (
    SMALLEST_CHANGE_K,
    Drive,
    enthalpy,
    inner_conductance,
    natural_convection,
)
from soakwitness.analysis.packet.tables import foil_table
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties

FloatArray = npt.NDArray[np.float64]
SingleArray = npt.NDArray[np.float32]
BARE_W_PER_M2_K = np.float32(1e6)  # from a bare blade's surface to itself: so good that they are one


@dataclass(frozen=True)
class RowState:
    """Blades [K] and their last rate [K/s], shape (packets, chambers, draws); left and right sides, shape (2, ...)."""

    blade_k: SingleArray
    sides_k: SingleArray
    blade_rate: SingleArray | float = 0.0


def march_row(
    each: Sequence[Steps], row: RowBundle, unseen: FloatArray, starts_c: Sequence[float]
) -> list[SingleArray]:
    """Step a row from the loading to the last reading, over several chambers side by side.

    ``unseen``: as for ``marching.march``. ``starts_c``: temperature of all packets at the first edge of each chamber
    [degC]. Returns for each chamber blades [degC], float32, shape (packets, m + 1, draws), at the edges.
    """
    feed = Feed(each, unseen.astype(np.float32), row.bundle.sensor_lag_s)
    packets, _, draws = row.bundle.gap_m.shape
    table = np.empty((packets, feed.counts.max() + 1, len(each), draws), dtype=np.float32)
    table[:, 0] = np.array(starts_c)[:, None]
    start_k = (np.array(starts_c)[:, None] + properties.ZERO_C_IN_K).astype(np.float32)
    blade = np.zeros_like(table[:, 0]) + start_k
    state = RowState(blade, np.stack([blade, blade]))
    for number in range(table.shape[1] - 1):
        index = feed.at(number)
        state = advance_row(state, feed.drive(index), row, feed.twice(index))
        table[:, number + 1] = state.blade_k - properties.ZERO_C_IN_K
    return [table[:, : count + 1, n] for n, count in enumerate(feed.counts)]


def advance_row(state: RowState, drive: Drive, row: RowBundle, twice: npt.NDArray[np.intp]) -> RowState:
    """Advance all packets of a row by one step.

    ``state``: where they are [K]. ``twice``: the chambers over which conductances and heat capacity are taken anew at
    the middle of the step. Returns where they are at the end of the step.
    """
    start_j = enthalpy(state.blade_k, row.bundle)
    moved = state.blade_rate * drive.step_s
    end = _solve(state, RowState(state.blade_k + moved, state.sides_k + moved), start_j, drive, row)
    if twice.size:
        again = _solve(state, end, start_j, drive, row)
        if twice.size == drive.chamber_k.shape[-2]:
            end = again
        else:
            end.blade_k[:, twice], end.sides_k[:, :, twice] = again.blade_k[:, twice], again.sides_k[:, :, twice]
    return RowState(end.blade_k, end.sides_k, (end.blade_k - state.blade_k) / drive.step_s)


@dataclass(frozen=True)
class _Felt:
    """What each side is made of, and what each blade feels; foils follow at once.

    A side stands at ``of_chamber`` of the chamber, ``of_neighbour`` of the blade across the opening and the rest of its
    own [-], shape (2, packets, chambers, draws). Conductances from blades [W/m2K], both sides together: to the chamber,
    to the next, to the one before, shape (packets, chambers, draws), (packets - 1, ...).
    """

    of_chamber: SingleArray
    of_neighbour: SingleArray
    chamber: SingleArray
    right: SingleArray
    left: SingleArray

    @property
    def total(self) -> SingleArray:
        """Conductance of each blade to all around it."""
        return self.with_neighbours(self.chamber, 1.0, 1.0)

    def with_neighbours(
        self, chamber: SingleArray, after: SingleArray | float, before: SingleArray | float
    ) -> SingleArray:
        """What comes from the chamber and, by their conductances, from the packets after and before."""
        felt = chamber.copy()
        felt[:-1] += self.right * after
        felt[1:] += self.left * before
        return felt


def _felt(chamber_k: SingleArray, sides_k: SingleArray, blade_k: SingleArray, row: RowBundle) -> _Felt:
    """Conductances with sides and blades at the middle of the step.

    Across an opening both sides R and L follow from (gR + nR + iR) R = gR T + nR L + iR B1 and its like for L: g to the
    chamber, n to the neighbour, i inwards.
    """
    radiated = (chamber_k * chamber_k + sides_k * sides_k) * (chamber_k + sides_k)
    outer = row.chamber_sigma * radiated + natural_convection(chamber_k, sides_k, row.bundle)
    inner = np.full_like(outer, BARE_W_PER_M2_K)
    if row.foil_kg_m2.any():
        inner = np.where(row.foil_kg_m2 > 0.0, inner_conductance(sides_k, blade_k, row.bundle), inner)
    all_around = outer + inner
    one, other = sides_k[1, :-1], sides_k[0, 1:]
    across = (one * one + other * other) * (one + other)
    to_next, to_last = row.right_sigma * across, row.left_sigma * across
    all_around[1, :-1] += to_next
    all_around[0, 1:] += to_last
    of_chamber, of_neighbour = outer / all_around, np.zeros_like(outer)
    next_share, last_share = to_next / all_around[1, :-1], to_last / all_around[0, 1:]
    divisor = 1.0 - next_share * last_share
    first, second = of_chamber[1, :-1].copy(), of_chamber[0, 1:].copy()
    of_chamber[1, :-1] = (first + next_share * second) / divisor
    of_chamber[0, 1:] = (second + last_share * first) / divisor
    of_neighbour[1, :-1] = next_share * (inner[0, 1:] / all_around[0, 1:]) / divisor
    of_neighbour[0, 1:] = last_share * (inner[1, :-1] / all_around[1, :-1]) / divisor
    half = np.float32(0.5) * inner
    exchanged = half * of_neighbour
    return _Felt(of_chamber, of_neighbour, (half * of_chamber).sum(axis=0), exchanged[1, :-1], exchanged[0, 1:])


def _solve(state: RowState, guess: RowState, start_j: SingleArray, drive: Drive, row: RowBundle) -> RowState:
    """Blades and sides at the end of the step, from a guess of both.

    Each blade goes exponentially towards the mean of chamber and neighbours, weighed by their conductances, which moves
    along a straight line over the step. Where that line ends hangs on the neighbours: one equation a packet, with the
    two next to it, solved for all at once.
    """
    blade_mid, sides_mid = 0.5 * (guess.blade_k + state.blade_k), 0.5 * (guess.sides_k + state.sides_k)
    felt = _felt(drive.chamber_k, sides_mid, blade_mid, row)
    total, rise_k = felt.total, drive.slope_k_per_s * drive.step_s
    begin_k, end_k = drive.chamber_k - 0.5 * rise_k, drive.chamber_k + 0.5 * rise_k
    start = felt.with_neighbours(felt.chamber * begin_k, state.blade_k[1:], state.blade_k[:-1]) / total
    lag = _capacity(state, guess, start_j, sides_mid, felt, row) / (total * drive.step_s)  # in steps
    stays = np.exp(-1.0 / lag)
    follows = (1.0 - lag + stays * lag) / total
    moved = (1.0 - stays) * (start - state.blade_k) + follows * (felt.chamber * rise_k)
    blade = state.blade_k + _tridiagonal(-follows[1:] * felt.left, -follows[:-1] * felt.right, moved)
    own = 1.0 - felt.of_chamber - felt.of_neighbour
    sides = felt.of_chamber * end_k + own * blade
    sides[1, :-1] += felt.of_neighbour[1, :-1] * blade[1:]
    sides[0, 1:] += felt.of_neighbour[0, 1:] * blade[:-1]
    return RowState(blade, sides)


def _capacity(
    state: RowState, guess: RowState, start_j: SingleArray, sides_mid: SingleArray, felt: _Felt, row: RowBundle
) -> SingleArray:
    """Heat that a blade takes, with its foil's share of it: what lies between the foil and the chamber [J/m2K]."""
    change = guess.blade_k - state.blade_k
    change = np.where(np.abs(change) < SMALLEST_CHANGE_K, np.float32(SMALLEST_CHANGE_K), change)
    bundle = row.bundle
    capacity: SingleArray = bundle.steel_kg_m2 * (enthalpy(state.blade_k + change, bundle) - start_j) / change
    if row.foil_kg_m2.any():
        heat = foil_table().take(sides_mid.astype(np.int32)) * (1.0 - felt.of_chamber)
        capacity += row.foil_kg_m2 * np.float32(0.5) * heat.sum(axis=0)
    return capacity


def _tridiagonal(below: SingleArray, above: SingleArray, right: SingleArray) -> SingleArray:
    """Solve a tridiagonal system with ones on its diagonal, one for each draw; ``below`` belongs to rows from 1 on."""
    solved, up = right.copy(), above.copy()
    for n in range(1, right.shape[0]):
        divisor = 1.0 - below[n - 1] * up[n - 1]
        solved[n] = (solved[n] - below[n - 1] * solved[n - 1]) / divisor
        if n < up.shape[0]:
            up[n] /= divisor
    for n in range(right.shape[0] - 2, -1, -1):
        solved[n] -= up[n] * solved[n + 1]
    return solved
