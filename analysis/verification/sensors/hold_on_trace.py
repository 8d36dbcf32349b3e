"""One hold on the readings of one sensor, with what measuring needs: level, noise, limits, the chamber's."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.holds.placed_sensors import DecidingSensor, PlacedRun, placed_for
from soakwitness.analysis.verification.inputs.readings import GAP_PERIODS, Readings, noise
from soakwitness.analysis.verification.measuring.intervals import Allowed
from soakwitness.analysis.verification.measuring.overshoot import LevelPart, level_part
from soakwitness.analysis.verification.measuring.too_hot import Limit, limits_of
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.extents import chamber_leaves_s, extent_of
from soakwitness.analysis.verification.rules.placed_edges import Placements, placed_edges
from soakwitness.analysis.verification.rules.places import Placed
from soakwitness.analysis.verification.rules.states import ROOM_C, slope_reference
from soakwitness.analysis.verification.sensors.furnace_rates import fastest_of

SPARE = 1.2  # rates over half a minute are a little below the fastest at any moment


@dataclass(frozen=True)
class HoldAtChamber:
    """The same hold at the chamber, by its calibration where that speaks; for a hold on any sensor.

    ``edges`` are those of its stays where it never was in the band (``inside_band`` False), None where the chamber has
    no such hold. ``leaves_s`` [s] is when it left a hold that another sensor tells; ``climbs_on``: a hotter one comes
    after it; ``lost``: the sensor stopped reading within the hold, while the chamber was read on.
    """

    edges: Edges | None
    inside_band: bool
    leaves_s: float | None
    climbs_on: bool
    lost: bool


@dataclass(frozen=True)
class HoldOnTrace:
    """One hold on the readings of one sensor, ``correction_c`` [K] taken off its temperatures so that both compare.

    ``hold`` is as the sensor should show it, ``edges`` those of its stays where it never was in the band
    (``inside_band`` False). ``limit_s`` and ``begin_s`` are where the next and this one begin [s]; ``began`` and
    ``ended`` whether both lie on record; ``slope_c_per_h`` [K/h] is the slope that still is level there.
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
    slope_c_per_h: float
    limits: tuple[Limit, ...]
    limit_s: float
    begin_s: float
    began: bool
    ended: bool
    chamber: HoldAtChamber

    @property
    def trace(self) -> Readings:
        """The sensor's readings."""
        return self.sensor.readings


class HoldsOnTraces:
    """Finds the holds of one run on the readings of its sensors; what was found for one sensor and correction stays."""

    def __init__(self, placed: PlacedRun) -> None:
        self._placed, self._recipe, self._chamber = placed, placed.recipe, placed.chamber
        self._rates = fastest_of(sensor.blocks for sensor in (placed.chamber, *placed.loads))
        resolution_c = placed.chamber.readings.resolution_c
        self._slopes = [slope_reference(placed.recipe, n, resolution_c) for n in range(len(placed.recipe.holds))]
        self._found: dict[tuple[object, int, float], HoldOnTrace | None] = {}
        self._limits: dict[tuple[object, float], tuple[Limit, ...]] = {}
        self._levels: dict[tuple[object, float, int], tuple[LevelPart, Allowed] | None] = {}

    def on(
        self, sensor: DecidingSensor, number: int, correction_c: float, *, lapsed: bool = False
    ) -> HoldOnTrace | None:
        """One hold on a sensor, with a correction in force or overdue [K]; None where it is not there."""
        key = (sensor.key, number, correction_c)
        if key not in self._found:
            every = placed_for(sensor, corrected=correction_c != 0.0, lapsed=lapsed)
            self._found[key] = self._on(sensor, number, correction_c, every)
        return self._found[key]

    def _on(self, sensor: DecidingSensor, number: int, correction_c: float, every: Placements) -> HoldOnTrace | None:
        placed, trace = every[number], sensor.readings
        level = self._level(sensor, number, correction_c, every)
        if placed is None or level is None:
            return None
        edges = placed_edges(every, number, trace)
        assert edges is not None
        begin, limit = extent_of(every, number, trace, edges, self._chamber.first_s)
        return HoldOnTrace(
            number,
            placed.hold,
            correction_c,
            sensor,
            placed,
            edges,
            inside_band=placed.edges is not None,
            level=level[0],
            allowed=level[1],
            slope_c_per_h=self._slopes[number],
            limits=self.limits(sensor, correction_c, every),
            limit_s=limit,
            begin_s=begin,
            # inside the band from the moment the hold before was left: what came before is on record
            began=edges.entered or edges.enter_s > float(trace.t_s[0]),
            ended=edges.left,
            chamber=self._at_chamber(sensor, placed.hold, number, ended=edges.left),
        )

    def _at_chamber(self, sensor: DecidingSensor, hold: Hold, number: int, *, ended: bool) -> HoldAtChamber:
        chamber, itself = self._chamber, sensor is self._chamber
        placed = chamber.placed_true[number] or chamber.placed[number]
        edges, leaves_s = None, None
        if placed is not None:
            edges = placed.edges or Edges(placed.stays[0].start_s, placed.stays[-1].end_s)
        if not itself:
            leaves_s = chamber_leaves_s(placed, chamber_last_s=chamber.last_s, load_last_s=sensor.last_s)
        return HoldAtChamber(
            edges,
            inside_band=placed is not None and placed.edges is not None,
            leaves_s=leaves_s,
            climbs_on=any(p is not None and p.hold.target_c > hold.target_c for p in chamber.placed[number + 1 :]),
            lost=not itself and not ended and chamber.last_s - sensor.last_s > GAP_PERIODS * chamber.readings.period_s,
        )

    def limits(self, sensor: DecidingSensor, correction_c: float, every: Placements) -> tuple[Limit, ...]:
        """The limit at each moment of a sensor's readings, with a correction [K]."""
        key = (sensor.key, correction_c)
        if key not in self._limits:
            holds = [p.hold if p is not None else h for p, h in zip(every, self._recipe.holds, strict=True)]
            both = [self._level(sensor, n, correction_c, every) for n in range(len(every))]
            levels = [found[0] if found is not None else None for found in both]
            self._limits[key] = limits_of(holds, every, levels, sensor.readings, sensor.blocks, self._slopes)
        return self._limits[key]

    def _level(
        self, sensor: DecidingSensor, number: int, correction_c: float, every: Placements
    ) -> tuple[LevelPart, Allowed] | None:
        """Level part and noise of one hold on a sensor; None where it is not there."""
        key = (sensor.key, correction_c, number)
        if key not in self._levels:
            placed, edges = every[number], placed_edges(every, number, sensor.readings)
            self._levels[key] = None
            if placed is not None and edges is not None:
                allowed = self.allowed(sensor.readings, edges.enter_s, edges.leave_s, placed.hold)
                level = level_part(sensor.readings, placed.hold, edges, allowed.noise_c, self._slopes[number])
                self._levels[key] = level, allowed
        return self._levels[key]

    def allowed(self, readings: Readings, start_s: float, end_s: float, hold: Hold) -> Allowed:
        """What the readings of a hold's stretch [s] cannot show."""
        width = hold.below_c + hold.above_c
        near = None if hold.judge_by == "mean" else (hold.lower_c - width, hold.upper_c + width)
        low, high = readings.between(start_s, end_s)
        hottest = float(readings.temp_c[low:high].max(initial=0.0))
        cooling = SPARE * max(self._rates.cooling_c_per_s, self._rates.loss_per_s * (hottest - ROOM_C))
        return Allowed(
            noise(readings, start_s, end_s, near),
            SPARE * self._rates.heating_c_per_s,
            cooling,
            self._placed.read.uncertain,
        )
