"""Estimate of the work temperature inside a packet from the measured chamber, with its spread."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import repeat

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.packet.draws import IN_A_GAP, bundle_of, uniform_set
from soakwitness.analysis.packet.grid import ChamberGrid, Steps, bridge, lay_steps, quickest_time_s
from soakwitness.analysis.packet.marching import march_each
from soakwitness.analysis.packet.piece import PacketModel as PacketModel
from soakwitness.analysis.packet.rack import Row
from soakwitness.analysis.packet.row_bundle import row_bundle
from soakwitness.analysis.packet.row_stepping import march_row
from soakwitness.analysis.packet.stepping import stacked
from soakwitness.firmware_bridge.common import heat_transfer_properties as properties
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration, moment

FloatArray = npt.NDArray[np.float64]
SingleArray = npt.NDArray[np.float32]
LOW_SHARE, HIGH_SHARE = 0.025, 0.975
HOT_START_C = 100.0
MANY_DRAWS, FEW_DRAWS, MANY_STEPS = 200, 64, 4500
THICK_BIOT = 0.1
MOST_AT_ONCE = 4000  # blades that march side by side, draws and all: more are no quicker
POSSIBLE_C = (-100.0, 1500.0)


@dataclass(frozen=True)
class Lag:
    """Time the packet eats [s]: None where that estimate does not reach the level in time.

    ``never_reached`` is the share of draws that do not, 0 to 1.
    """

    low_s: float | None
    best_s: float | None
    high_s: float | None
    never_reached: float


@dataclass(frozen=True)
class PacketEstimate:
    """Work temperature of one piece as the packet model has it.

    ``t_s`` [s] and ``low_c``, ``best_c``, ``high_c`` [degC], shape (n,), stand at the readings; ``draw_t_s`` [s],
    shape (m,), ``draws_c`` [degC], float32, shape (draws, m), and ``best_draw_c`` [degC], shape (m,), on the model's
    own coarser grid from ``load_t_s`` on. ``low_c`` and ``high_c`` are the 2.5 % and 97.5 % quantiles of the draws.
    Before ``load_t_s`` the piece is at room temperature. ``biot`` is the largest Biot number of the run, ``fitted``
    whether an instrumented packet was run; ``gaps`` are the times in which the chamber was not read (from, to) [s];
    ``says`` what a reader must know.
    """

    t_s: FloatArray
    low_c: FloatArray
    best_c: FloatArray
    high_c: FloatArray
    draw_t_s: FloatArray
    draws_c: SingleArray
    best_draw_c: SingleArray
    load_t_s: float
    biot: float
    fitted: bool
    packet: PacketModel
    gaps: tuple[tuple[float, float], ...] = ()
    says: tuple[Says, ...] = ()

    def window(self, start_s: float, stop_s: float) -> tuple[FloatArray, SingleArray]:
        """Part of the draws that covers a time, without copying.

        Returns times [s], shape (k,). Returns draws [degC], float32, shape (draws, k).
        """
        part = self._part(start_s, stop_s)
        return self.draw_t_s[part], self.draws_c[:, part]

    def crossing_s(self, level_c: float, start_s: float, stop_s: float) -> FloatArray:
        """First time at which each draw stands at or above a level.

        Returns times [s], shape (draws,): ``start_s`` where the draw is there already, NaN where it never is.
        """
        part = self._part(start_s, stop_s)
        return _first_crossing(self.draw_t_s[part], self.draws_c[:, part], level_c, start_s, stop_s)

    def lag_s(self, level_c: float, from_t_s: float, until_t_s: float | None = None) -> Lag:
        """Time from a moment, such as the chamber entering a band, until the work is at the level.

        ``level_c``: level [degC], such as the lower edge of the band. ``from_t_s``: start [s]; the load mark where that
        is later. ``until_t_s``: end of the hold [s]; the last reading by default. Returns low, best and high [s] and
        the share of draws that never reach the level.
        """
        start = max(from_t_s, self.load_t_s)
        stop = float(self.draw_t_s[-1]) if until_t_s is None else until_t_s
        part = self._part(start, stop)
        best = _first_crossing(self.draw_t_s[part], self.best_draw_c[None, part], level_c, start, stop)
        lags = np.sort(np.nan_to_num(self.crossing_s(level_c, start, stop), nan=np.inf)) - start
        low, high = (float(lags[round(share * (lags.size - 1))]) for share in (LOW_SHARE, HIGH_SHARE))
        return Lag(_known(low), _known(float(best[0]) - start), _known(high), float(np.mean(np.isinf(lags))))

    def _part(self, start_s: float, stop_s: float) -> slice:
        first = max(int(np.searchsorted(self.draw_t_s, start_s, side="right")) - 1, 0)
        return slice(first, int(np.searchsorted(self.draw_t_s, stop_s, side="left")) + 1)


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _first_crossing(t_s: FloatArray, temp_c: SingleArray, level_c: float, start_s: float, stop_s: float) -> FloatArray:
    """First time from ``start_s`` to ``stop_s`` at or above a level, straight lines between the points."""
    if t_s.size == 0 or stop_s < start_s:
        return np.full(temp_c.shape[0], np.nan)
    above = temp_c >= level_c
    above[:, t_s < start_s] = False
    begun = t_s.size > 1 and t_s[0] < start_s
    at_start = _between(t_s[:2], temp_c[:, :2], start_s) if begun else temp_c[:, 0].astype(float)
    index = above.argmax(axis=1)
    rows = np.arange(temp_c.shape[0])
    before = np.maximum(index - 1, 0)
    one, other = temp_c[rows, before].astype(float), temp_c[rows, index].astype(float)
    share = np.clip((level_c - one) / np.where(other > one, other - one, 1.0), 0.0, 1.0)
    crossed = t_s[before] + share * (t_s[index] - t_s[before])
    crossed[~above.any(axis=1) | (crossed > stop_s)] = np.nan
    result: FloatArray = np.where(at_start >= level_c, start_s, np.maximum(crossed, start_s))
    return result


def _between(t_s: FloatArray, temp_c: SingleArray, at_s: float) -> FloatArray:
    share = (at_s - t_s[0]) / (t_s[1] - t_s[0])
    mixed: FloatArray = temp_c[:, 0] + share * (temp_c[:, 1] - temp_c[:, 0]).astype(float)
    return mixed


def estimate(
    t_s: npt.ArrayLike,
    chamber_c: npt.ArrayLike,
    *,
    packet: PacketModel,
    load_t_s: float | None = None,
    start_c: float = 20.0,
    draws: int | None = None,
) -> PacketEstimate:
    """Estimate the work temperature from the chamber's.

    Two conductances in series per heated face, chamber to foil and foil to blade, blade lumped; see
    :func:`soakwitness.analysis.packet.stepping.advance`. Valid while the Biot number is well below 0.1. An offset that
    a fit found between load and control sensor widens the draws and leaves the best estimate alone. Readings beyond
    what any such furnace has (a log in degF taken for degC) count as its limit.

    ``chamber_c``: chamber [degC], shape (n,), NaN where nothing was read. ``load_t_s``: load mark [s]; None: loaded
    cold, in from the first reading. ``start_c``: temperature of the piece when it went in [degC]. ``draws``: number of
    draws [-]; 200 by default, 64 where the run is longer than about a day. Returns low, best and high work temperature
    and the draws.

    Raises NotEnoughData with fewer than two readings of the chamber, or none after the loading.
    """
    chamber = ChamberToFollow(np.asarray(t_s, dtype=float), np.asarray(chamber_c, dtype=float), load_t_s)
    return next(estimate_each([(packet, chamber)], start_c=start_c, draws=draws))


def estimate_row(
    t_s: npt.ArrayLike,
    chamber_c: npt.ArrayLike,
    *,
    row: Row,
    load_t_s: float | None = None,
    start_c: float = 20.0,
    draws: int | None = None,
) -> tuple[PacketEstimate | None, ...]:
    """Estimate the work temperatures of packets side by side that went in together.

    Their faces see each other and the chamber through the openings between them: see
    :mod:`soakwitness.analysis.packet.rack`. One draw has the same luck in all of them. Convection is that of a lone
    one, each side has one radiosity from edge to edge, and the foil's own heat is counted with the blade's.

    ``row``: what stands in the slots; the rest as for :func:`estimate`. Returns one estimate for each slot, None where
    it is empty. A packet without neighbours comes out as :func:`estimate` has it.
    """
    chamber = ChamberToFollow(np.asarray(t_s, dtype=float), np.asarray(chamber_c, dtype=float), load_t_s)
    return next(estimate_row_each([chamber], row=row, start_c=start_c, draws=draws))


@dataclass(frozen=True)
class ChamberToFollow:
    """One of several chambers that the same pieces may have had: as ``estimate`` takes it."""

    t_s: FloatArray
    chamber_c: FloatArray
    load_t_s: float | None = None


def estimate_each(
    asked: Iterable[tuple[PacketModel, ChamberToFollow]], *, start_c: float = 20.0, draws: int | None = None
) -> Iterator[PacketEstimate]:
    """What ``estimate`` says of each packet over its chamber, for less than one after the other."""
    for overs in _side_by_side(asked, start_c, draws, packets=1):
        found = {over.packet: bundle_of(over.packet, over.draws) for over in overs}
        bundle, unseen = found[overs[0].packet]
        if len(found) > 1:
            bundle = stacked([found[over.packet][0] for over in overs])
        tables = march_each([over.steps for over in overs], bundle, unseen, [start_c] * len(overs))
        for over, table in zip(overs, tables, strict=True):
            yield _told(over, over.packet, table, start_c)


def estimate_row_each(
    chambers: Sequence[ChamberToFollow], *, row: Row, start_c: float = 20.0, draws: int | None = None
) -> Iterator[tuple[PacketEstimate | None, ...]]:
    """What ``estimate_row`` says over each of several chambers, for less than one after the other."""
    if len(row.filled) < 2:
        alone = [(packet, chamber) for packet in row.packets for chamber in chambers]
        for one in estimate_each(alone, start_c=start_c, draws=draws) if alone else repeat(None, len(chambers)):
            yield tuple(None if packet is None else one for packet in row.slots)
        return
    quickest = [(_quickest(row, chamber, start_c), chamber) for chamber in chambers]
    for overs in _side_by_side(quickest, start_c, draws, packets=len(row.packets)):
        bundle, unseen = row_bundle(row, overs[0].draws)
        each = march_row([over.steps for over in overs], bundle, unseen, [start_c] * len(overs))
        for over, blades in zip(overs, each, strict=True):
            tables = iter(blades)
            yield tuple(None if one is None else _told(over, one, next(tables), start_c) for one in row.slots)


def _quickest(row: Row, chamber: ChamberToFollow, start_c: float) -> PacketModel:
    hottest_c = float(np.nanmax(np.clip(chamber.chamber_c, *POSSIBLE_C), initial=start_c))
    return min(row.packets, key=lambda packet: quickest_time_s(packet, hottest_c))


@dataclass(frozen=True)
class _Over:
    """One chamber as the model steps through it, from the load [s] on, with a number of draws [-]."""

    packet: PacketModel
    read: ChamberToFollow
    chamber: ChamberGrid
    load_s: float
    steps: Steps
    draws: int

    @property
    def alike(self) -> tuple[float, ...]:
        """What those have in common that march at once [-, mm]."""
        return self.draws, self.packet.foil and self.packet.foil_mm


def _side_by_side(
    asked: Iterable[tuple[PacketModel, ChamberToFollow]], start_c: float, draws: int | None, *, packets: int
) -> Iterator[list[_Over]]:
    """As many in turn as march at once and as pay, each standing for so many packets."""
    together: list[_Over] = []
    for over in (_over(packet, read, start_c, draws) for packet, read in asked):
        full = packets * over.draws * len(together) >= MOST_AT_ONCE
        if together and (full or over.alike != together[0].alike):
            yield together
            together = []
        together.append(over)
    yield together


def _over(packet: PacketModel, read: ChamberToFollow, start_c: float, draws: int | None) -> _Over:
    chamber = bridge(read.t_s, np.clip(read.chamber_c, *POSSIBLE_C))
    load = float(chamber.t_s[0]) if read.load_t_s is None else max(float(read.load_t_s), float(chamber.t_s[0]))
    if load >= chamber.t_s[-1]:
        last = moment(float(chamber.t_s[-1]))
        raise NotEnoughData(f"The load mark at {moment(load)} is after the last reading at {last}.")
    steps = lay_steps(chamber, packet, load, start_c)
    count = draws or (MANY_DRAWS if steps.mean_c.size <= MANY_STEPS else FEW_DRAWS)
    return _Over(packet, read, chamber, load, steps, count)


def _told(over: _Over, packet: PacketModel, table: SingleArray, start_c: float) -> PacketEstimate:
    """The estimate out of the blade's temperatures at the steps' edges, best figures first."""
    chamber, load, t_s = over.chamber, over.load_s, over.read.t_s
    if packet.sensor_offset_c:  # which of the two sensors was right is not known: each draw believes it by a share
        table[:, 1:] += np.float32(packet.sensor_offset_c) * uniform_set(over.draws)[:, IN_A_GAP].astype(np.float32)
    low, high = _quantiles(table[:, 1:])
    low, high = np.minimum(low, table[:, 0]), np.maximum(high, table[:, 0])  # draws cross in a swing
    low_c, best_c, high_c = (np.interp(t_s, over.steps.edges_s, column) for column in (low, table[:, 0], high))
    before = t_s < load
    if before.any():
        low_c[before] = best_c[before] = high_c[before] = start_c
    biot = biot_number(packet, float(chamber.temp_c[np.searchsorted(chamber.t_s, load) :].max()))
    return PacketEstimate(
        t_s=t_s,
        low_c=low_c,
        best_c=best_c,
        high_c=high_c,
        draw_t_s=over.steps.edges_s,
        draws_c=table[:, 1:].T,
        best_draw_c=table[:, 0],
        load_t_s=load,
        biot=biot,
        fitted=packet.fitted,
        packet=packet,
        gaps=tuple((float(start), float(stop)) for start, stop in chamber.gaps),
        says=_says(chamber, packet, over.read.load_t_s, start_c, biot),
    )


def _quantiles(draws_c: SingleArray) -> tuple[SingleArray, SingleArray]:
    """Low and high quantile over the draws of each time."""
    last = draws_c.shape[1] - 1
    places = (round(LOW_SHARE * last), round(HIGH_SHARE * last))
    ordered = np.partition(draws_c, places, axis=1)
    return ordered[:, places[0]].copy(), ordered[:, places[1]].copy()


def biot_number(packet: PacketModel, hottest_c: float) -> float:
    """Biot number of the blade at the hottest chamber: below 0.1 its core follows its surface.

    Returns conductance of the packet x steel behind each face / conductivity of steel [-].
    """
    hot = hottest_c + properties.ZERO_C_IN_K
    outer = properties.radiation_conductance(packet.eps_o, hot, hot)
    if packet.foil:
        gas = properties.air_conductivity(hot) / (packet.gap_mm / 1000.0)
        outer = 1.0 / (1.0 / outer + 1.0 / (properties.radiation_conductance(packet.f_i, hot, hot) + gas))
    return outer * packet.steel_mm / 1000.0 / properties.steel_conductivity(hottest_c)


def _says(
    chamber: ChamberGrid, packet: PacketModel, load_t_s: float | None, start_c: float, biot: float
) -> tuple[Says, ...]:
    says: list[Says] = []
    if not packet.fitted:
        says.append(Says.plain("a model with generic figures until an instrumented packet was run"))
    if chamber.gaps.size:
        unread = duration(float(np.diff(chamber.gaps).sum()))
        says.append(Says.plain(f"the chamber was not read for {unread}: the estimate is wider there"))
    if load_t_s is None and chamber.temp_c[0] > start_c + HOT_START_C:
        hot = "the record starts at {first}: the packet is taken to have gone in cold just then"
        says.append(Says.of(hot, first=Temp(float(chamber.temp_c[0]))))
    if biot > THICK_BIOT:
        says.append(Says.plain(f"Biot number {biot:.2f}: the core of so thick a piece follows later than this says"))
    return tuple(says)
