"""The chamber as the model sees it: gaps bridged, then its mean and slope over steps of 20 s or finer."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties
from soakwitness.firmware_bridge.common.wording import counted

FloatArray = npt.NDArray[np.float64]
STEP_S, LONG_STEP_S, LONG_RUN_S = 20.0, 40.0, 100_000.0  # in runs of more than about a day the longer one
FINE_STEP_S, FINEST_STEP_S = 4.0, 1.0
CALM_C_PER_S = 0.1
FINE_FROM_C_PER_S, FINEST_FROM_C_PER_S = 0.6, 2.5  # the chamber moves faster than this
FIRST_STEP_S, GROWTH = 0.1, 1.25  # after loading: the foil answers within seconds
CHANGE_AT_ONCE_K = 3.5  # of the blade within one step
MOST_PARTS = 160.0
GAP_PERIODS, GAP_AT_LEAST_S = 3.0, 30.0
GAP_RATE_C_PER_S, GAP_WIDEST_C = 0.3, 100.0  # what the chamber may have done unseen: engineering guess, no source


@dataclass(frozen=True)
class ChamberGrid:
    """Bridged chamber: ``t_s`` [s], ``temp_c`` [degC], shape (k,), ``gaps`` as (start, stop) [s], shape (g, 2)."""

    t_s: FloatArray
    temp_c: FloatArray
    gaps: FloatArray


@dataclass(frozen=True)
class Steps:
    """Steps of the model: ``edges_s`` [s], shape (m + 1,); the rest shape (m,).

    ``mean_c`` [degC] and ``slope_c_per_s`` [K/s] of the chamber, ``doubt_c`` [K] how far it may be off within a gap,
    ``rate_c_per_s`` [K/s] its slope over a span that a sensor can follow.
    """

    edges_s: FloatArray
    mean_c: FloatArray
    slope_c_per_s: FloatArray
    doubt_c: FloatArray
    rate_c_per_s: FloatArray

    @property
    def length_s(self) -> FloatArray:
        """Length of each step [s], shape (m,)."""
        return np.diff(self.edges_s)


def bridge(t_s: npt.ArrayLike, chamber_c: npt.ArrayLike) -> ChamberGrid:
    """Drop what was not read and remember where that left a gap.

    ``chamber_c``: chamber [degC], shape (n,), NaN where nothing was read. Returns readings that were had; a gap is
    wider than three median periods and than 30 s.

    Raises NotEnoughData with fewer than two readings.
    """
    t, c = np.asarray(t_s, dtype=float), np.asarray(chamber_c, dtype=float)
    good = np.isfinite(t) & np.isfinite(c)
    if not good.all():
        t, c = t[good], c[good]
    if t.size < 2 or t[-1] <= t[0]:
        raise NotEnoughData(
            f"The chamber has {counted(t.size, 'reading')}; the packet estimate needs two or more over time."
        )
    between = np.diff(t)
    wide = np.flatnonzero(between > GAP_AT_LEAST_S)
    if wide.size:
        wide = wide[between[wide] > GAP_PERIODS * float(np.median(between))]
    return ChamberGrid(t, c, np.column_stack([t[wide], t[wide + 1]]))


def lay_steps(chamber: ChamberGrid, packet: PacketModel, load_t_s: float, start_c: float) -> Steps:
    """Lay the model's steps from the loading to the last reading.

    ``packet``: tells how quickly the piece can heat after loading. Returns 20 s (40 s in a run of more than about a
    day), finer where the chamber moves fast and while a cold piece heats up in a hot chamber.
    """
    last_s = float(chamber.t_s[-1])
    edges = _base_edges(load_t_s, last_s, STEP_S if last_s - load_t_s <= LONG_RUN_S else LONG_STEP_S)
    parts = _parts(chamber, edges, packet, start_c)
    edges = _split(edges, parts)
    if parts[0] > 1:
        edges = _for_foil(edges)
    mean = np.diff(_integral(chamber, edges)) / np.diff(edges)
    slope = np.diff(np.interp(edges, chamber.t_s, chamber.temp_c)) / np.diff(edges)
    middle = 0.5 * (edges[1:] + edges[:-1])
    return Steps(edges, mean, slope, _doubt(chamber, middle), rate_c_per_s(chamber, middle))


def rate_c_per_s(chamber: ChamberGrid, middle_s: FloatArray) -> FloatArray:
    """How fast the chamber moves [K/s], over a span within which no sensor answers.

    By so much for each second of its lag it is ahead of a sensor of first order.
    """
    ends = np.clip(np.array([middle_s - 0.5 * STEP_S, middle_s + 0.5 * STEP_S]), chamber.t_s[0], chamber.t_s[-1])
    rise_c = np.diff(np.interp(ends, chamber.t_s, chamber.temp_c), axis=0)[0]
    rate: FloatArray = rise_c / np.maximum(ends[1] - ends[0], 1e-3)
    return rate


def _integral(chamber: ChamberGrid, at_s: FloatArray) -> FloatArray:
    """Integral of the chamber [K s] from its first reading to each time, exact for straight lines between readings."""
    t, c = chamber.t_s, chamber.temp_c
    whole = np.zeros(t.size)
    parts = c[1:] + c[:-1]
    parts *= 0.5
    parts *= np.diff(t)
    np.cumsum(parts, out=whole[1:])
    index = np.clip(np.searchsorted(t, at_s, side="right") - 1, 0, t.size - 2)
    within = at_s - t[index]
    slope = (c[index + 1] - c[index]) / np.maximum(t[index + 1] - t[index], 1e-9)
    return whole[index] + within * (c[index] + 0.5 * slope * within)


def _base_edges(load_t_s: float, last_t_s: float, step_s: float) -> FloatArray:
    """Edges every step from the loading to the last reading."""
    count = max(int((last_t_s - load_t_s) / step_s - 1e-9), 0) + 1
    return np.append(load_t_s + step_s * np.arange(count), last_t_s)


def _parts(chamber: ChamberGrid, edges: FloatArray, packet: PacketModel, start_c: float) -> npt.NDArray[np.intp]:
    """Into how many parts each step goes, so that neither chamber nor blade changes by much within one."""
    step_s = float(edges[1] - edges[0])
    at_edges = np.interp(edges, chamber.t_s, chamber.temp_c)
    moved = _range_within(chamber, edges, at_edges)
    rate = moved / step_s
    transforms = (at_edges[:-1] > properties.PEAK_FROM_C) & (at_edges[:-1] < properties.PEAK_TO_C)
    usual = np.where((rate > CALM_C_PER_S) | transforms, STEP_S, step_s)
    aim = np.where(rate > FINEST_FROM_C_PER_S, FINEST_STEP_S, np.where(rate > FINE_FROM_C_PER_S, FINE_STEP_S, usual))
    quickest = quickest_time_s(packet, float(at_edges.max()))
    fades_s = 2.0 * quickest  # a cold piece answers more slowly than at the hottest chamber
    behind = _lag_of(np.diff(at_edges, prepend=start_c)[:-1], math.exp(-step_s / fades_s))
    heats = np.maximum(behind, moved) * step_s / fades_s
    parts = np.maximum(step_s / aim, np.minimum(heats / CHANGE_AT_ONCE_K, MOST_PARTS))
    return np.ceil(parts - 0.01).astype(np.intp)


def _range_within(chamber: ChamberGrid, edges: FloatArray, at_edges: FloatArray) -> FloatArray:
    """Highest less lowest chamber within each step [K]."""
    first = np.clip(np.searchsorted(chamber.t_s, edges[:-1], side="right") - 1, 0, chamber.t_s.size - 1)
    top = np.maximum.reduceat(chamber.temp_c, first)
    bottom = np.minimum.reduceat(chamber.temp_c, first)
    high = np.maximum(top, np.maximum(at_edges[:-1], at_edges[1:]))
    low = np.minimum(bottom, np.minimum(at_edges[:-1], at_edges[1:]))
    return np.asarray(high - low)


def _lag_of(moves_c: FloatArray, stays: float) -> FloatArray:
    """Roughly how far a piece is behind [K]: each move of the chamber, less what fades from step to step."""
    behind, reach = moves_c.copy(), 1
    while reach < behind.size and stays**reach > 1e-3:
        behind[reach:] += stays**reach * behind[:-reach]
        reach *= 2
    return np.abs(behind)


def quickest_time_s(packet: PacketModel, hottest_c: float) -> float:
    """Time constant of a piece at the hottest chamber, on the quick side."""
    hot = max(hottest_c, 20.0) + properties.ZERO_C_IN_K
    outer = properties.radiation_conductance(packet.eps_o, hot, hot) + 6.0
    inner = properties.radiation_conductance(packet.f_i, hot, hot)
    inner += 1000.0 * properties.air_conductivity(hot) / packet.gap_mm
    series = 1.0 / (1.0 / outer + 1.0 / inner) if packet.foil else outer
    return properties.STEEL_DENSITY * 600.0 * packet.steel_mm / 1000.0 / (1.2 * series)


def _split(edges: FloatArray, parts: npt.NDArray[np.intp]) -> FloatArray:
    """Split each step into equal parts."""
    offset = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
    inside = np.repeat(edges[:-1], parts) + offset * np.repeat(np.diff(edges) / parts, parts)
    return np.append(inside, edges[-1])


def _for_foil(edges: FloatArray) -> FloatArray:
    """Let the steps grow from a very short one: after loading the foil answers within seconds."""
    aim = float(edges[1] - edges[0])
    growing = FIRST_STEP_S * GROWTH ** np.arange(max(int(math.log(aim / FIRST_STEP_S) / math.log(GROWTH)), 0))
    start = edges[0] + np.cumsum(growing)
    start = start[start < edges[-1]]
    if start.size == 0:
        return edges
    return np.concatenate([edges[:1], start, edges[np.searchsorted(edges, start[-1] + 0.3 * aim) :]])


def _doubt(chamber: ChamberGrid, middle_s: FloatArray) -> FloatArray:
    """How far the chamber may be off the straight line across a gap [K], 0 elsewhere."""
    doubt = np.zeros(middle_s.size)
    for start, stop in chamber.gaps:
        inside = slice(*np.searchsorted(middle_s, (start, stop)))
        nearer = np.minimum(middle_s[inside] - start, stop - middle_s[inside])
        doubt[inside] = np.minimum(GAP_RATE_C_PER_S * nearer, GAP_WIDEST_C)
    return doubt
