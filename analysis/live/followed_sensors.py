"""One sensor as the soak clock follows it: its readings sifted and kept, and the holds that they show. No numpy."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.live.searching import Search
from soakwitness.analysis.live.sifting import Sifter
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.verification.rules.level_parts import LevelPart, level_part
from soakwitness.analysis.verification.rules.limits import Limit, limits_of
from soakwitness.analysis.verification.rules.placed_edges import placed_edges
from soakwitness.analysis.verification.rules.places import Places, places_again, places_of
from soakwitness.analysis.verification.rules.states import slope_reference
from soakwitness.firmware_bridge.common.chamber import Seen

STEP_C = 0.1  # of a reading, where nothing is said of it


@dataclass(frozen=True)
class LiveSensor:
    """What is known of a sensor beside its readings.

    ``thickness_mm`` is that of a load sensor's dummy, ``resolution_c`` [K] the step of a reading. ``added_c`` [K] is
    what its calibration says to add at each hold, ``reach_c`` [K] how far beside its band a level may lie and still be
    a hold, as ``SensorErrors.reach_c`` says; ``place_c`` [K] is the part of ``added_c`` for the work's place.
    """

    name: str
    role: str
    thickness_mm: float | None = None
    resolution_c: float | None = None
    added_c: tuple[float, ...] = ()
    reach_c: float = 0.0
    place_c: tuple[float, ...] = ()

    def as_shown(self, recipe: Recipe) -> Recipe:
        """The recipe as this sensor should show it."""
        if not any(self.added_c):
            return recipe
        added = dict(zip((hold.number for hold in recipe.holds), self.added_c, strict=True))
        steps = (replace(s, target_c=s.target_c - added[s.number]) if isinstance(s, Hold) else s for s in recipe.steps)
        return replace(recipe, steps=tuple(steps))

    def added_at(self, number: int) -> float:
        """What to add to its readings at a hold [K], by the hold's place among them."""
        return self.added_c[number] if self.added_c else 0.0


class FollowedSensor:
    """One sensor followed through a run.

    ``turns`` counts how often its past turned out other than it was; ``every_s`` [s] is the distance of readings.
    """

    def __init__(self, sensor: LiveSensor, recipe: Recipe, *, every_s: float) -> None:
        self.sensor, self.recipe, self._every_s = sensor, sensor.as_shown(recipe), every_s
        self.kept = KeptReadings(every_s=every_s, resolution_c=sensor.resolution_c or STEP_C)
        self.sifter = Sifter(sensor.role, self.kept, every_s=every_s)
        self.turns = 0
        self._search: Search | None = None
        self._count, self._gaps_s, self._first_s, self._highest_c = 0, 0.0, 0.0, -math.inf

    def take(self, t_s: float, temp_c: float | None, signals: dict[str, float]) -> bool:
        """Take one reading [degC], None where it is missing; whether any is believed now."""
        sifted = self.sifter.take(t_s, temp_c, signals)
        for start_s, end_s in sifted.dropped:
            self.kept.drop(start_s, end_s)
            self.turns += 1
        if sifted.dropped and self._search is not None:
            self._search.begin_again(self.kept)
        for at_s, at_c in sifted.rows:
            self.kept.add(at_s, at_c)
            if self._search is not None:
                self._search.add(at_s, at_c)
        return bool(sifted.rows)

    def begin_at(self, since_s: float) -> None:
        """Forget what was before a moment [s]: another heat."""
        self.kept.drop(-math.inf, math.nextafter(since_s, -math.inf))
        self.turns += 1
        if self._search is not None:
            self._search.begin_again(self.kept)

    @property
    def last_s(self) -> float:
        """Its last reading [s]; -inf before the first."""
        return self.kept.t_s[-1] if len(self.kept) else -math.inf

    def seen(self) -> Seen:
        """How it was read so far."""
        kept = self.kept
        if not len(kept):
            return Seen(0, 0.0, 0.0, 0.0, 0.0, 0.0)
        return Seen(kept.count, kept.t_s[0], kept.t_s[-1], kept.gaps_s, kept.temp_c[-1], kept.highest_c)

    def searched(self) -> Search:
        """The search through its readings, begun where it was not asked for yet."""
        if self._search is None:
            self._search = Search(self.recipe, period_s=self._every_s, resolution_c=self.kept.resolution_c)
            self._search.begin_again(self.kept)
        elif self._search.full:
            self._search.begin_again(self.kept, longer=True)
        return self._search

    def forget_search(self) -> None:
        """It speaks for the chamber no more."""
        self._search = None

    def places(self) -> Places:
        """The holds on its readings so far."""
        if not self.recipe.holds or not len(self.kept):
            return (None,) * len(self.recipe.holds)
        search = self.searched()
        return places_of(self.kept, self.recipe, search.assignment(), search, reach_c=self.sensor.reach_c)

    def places_in(self, chamber: Places, chamber_last_s: float) -> Places:
        """The chamber's holds on a load sensor."""
        return places_again(self.kept, self.recipe, chamber, chamber_last_s, self.places)


class OnSensor:
    """The holds of a recipe on one sensor at one moment, with what is asked of them now and then."""

    def __init__(self, followed: FollowedSensor, places: Places) -> None:
        self.followed, self.places = followed, places
        self._levels: dict[int, LevelPart] = {}
        self._noises: dict[int, float] = {}
        self._limits: tuple[Limit, ...] | None = None

    @property
    def holds(self) -> tuple[Hold, ...]:
        """The holds as the sensor should show them."""
        return self.followed.recipe.holds

    def slope(self, number: int) -> float:
        """Slope that still is level at a hold [K/h]."""
        return slope_reference(self.followed.recipe, number, self.followed.kept.resolution_c)

    def noise_c(self, number: int) -> float:
        """How far a reading in a hold may lie from the temperature it stands for [K]."""
        if number not in self._noises:
            hold, edges = self.holds[number], placed_edges(self.places, number, self.followed.kept)
            width = hold.below_c + hold.above_c
            near = None if hold.judge_by == "mean" else (hold.lower_c - width, hold.upper_c + width)
            between = (-math.inf, math.inf) if edges is None else (edges.enter_s, edges.leave_s)
            self._noises[number] = self.followed.kept.noise_c(*between, near)
        return self._noises[number]

    def level(self, number: int) -> LevelPart | None:
        """Level part of a hold; None where it is not there."""
        if number not in self._levels:
            edges = placed_edges(self.places, number, self.followed.kept)
            if edges is None:
                return None
            noise, slope = self.noise_c(number), self.slope(number)
            self._levels[number] = level_part(self.followed.kept, self.holds[number], edges, noise, slope)
        return self._levels[number]

    def limits(self) -> tuple[Limit, ...]:
        """The limit at each moment."""
        if self._limits is None:
            numbers = range(len(self.holds))
            levels, slopes = [self.level(n) for n in numbers], [self.slope(n) for n in numbers]
            search = self.followed.searched()
            self._limits = limits_of(self.holds, self.places, levels, self.followed.kept, search, slopes)
        return self._limits
