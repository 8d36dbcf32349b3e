"""What all holds of one verification share: the sensors that can decide, marks, the work temperature of each piece."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.holds.assignment import ArrayBlocks
from soakwitness.analysis.verification.holds.placed_sensors import DecidingSensor
from soakwitness.analysis.verification.inputs.readings import Readings, noise
from soakwitness.analysis.verification.inputs.sensor_choice import StandsIn
from soakwitness.analysis.verification.inputs.stays import Stay, speaks_for
from soakwitness.analysis.verification.measuring.dips import OwnCooling
from soakwitness.analysis.verification.measuring.intervals import Allowed
from soakwitness.analysis.verification.measuring.overshoot import LevelPart, level_part
from soakwitness.analysis.verification.measuring.too_hot import Limit, limits_of
from soakwitness.analysis.verification.results.verification import KnownError, Source, UsualDifference, WorkTemperature
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.extents import as_slow, begins_s, extent_of
from soakwitness.analysis.verification.rules.placed_edges import Placements, placed_edges
from soakwitness.analysis.verification.rules.places import Placed
from soakwitness.analysis.verification.rules.states import ROOM_C, slope_reference
from soakwitness.firmware_bridge.marks.questions import Question

SLOWEST_C_PER_S = 1.0 / 60.0
RATE_BLOCKS_S = 30.0
SPARE = 1.2  # rates over half a minute are a little below the fastest at any moment
WARM_C = 60.0
MARKED_LATE_S = 120.0  # people mark a load or a pull when their hands are free


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


def fastest(blocks: ArrayBlocks) -> Rates:
    """Fastest heating and cooling over about 30 s that a trace itself shows, at least 1 K a minute.

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


@dataclass(frozen=True)
class Work:
    """Work temperature of one piece as one sensor tells it: a measured one is its own low, best and high.

    All as ``sensor`` reads: what its calibration says is added later. ``lag(level, from, until)`` gives low, best, high
    and the share of draws that never reach the level, where a packet was estimated. ``gone``: the load sensor that
    should have told it was lost before; ``limits_only``: it tells the soak, and this one only what was too hot.
    """

    source: Source
    sensor: DecidingSensor
    low: Readings
    best: Readings
    high: Readings
    shown: WorkTemperature | None = None
    lag: Callable[[float, float, float], tuple[float | None, float | None, float | None, float]] | None = None
    fitted: bool = True
    gone: bool = False
    limits_only: bool = False

    @property
    def measured(self) -> bool:
        """Whether it was measured, not estimated."""
        return self.source != "packet estimate"


@dataclass(frozen=True)
class HoldOnTrace:
    """One hold on the readings of one sensor, ``correction_c`` [K] taken off its temperatures so that both compare.

    ``hold`` is as the sensor should show it, ``edges`` those of its stays where it never was in the band
    (``inside_band`` False). ``limit_s`` and ``begin_s`` are where the next and this one begin [s]; ``began`` and
    ``ended`` whether both lie on record.
    """

    number: int
    hold: Hold
    correction_c: float
    sensor: DecidingSensor
    placed: Placed
    edges: Edges
    inside_band: bool
    level: LevelPart
    allowed: Allowed
    limits: tuple[Limit, ...]
    limit_s: float
    begin_s: float
    began: bool
    ended: bool

    @property
    def trace(self) -> Readings:
        """The sensor's readings."""
        return self.sensor.readings


@dataclass
class Remembered:
    """What was computed for one verification already."""

    on_traces: dict[tuple[object, int, float], HoldOnTrace | None] = field(default_factory=dict)
    judged: dict[tuple[object, ...], Any] = field(default_factory=dict)
    others: dict[tuple[object, ...], Any] = field(default_factory=dict)


@dataclass(frozen=True)
class VerificationContext:
    """One verification: run and recipe, the chamber's sensor and the load sensors, the stays of its pieces.

    ``chamber`` is what the steps were found on; ``estimate_of`` gives the packet estimate of a stay by its index, None
    where no packet is known. ``doors_s`` are moments at which a door was open: marks and contacts;
    ``questions`` what the marks leave to be asked; ``stands_in``: the chamber's sensor took over from one that broke.
    """

    run: Run
    recipe: Recipe
    chamber: DecidingSensor
    loads: tuple[DecidingSensor, ...]
    stays: tuple[Stay, ...]
    estimate_of: Callable[[int], Work | None]
    rates: Rates
    cooling: OwnCooling
    doors_s: tuple[float, ...] = ()
    usual: tuple[UsualDifference, ...] = ()
    questions: tuple[Question, ...] = ()
    stands_in: StandsIn | None = None
    uncertain: tuple[tuple[float, float], ...] = ()
    remembered: Remembered = field(default_factory=Remembered)

    @property
    def start_s(self) -> float:
        """First reading [s]."""
        return float(self.chamber.readings.t_s[0])

    @property
    def end_s(self) -> float:
        """Last reading [s]."""
        return float(self.chamber.readings.t_s[-1])

    @property
    def cold_treated(self) -> bool:
        """Whether a cold treatment was entered for every piece that is known to be in the run."""
        known = [stay.info for stay in self.stays if stay.info is not None]
        return bool(known) and all("cold treatment" in info.treated for info in known)

    @property
    def sensors(self) -> tuple[DecidingSensor, ...]:
        """All that can decide."""
        return (self.chamber, *self.loads)

    def slope(self, number: int) -> float:
        """Slope that still is level at a hold [K/h]."""
        return slope_reference(self.recipe, number, self.chamber.readings.resolution_c)

    def known(self, sensor: DecidingSensor, number: int) -> KnownError:
        """What is known of a sensor at a hold."""
        return sensor.errors.known_at(self.recipe.holds[number], self.recipe.decide_on)

    def control_work(self, *, gone: bool = False) -> Work:
        """The chamber's own reading as work temperature."""
        trace = self.chamber.readings
        return Work(self.chamber.source, self.chamber, trace, trace, trace, gone=gone)

    def works(self, index: int, number: int) -> list[Work]:
        """Work temperatures of one stay in one hold: its load sensors, else the packet estimate, else the chamber."""
        hold, stay = self.recipe.holds[number], self.stays[index]
        if hold.soak_from == "control":
            return [self.control_work()]
        begin_s = self._begins(number)
        fit = self._with(stay)
        there = [load for load in fit if load.last_s > begin_s]
        works = [Work("load", load, load.readings, load.readings, load.readings) for load in there]
        lost = [load for load in fit if load.last_s <= begin_s or load.key[2]]
        whole = [load for load in there if load not in lost]
        if there and all(any(as_slow(load.readings, other.readings) for load in whole) for other in lost):
            return works
        # Of a load sensor that was lost before, the next in the order speaks for its place; of one that came out before
        # its pieces did, for what was too hot after that.
        out_early = all(load.last_s > begin_s for load in lost) and bool(lost)
        estimated = self.estimate_of(index)
        other = estimated if estimated is not None else self.control_work(gone=bool(fit) and not out_early)
        return [*works, replace(other, limits_only=out_early)]

    def _with(self, stay: Stay) -> list[DecidingSensor]:
        """Load sensors that speak for a stay: no thinner than it, and in the furnace with it, as long as they were."""
        load_s = stay.load_s if stay.load_s is not None else self.start_s
        pull_s = stay.pull_s if stay.pull_s is not None else np.inf
        thickness_mm = stay.info.thickness_mm if stay.info is not None else None
        found: dict[str, tuple[float, DecidingSensor]] = {}
        for load in self.loads:
            out_s = load.out_s if load.out_s is not None else np.inf
            together = min(out_s, pull_s, self.end_s) - max(load.in_s, load_s)
            if (
                not speaks_for(load.thickness_mm, thickness_mm)
                or load.in_s > load_s + MARKED_LATE_S
                or together <= MARKED_LATE_S
            ):
                continue
            if load.until_out is not None and stay.pull_s is not None and stay.pull_s > out_s + MARKED_LATE_S:
                load = load.until_out()
            if load.name not in found or together > found[load.name][0]:
                found[load.name] = together, load
        return [load for _, load in found.values()]

    def _begins(self, number: int) -> float:
        return begins_s(self.chamber.placed[number] or self.chamber.placed_true[number], self.start_s)

    def allowed(self, readings: Readings, start_s: float, end_s: float, hold: Hold) -> Allowed:
        """What the readings of a hold's stretch [s] cannot show."""
        width = hold.below_c + hold.above_c
        near = None if hold.judge_by == "mean" else (hold.lower_c - width, hold.upper_c + width)
        low, high = readings.between(start_s, end_s)
        hottest = float(readings.temp_c[low:high].max(initial=0.0))
        cooling = SPARE * max(self.rates.cooling_c_per_s, self.rates.loss_per_s * (hottest - ROOM_C))
        return Allowed(
            noise(readings, start_s, end_s, near), SPARE * self.rates.heating_c_per_s, cooling, self.uncertain
        )

    def on_trace(
        self, sensor: DecidingSensor, number: int, correction_c: float, placed: Placements
    ) -> HoldOnTrace | None:
        """One hold on the readings of a sensor, with a correction [K]; None where it is not there."""
        key = (sensor.key, number, correction_c)
        if key not in self.remembered.on_traces:
            self.remembered.on_traces[key] = self._on_trace(sensor, number, correction_c, placed)
        return self.remembered.on_traces[key]

    def _on_trace(
        self, sensor: DecidingSensor, number: int, correction_c: float, every: Placements
    ) -> HoldOnTrace | None:
        placed, trace = every[number], sensor.readings
        if placed is None:
            return None
        edges = placed_edges(every, number, trace)
        assert edges is not None
        begin, limit = extent_of(every, number, trace, edges, self.start_s)
        level, allowed = self._level(sensor, number, correction_c, every)
        assert level is not None
        assert allowed is not None
        return HoldOnTrace(
            number,
            placed.hold,
            correction_c,
            sensor,
            placed,
            edges,
            placed.edges is not None,
            level,
            allowed,
            self.limits(sensor, correction_c, every),
            limit,
            begin,
            # inside the band from the moment the hold before was left: what came before is on record
            began=edges.entered or edges.enter_s > float(trace.t_s[0]),
            ended=edges.left,
        )

    def limits(self, sensor: DecidingSensor, correction_c: float, every: Placements) -> tuple[Limit, ...]:
        """The limit at each moment of a sensor's readings, with a correction [K]."""
        key = ("limits", sensor.key, correction_c)
        if key not in self.remembered.others:
            holds = [p.hold if p is not None else h for p, h in zip(every, self.recipe.holds, strict=True)]
            slopes = [self.slope(n) for n in range(len(every))]
            levels = [self._level(sensor, n, correction_c, every)[0] for n in range(len(every))]
            self.remembered.others[key] = limits_of(holds, every, levels, sensor.readings, sensor.blocks, slopes)
        limits: tuple[Limit, ...] = self.remembered.others[key]
        return limits

    def _level(
        self, sensor: DecidingSensor, number: int, correction_c: float, every: Placements
    ) -> tuple[LevelPart | None, Allowed | None]:
        """Level part and noise of one hold on a sensor; None where it is not there."""
        key = ("level", sensor.key, correction_c, number)
        if key not in self.remembered.others:
            placed, edges = every[number], placed_edges(every, number, sensor.readings)
            self.remembered.others[key] = (None, None)
            if placed is not None and edges is not None:
                allowed = self.allowed(sensor.readings, edges.enter_s, edges.leave_s, placed.hold)
                level = level_part(sensor.readings, placed.hold, edges, allowed.noise_c, self.slope(number))
                self.remembered.others[key] = (level, allowed)
        known: tuple[LevelPart | None, Allowed | None] = self.remembered.others[key]
        return known
