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
    outer_conductance,
    read,
)
from soakwitness.analysis.packet.tables import foil_table
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties

FloatArray = npt.NDArray[np.float64]
SingleArray = npt.NDArray[np.float32]
BARE_W_PER_M2_K = np.float32(1e6)  # from a bare blade's surface to itself: so good that they are one


@dataclass(frozen=True)
class RowState:
    """Blades [K] and their last rate [K/s], shape (packets, chambers, draws); sides [K], shape (packets, 2, ...)."""

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
    state = RowState(blade, np.stack([blade, blade], axis=1))
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
    moved_k = state.blade_rate * drive.step_s
    guess = RowState(state.blade_k + moved_k, state.sides_k + _at_sides(moved_k))
    end = _solve(state, guess, start_j, drive, row)
    if twice.size:
        again = _solve(state, end, start_j, drive, row)
        if twice.size == drive.chamber_k.shape[-2]:
            end = again
        else:
            end.blade_k[:, twice], end.sides_k[:, :, twice] = again.blade_k[:, twice], again.sides_k[:, :, twice]
    return RowState(end.blade_k, end.sides_k, (end.blade_k - state.blade_k) / drive.step_s)


def _at_sides(values: SingleArray) -> SingleArray:
    """What is the same for both sides of a packet, or for all packets, to be taken with sides."""
    return values[..., None, :, :]


def _facing(sides: SingleArray) -> SingleArray:
    """Of the sides of a row those that look at each other across an opening: a view, shape (packets - 1, 2, ...)."""
    inside = sides.reshape(-1, *sides.shape[2:])[1:-1]
    return inside.reshape(-1, 2, *sides.shape[2:])


@dataclass(frozen=True)
class _Felt:
    """What each side is made of, and what each blade feels; foils follow at once.

    A side stands at ``of_chamber`` of the chamber [-], shape (packets, 2, chambers, draws), across an opening at
    ``of_neighbour`` of the blade beyond it, shape (packets - 1, 2, ...), and the rest of its own. Conductances from
    blades [W/m2K], both sides together: to the chamber, shape (packets, ...); to the next and to the one before, across
    each opening, shape (packets - 1, ...).
    """

    of_chamber: SingleArray
    of_neighbour: SingleArray
    chamber: SingleArray
    right: SingleArray
    left: SingleArray

    @property
    def total(self) -> SingleArray:
        """Conductance of each blade to all around it."""
        felt = self.chamber.copy()
        felt[:-1] += self.right
        felt[1:] += self.left
        return felt

    def heat_of(self, chamber_k: SingleArray, blade_k: SingleArray) -> SingleArray:
        """What comes from the chamber and, by their conductances, from the packets after and before."""
        felt: SingleArray = self.chamber * chamber_k
        felt[:-1] += self.right * blade_k[1:]
        felt[1:] += self.left * blade_k[:-1]
        return felt


def _felt(chamber_k: SingleArray, sides_k: SingleArray, blade_k: SingleArray, row: RowBundle) -> _Felt:
    """Conductances with sides and blades at the middle of the step.

    Across an opening both sides R and L follow from (gR + nR + iR) R = gR T + nR L + iR B1 and its like for L: g to the
    chamber, n to the neighbour, i inwards.
    """
    outer = outer_conductance(_at_sides(chamber_k), sides_k, row.sides)
    inner = _inner(sides_k, blade_k, row)
    all_around = outer + inner
    facing, around = _facing(sides_k), _facing(all_around)
    squares = facing * facing
    across = (squares[:, 0] + squares[:, 1]) * (facing[:, 0] + facing[:, 1])
    to_neighbour = row.facing_sigma * across[:, None]
    around += to_neighbour
    of_chamber, share = outer / all_around, to_neighbour / around
    divisor = 1.0 - share[:, :1] * share[:, 1:]
    alone = _facing(of_chamber)
    alone[...] = (alone + share * alone[:, ::-1]) / divisor
    of_neighbour = share * (_facing(inner) / around)[:, ::-1] / divisor
    half = np.float32(0.5) * inner
    exchanged, taken = _facing(half) * of_neighbour, half * of_chamber
    return _Felt(of_chamber, of_neighbour, taken[:, 0] + taken[:, 1], exchanged[:, 0], exchanged[:, 1])


def _inner(sides_k: SingleArray, blade_k: SingleArray, row: RowBundle) -> SingleArray:
    """Conductance from each side to its blade; a bare one's side is the blade [W/m2K]."""
    if row.foiled is False:
        return np.full_like(sides_k, BARE_W_PER_M2_K)
    inner = inner_conductance(sides_k, _at_sides(blade_k), row.sides)
    return inner if row.foiled is True else np.where(row.foiled, inner, BARE_W_PER_M2_K)


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
    start = felt.heat_of(begin_k, state.blade_k) / total
    lag = _capacity(state, guess, start_j, sides_mid, felt, row) / (total * drive.step_s)  # in steps
    stays = np.exp(-1.0 / lag)
    follows = (1.0 - lag + stays * lag) / total
    moved = (1.0 - stays) * (start - state.blade_k) + follows * (felt.chamber * rise_k)
    blade = state.blade_k + _tridiagonal(-follows[1:] * felt.left, -follows[:-1] * felt.right, moved)
    own = 1.0 - felt.of_chamber
    facing = _facing(own)
    facing -= felt.of_neighbour
    sides = felt.of_chamber * _at_sides(end_k) + own * _at_sides(blade)
    facing = _facing(sides)
    facing[:, 0] += felt.of_neighbour[:, 0] * blade[1:]
    facing[:, 1] += felt.of_neighbour[:, 1] * blade[:-1]
    return RowState(blade, sides)


def _capacity(
    state: RowState, guess: RowState, start_j: SingleArray, sides_mid: SingleArray, felt: _Felt, row: RowBundle
) -> SingleArray:
    """Heat that a blade takes, with its foil's share of it: what lies between the foil and the chamber [J/m2K]."""
    change = guess.blade_k - state.blade_k
    change = np.where(np.abs(change) < SMALLEST_CHANGE_K, np.float32(SMALLEST_CHANGE_K), change)
    bundle = row.bundle
    capacity: SingleArray = bundle.steel_kg_m2 * (enthalpy(state.blade_k + change, bundle) - start_j) / change
    if row.foiled is not False:
        heat = read(foil_table(), sides_mid) * (1.0 - felt.of_chamber)
        capacity += row.foil_kg_m2 * np.float32(0.5) * (heat[:, 0] + heat[:, 1])
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
