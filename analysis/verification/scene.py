"""What all holds of one verification share: corrected traces, work temperature, marks, sensor errors."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.model import Hold, Recipe
from soakwitness.analysis.runs import Run
from soakwitness.analysis.verification.assignment import Blocks
from soakwitness.analysis.verification.edges import Readings
from soakwitness.analysis.verification.intervals import Allowed, noise
from soakwitness.analysis.verification.model import Basis, SensorErrors, Source, WorkTemperature
from soakwitness.analysis.verification.pieces import Stay
from soakwitness.analysis.verification.placing import Placed

SLOWEST_C_PER_S = 1.0 / 60.0
RATE_BLOCKS_S = 30.0
ROOM_C = 20.0
SPARE = 1.2  # rates over half a minute are a little below the fastest at any moment
WARM_C = 60.0


@dataclass(frozen=True)
class Work:
    """Candidate traces of the work temperature: a measured one is its own low, best and high.

    ``result`` is the same for charts. ``lag_s(level, from, until)`` gives low, best, high and the share that never
    reaches the level, where a packet was estimated. ``may_fail`` False: an estimate that cannot show a fail by itself.
    """

    source: Source
    low: Readings
    best: Readings
    high: Readings
    result: WorkTemperature | None = None
    lag: Callable[[float, float, float], tuple[float | None, float | None, float | None, float]] | None = None
    may_fail: bool = True

    @property
    def measured(self) -> bool:
        """Whether it was measured, not estimated."""
        return self.source != "packet estimate"


@dataclass(frozen=True)
class Rates:
    """Fastest heating and cooling [K/s], and the fastest loss of the heat above room temperature [1/s]."""

    heating_c_per_s: float = SLOWEST_C_PER_S
    cooling_c_per_s: float = SLOWEST_C_PER_S
    loss_per_s: float = 0.0

    def with_other(self, other: Rates) -> Rates:
        """The faster of two."""
        return Rates(
            max(self.heating_c_per_s, other.heating_c_per_s),
            max(self.cooling_c_per_s, other.cooling_c_per_s),
            max(self.loss_per_s, other.loss_per_s),
        )


@dataclass(frozen=True)
class Scene:
    """One verification: run and recipe, traces and marks, and what is known of the sensors' errors.

    ``chamber`` is the trace the steps were found on, ``placed`` the holds on it; ``edges_on`` the measured trace that
    decides (a load sensor where there is one), ``measured`` the holds on that. ``works`` maps a stay's index to its
    work temperature. ``untrusted`` is where the sensor that decides stood still, ``stood_still`` where the chamber's
    did. ``lost_s``: the load sensors' last reading [s], where the chamber was read on; ``alone`` is then
    the same verification without them, ``load_gone`` where the chamber is then all there is.
    """

    run: Run
    recipe: Recipe
    chamber: Readings
    chamber_name: str
    placed: tuple[Placed | None, ...]
    edges_on: Readings
    edges_name: str
    measured: tuple[Placed | None, ...]
    source: Source
    works: Mapping[int, Work]
    stays: tuple[Stay, ...]
    errors: SensorErrors
    chamber_errors: SensorErrors
    basis: Basis
    rates: Rates
    uncertain: tuple[tuple[float, float], ...] = ()
    untrusted: tuple[tuple[float, float], ...] = ()
    stood_still: tuple[tuple[float, float], ...] = ()
    lost_s: float | None = None
    alone: Scene | None = None
    load_gone: bool = False

    @property
    def start_s(self) -> float:
        """First reading [s]."""
        return float(self.chamber.t_s[0])

    @property
    def end_s(self) -> float:
        """Last reading [s]."""
        return float(self.chamber.t_s[-1])

    def of_hold(self, number: int) -> Scene:
        """What decides a hold: without the load sensors where they read nothing any more when it began."""
        placed = self.placed[number]
        if self.alone is None or self.lost_s is None or placed is None:
            return self
        begin_s = placed.edges.enter_s if placed.edges is not None else placed.stays[0].start_s
        return self.alone if begin_s >= self.lost_s else self

    def expanded_c(self, hold: Hold) -> float | None:
        """U of the sensor that decides at a hold [K], None where nothing is known."""
        return (self.chamber_errors if hold.soak_from == "control" else self.errors).at(hold.target_c)

    def deciding(self, hold: Hold) -> tuple[Readings, tuple[Placed | None, ...]]:
        """The measured trace that decides a hold, and all holds as placed on it."""
        if hold.soak_from == "control":
            return self.chamber, self.placed
        return self.edges_on, self.measured

    def allowed(self, readings: Readings, start_s: float, end_s: float, hold: Hold) -> Allowed:
        """What the readings of a hold's stretch cannot show."""
        width = hold.below_c + hold.above_c
        near = None if hold.judge_by == "mean" else (hold.lower_c - width, hold.upper_c + width)
        low, high = readings.between(start_s, end_s)
        hottest = float(readings.temp_c[low:high].max(initial=0.0))
        cooling = SPARE * max(self.rates.cooling_c_per_s, self.rates.loss_per_s * (hottest - ROOM_C))
        return Allowed(
            noise(readings, start_s, end_s, near), SPARE * self.rates.heating_c_per_s, cooling, self.uncertain
        )


def fastest(blocks: Blocks) -> Rates:
    """Fastest heating and cooling that a trace itself shows.

    Parameters
    ----------
    blocks : Blocks
        The trace's block medians.

    Returns
    -------
    Rates
        Over about 30 s, at least 1 K a minute.

    Notes
    -----
    Newton's law of cooling, dT/dt = -(T - T_room)/tau, carries a rate seen at one temperature to a hotter one.
    """
    step = max(1, round(RATE_BLOCKS_S / blocks.block_s))
    if blocks.t_s.size <= step:
        return Rates()
    rate = (blocks.temp_c[step:] - blocks.temp_c[:-step]) / (blocks.t_s[step:] - blocks.t_s[:-step])
    middle = (blocks.temp_c[step:] + blocks.temp_c[:-step]) / 2.0
    loss = np.where(middle > WARM_C, -rate / np.maximum(middle - ROOM_C, 1.0), 0.0)
    return Rates(
        max(float(rate.max()), SLOWEST_C_PER_S), max(float(-rate.min()), SLOWEST_C_PER_S), max(float(loss.max()), 0.0)
    )


def measured_work(source: Source, readings: Readings) -> Work:
    """A measured work temperature."""
    return Work(source, readings, readings, readings)


def coldest(traces: Sequence[Readings], t_s: np.ndarray) -> Readings:
    """The coldest of several load sensors at each of their common times.

    Parameters
    ----------
    traces : sequence of Readings
        Load sensors of one run, read in the same rows.
    t_s : ndarray
        Times of the rows [s], shape (n,).

    Returns
    -------
    Readings
        The coldest [degC] where all of them were read.
    """
    columns = []
    for trace in traces:
        column = np.full(t_s.size, np.nan)
        column[np.searchsorted(t_s, trace.t_s)] = trace.temp_c
        columns.append(column)
    lowest = np.min(columns, axis=0)
    seen = np.isfinite(lowest)
    return Readings(t_s[seen], lowest[seen], max(tr.resolution_c for tr in traces), traces[0].period_s)
