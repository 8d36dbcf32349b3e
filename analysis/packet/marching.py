"""Stepping many packets through a whole run; long runs are cut into overlapping pieces that march side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.grid import STEP_S, Steps
from soakwitness.analysis.packet.stepping import Bundle, Drive, State, advance, inner_conductance, outer_conductance
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties

FloatArray = npt.NDArray[np.float64]
SingleArray = npt.NDArray[np.float32]
MEMORY_TIMES = 4.0  # time constants that a piece starts early, from a guess of its lag: exp(-4) of its error is left
SHORTEST_CUT = 3000  # steps; less is marched in one piece
CALM_CHANGE_C = 0.5  # change of the chamber's step from one step to the next up to which one pass will do
CALM_STEP_C = 1.0
POSSIBLE_K = (np.float32(173.15), np.float32(1773.15))


@dataclass(frozen=True)
class Cut:
    """``pieces`` pieces that begin ``stride`` steps apart, each ``stride + overlap`` steps long."""

    pieces: int
    stride: int
    overlap: int


def march(steps: Steps, bundle: Bundle, unseen: FloatArray, start_c: float) -> SingleArray:
    """Step all packets from the loading to the last reading.

    ``unseen``: where each draw puts the chamber within its doubt in a gap, -1 to 1 [-], shape (draws,). ``start_c``:
    temperature of the pieces at the first edge [degC]. Returns blade [degC], float32, shape (m + 1, draws), at the
    edges.
    """
    cut = plan_cut(steps, bundle)
    width = unseen.size
    table = np.empty((steps.mean_c.size + 1, width), dtype=np.float32)
    table[0] = start_c
    first = np.arange(cut.pieces) * cut.stride
    blade = (_begin_c(steps, bundle, first, start_c) + properties.ZERO_C_IN_K).astype(np.float32)
    state = State(blade, blade)
    feed = Feed([steps], unseen.astype(np.float32), bundle.sensor_lag_s)
    count = steps.mean_c.size
    for number in range(cut.stride + cut.overlap):
        index = np.minimum(first + number, count - 1)
        state = advance(state, feed.drive(index), bundle, feed.twice(index))
        kept = first + number < count
        if number < cut.overlap:
            kept[1:] = False
        table[index[kept] + 1] = state.blade_k[kept] - properties.ZERO_C_IN_K
    return table


def march_each(
    each: Sequence[Steps], bundle: Bundle, unseen: FloatArray, starts_c: Sequence[float]
) -> list[SingleArray]:
    """Step the same packets over several chambers side by side: what :func:`march` says of each, for less.

    ``bundle`` may have figures for each chamber, shape (chambers, draws). ``starts_c``: as ``start_c``, of each.
    """
    if len(each) == 1 or any(plan_cut(steps, bundle).pieces > 1 for steps in each):
        own = zip(each, starts_c, strict=True)
        return [march(steps, bundle.rows(n), unseen, start_c) for n, (steps, start_c) in enumerate(own)]
    feed = Feed(each, unseen.astype(np.float32), bundle.sensor_lag_s)
    table = np.empty((feed.counts.max() + 1, len(each), unseen.size), dtype=np.float32)
    table[0] = np.array(starts_c)[:, None]
    begin_k = np.array(starts_c)[:, None] + properties.ZERO_C_IN_K
    blade = np.repeat(begin_k.astype(np.float32), unseen.size, axis=1)
    state = State(blade, blade)
    for number in range(table.shape[0] - 1):
        index = feed.at(number)
        state = advance(state, feed.drive(index), bundle, feed.twice(index))
        table[number + 1] = state.blade_k - properties.ZERO_C_IN_K
    return [table[: count + 1, row] for row, count in enumerate(feed.counts)]


class Feed:
    """Steps of one or several chambers in single precision, picked for all pieces at once as columns."""

    def __init__(self, each: Sequence[Steps], unseen: SingleArray, sensor_lag_s: SingleArray | float) -> None:
        self.counts = np.array([steps.mean_c.size for steps in each])
        self._first = np.cumsum(self.counts) - self.counts
        self._mean = _column([steps.mean_c + properties.ZERO_C_IN_K for steps in each])
        self._slope = _column([steps.slope_c_per_s for steps in each])
        self._length = _column([steps.length_s for steps in each])
        self._doubt = _column([steps.doubt_c for steps in each])
        self._unseen = unseen
        self._ahead = _column([steps.rate_c_per_s for steps in each])
        self._sensor_lag_s = sensor_lag_s
        self._lags = bool(np.any(sensor_lag_s))
        self._in_doubt = bool(self._doubt.any())
        self._brisk = np.concatenate([brisk_steps(steps) for steps in each])

    def at(self, number: int) -> npt.NDArray[np.intp]:
        """Where each chamber's step of this number stands; its last one where it has no more."""
        return np.asarray(self._first + np.minimum(number, self.counts - 1))

    def drive(self, index: npt.NDArray[np.intp]) -> Drive:
        """The chamber over each of these steps."""
        mean = self._mean[index]
        if self._in_doubt and self._doubt[index].any():
            mean = mean + self._doubt[index] * self._unseen
        if self._lags:
            mean = np.clip(mean + self._ahead[index] * self._sensor_lag_s, *POSSIBLE_K)
        return Drive(mean, self._slope[index], self._length[index])

    def twice(self, index: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
        """Which of these steps need two passes."""
        return np.flatnonzero(self._brisk[index])


def _column(each: Sequence[FloatArray]) -> SingleArray:
    return np.concatenate(each).astype(np.float32)[:, None]


def brisk_steps(steps: Steps) -> npt.NDArray[np.bool_]:
    """Tell the steps that need two passes: the chamber moves or changes its course, or a cold piece heats up."""
    change = np.diff(steps.mean_c, prepend=steps.mean_c[0], append=steps.mean_c[-1])
    turn = np.abs(np.diff(change))
    brisk = (np.maximum(np.abs(change[1:]), np.abs(change[:-1])) > CALM_STEP_C) | (turn > CALM_CHANGE_C)
    return brisk | (steps.doubt_c > 0.0) | (steps.length_s < 0.99 * STEP_S)


def _begin_c(steps: Steps, bundle: Bundle, first: npt.NDArray[np.intp], start_c: float) -> FloatArray:
    """Blades [degC] where each piece begins: the first as loaded, the others where the chamber was their lag ago."""
    begin = np.full((first.size, bundle.gap_m.size), start_c)
    for row, index in enumerate(first[1:], start=1):
        ago_s = steps.edges_s[index] - time_constants_s(float(steps.mean_c[index]), bundle)
        begin[row] = np.interp(ago_s, steps.edges_s[:-1], steps.mean_c)
    return begin


def time_constants_s(chamber_c: float, bundle: Bundle) -> FloatArray:
    """Time constants of all draws near a chamber temperature."""
    chamber_k = max(chamber_c, 15.0) + properties.ZERO_C_IN_K
    piece = np.full(bundle.gap_m.shape, chamber_k - 2.0, dtype=np.float32)
    resistance = 1.0 / outer_conductance(chamber_k, piece, bundle)
    if bundle.foil_kg_m2:
        resistance = resistance + 1.0 / inner_conductance(piece, piece, bundle)
    times: FloatArray = bundle.steel_kg_m2 * resistance * properties.steel_cp(min(chamber_c, properties.PEAK_FROM_C))
    return times


def plan_cut(steps: Steps, bundle: Bundle) -> Cut:
    """Cut a long run so that the time for all steps is least; a short one stays whole."""
    count = steps.mean_c.size
    whole = Cut(1, count, 0)
    if count <= SHORTEST_CUT:
        return whole
    early = steps.edges_s[:-1] + MEMORY_TIMES * float(time_constants_s(float(steps.mean_c.min()), bundle).max())
    overlap = int((np.searchsorted(steps.edges_s, early) - np.arange(count)).max())
    # A step costs about 80 + 7 x pieces microseconds with 200 draws: the least of (count / p + overlap)(80 + 7 p).
    pieces = round(sqrt(count * 80.0 / (overlap * 7.0) * 200.0 / bundle.gap_m.shape[-1]))
    if pieces < 2 or count <= 2 * overlap:
        return whole
    return Cut(pieces, ceil((count - overlap) / pieces), overlap)
