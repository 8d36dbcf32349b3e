"""How a run stands at one moment: the holds on its sensors, and every lot's soak and heat in them. No numpy.

The rules are those of the verification, asked with no sensor error and without what only a record's end can tell.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from soakwitness.analysis.live.clock_charges import Lot
from soakwitness.analysis.live.counting import Count, count_soak
from soakwitness.analysis.live.followed_sensors import OnSensor
from soakwitness.analysis.live.held_heat import HeldHeat, highest_held, too_hot
from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.live.state import RecipeFault, Source
from soakwitness.analysis.live.track import Track
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.verification.inputs.stays import speaks_for, stays_in_hold
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.extents import as_slow, begins_s, chamber_leaves_s, extent_of, lies_outside
from soakwitness.analysis.verification.rules.level_parts import level_part
from soakwitness.analysis.verification.rules.placed_edges import placed_edges
from soakwitness.analysis.verification.rules.windows import Window, window_limits
from soakwitness.firmware_bridge.marks.charges import PieceStay

LASTS_S = 1800.0  # after a hold was left: then no reading to come changes its figures
Remembered = dict[tuple[object, ...], "Figures"]


@dataclass(frozen=True)
class LotTemperature:
    """Work temperature of a lot in one hold, by one sensor or estimate; ``slow`` is a slow packet's, else the same."""

    source: Source
    on: OnSensor
    best: KeptReadings
    slow: KeptReadings
    track: Track | None = None

    @property
    def measured(self) -> bool:
        """Whether it was measured, not estimated."""
        return self.track is None


@dataclass(frozen=True)
class Figures:
    """A lot in one hold by one work temperature."""

    count: Count
    slow: Count
    heat: HeldHeat | None = None
    over_c: float | None = None  # what a stated overshoot is exceeded by [K]
    level_c: float | None = None  # a level above the band [degC], as is known of the sensor
    ended: bool = False  # the hold was left, or the lot pulled


class Standing:
    """The holds on every sensor at one moment, and the figures of the lots in them.

    ``remembered`` keeps from one moment to the next what no reading changes any more.
    """

    def __init__(
        self,
        recipe: Recipe,
        chamber: OnSensor,
        loads: Sequence[OnSensor],
        lots: Sequence[Lot],
        stays: Sequence[PieceStay],
        track_of: Callable[[Lot], Track | None],
        remembered: Remembered,
    ) -> None:
        self._recipe, self.chamber, self._loads, self.lots, self._stays = recipe, chamber, tuple(loads), lots, stays
        self._track_of, self._remembered = track_of, remembered
        self._figures: dict[tuple[Lot, int], list[tuple[LotTemperature, Figures]]] = {}

    @property
    def _course(self) -> KeptReadings:
        return self.chamber.followed.kept

    def edges(self, number: int) -> Edges | None:
        """Where the chamber's hold is; None where it has none yet."""
        return placed_edges(self.chamber.places, number, self._course)

    def chamber_count(self, number: int) -> Count:
        """Soak of the chamber itself in a hold."""
        return self._count(self._control(), number, -math.inf, None)[0]

    def _control(self) -> LotTemperature:
        course = self._course
        source: Source = "load" if self.chamber.followed.sensor.role == "load" else "control"
        return LotTemperature(source, self.chamber, course, course)

    def works(self, lot: Lot, number: int) -> list[LotTemperature]:
        """Work temperatures of a lot in one hold, as the verification chooses them."""
        if self._recipe.holds[number].soak_from == "control":
            return [self._control()]
        since_s = begins_s(self.chamber.places[number], self._course.t_s[0])
        fit = [one for one in self._loads if speaks_for(one.followed.sensor.thickness_mm, lot.thickness_mm)]
        if not lot.rides:
            fit = [one for one in fit if not lies_outside(one.followed.kept, self._course, lot.load_s)]
        there = [one for one in fit if one.followed.last_s > since_s]
        works = [LotTemperature("load", one, one.followed.kept, one.followed.kept) for one in there]
        lost = [one for one in fit if one.followed.last_s <= since_s]
        if there and all(any(as_slow(a.followed.kept, b.followed.kept) for a in there) for b in lost):
            return works
        track = self._track_of(lot)
        if track is None:
            return [*works, self._control()]
        return [*works, LotTemperature("packet estimate", self.chamber, track.best, track.slow, track)]

    def figures(self, lot: Lot, number: int) -> list[tuple[LotTemperature, Figures]]:
        """A lot in one hold by each of its work temperatures."""
        if (lot, number) not in self._figures:
            self._figures[lot, number] = [(work, self._by(work, lot, number)) for work in self.works(lot, number)]
        return self._figures[lot, number]

    def deciding(self, lot: Lot, number: int) -> tuple[LotTemperature, Figures]:
        """The work temperature with the shortest soak, and its figures."""
        return min(self.figures(lot, number), key=lambda one: (one[1].count.longest_s, one[1].count.soak_s))

    def _by(self, work: LotTemperature, lot: Lot, number: int) -> Figures:
        key = self._key(work, lot, number)
        if key is None:
            return self._figured(work, lot, number)
        if key not in self._remembered:
            self._remembered[key] = self._figured(work, lot, number)
        return self._remembered[key]

    def _key(self, work: LotTemperature, lot: Lot, number: int) -> tuple[object, ...] | None:
        """What figures that stand go by; None while readings to come can change them."""
        edges = placed_edges(work.on.places, number, work.on.followed.kept)
        until_s = max((e.leave_s for e in (edges, self.edges(number)) if e is not None), default=math.inf)
        if edges is None or not edges.left or self._course.t_s[-1] < until_s + LASTS_S:
            return None
        around = [placed_edges(work.on.places, n, work.on.followed.kept) for n in range(len(self.chamber.places))]
        follows = next((e for e in around[number + 1 :] if e is not None), None)
        turns = work.on.followed.turns, self.chamber.followed.turns, self.chamber.followed.sensor.name
        last = follows is None  # what comes after the last hold can still be too hot
        return (
            None
            if last
            else (lot, number, work.source, work.on.followed.sensor.name, tuple(around[: number + 2]), turns)
        )

    def _count(
        self, work: LotTemperature, number: int, load_s: float, pull_s: float | None
    ) -> tuple[Count, Count, Window | None]:
        """Soak by the best and by the slow work temperature, and where it can lie."""
        on = work.on
        course, hold = on.followed.kept, on.holds[number]
        edges, level = placed_edges(on.places, number, course), on.level(number)
        if edges is None or level is None:
            return Count(), Count(), None
        begin_s, limit_s = extent_of(on.places, number, course, edges, self._course.t_s[0])
        leaves_s = None
        if on is not self.chamber:
            mine, chamber_last_s = self.chamber.places[number], self.chamber.followed.last_s
            leaves_s = chamber_leaves_s(mine, chamber_last_s=chamber_last_s, load_last_s=on.followed.last_s)
        leave_s = edges.leave_s
        placed = on.places[number]
        if leaves_s is not None and (placed is None or placed.edges is None):
            leave_s = max(leave_s, leaves_s)
        window = Window(
            start_s=max(begin_s, load_s),
            enter_s=edges.enter_s,
            level_start_s=level.start_s,
            level_end_s=level.end_s,
            leave_s=leave_s,
            limit_s=limit_s,
            from_above=edges.from_above,
            left_upward=edges.left_upward,
            pull_s=pull_s,
            edges_on=course,
            chamber_leaves_s=leaves_s,
            climbs_on=self._climbs_on(number),
        )
        noise = on.noise_c(number)

        def counted(work_c: KeptReadings) -> Count:
            if not len(work_c):
                return Count()
            follows = None if work.measured else {"low": work_c, "best": work_c, "high": work_c}
            start_s, end_s = window_limits(replace(window, follows=follows), hold, 0.0, "best", noise)  # type: ignore[arg-type]
            return count_soak(work_c, hold, start_s, end_s, noise)

        best = counted(work.best)
        return best, best if work.slow is work.best else counted(work.slow), window

    def _climbs_on(self, number: int) -> bool:
        """Whether a hotter hold was found after this one."""
        here = self.chamber.holds[number]
        after = zip(self.chamber.holds[number + 1 :], self.chamber.places[number + 1 :], strict=True)
        return any(placed is not None and hold.target_c > here.target_c for hold, placed in after)

    def _figured(self, work: LotTemperature, lot: Lot, number: int) -> Figures:
        load_s = lot.load_s if lot.load_s is not None else -math.inf
        best, slow, window = self._count(work, number, load_s, lot.pull_s)
        on, hold = work.on, work.on.holds[number]
        noise = on.noise_c(number)
        inside_s = load_s, lot.pull_s if lot.pull_s is not None else math.inf
        bare_s = hold.hot_s if work.source == "control" else None
        heat = None
        if len(work.best) and not (self._recipe.load == "hot" and lot.load_s is None):
            heat = too_hot(
                work.best,
                on.limits(),
                number,
                inside_s,
                bare_s=bare_s,
                noise_c=noise,
                lower_c=hold.lower_c,
            )
        if window is None:
            return Figures(best, slow, heat)
        ended = placed_edges(on.places, number, on.followed.kept)
        return Figures(
            best,
            slow,
            heat,
            over_c=self._over_c(work, number, inside_s, noise),
            level_c=self._level_above_c(work, number, noise),
            ended=bool(ended and ended.left) or lot.pull_s is not None,
        )

    def _over_c(self, work: LotTemperature, number: int, inside_s: tuple[float, float], noise_c: float) -> float | None:
        """What a stated overshoot is exceeded by [K], for sure; None where it is not."""
        hold, level = work.on.holds[number], work.on.level(number)
        if hold.max_overshoot_c is None or level is None:
            return None
        between = max(level.start_s, inside_s[0]), min(level.end_s, inside_s[1])
        held = highest_held(work.best, *work.best.between(*between), hold.target_c)
        over = None if held is None else held - hold.max_overshoot_c
        return None if over is None or over <= noise_c else over

    def _level_above_c(self, work: LotTemperature, number: int, noise_c: float) -> float | None:
        """The level of the work where it is above the band, beyond noise [degC]; None where it is not."""
        on, hold, level = work.on, work.on.holds[number], work.on.level(number)
        if level is None or on.places[number] is None:
            return None
        level_c = level.level_c
        if not work.measured:
            edges = Edges(level.start_s, max(level.end_s, level.start_s))
            if not len(work.best):
                return None
            level_c, noise_c = level_part(work.best, hold, edges, noise_c, on.slope(number)).level_c, 0.0
        return level_c + on.followed.sensor.added_at(number) if level_c - noise_c > hold.upper_c else None

    # What is wrong

    def asked(self, number: int) -> list[int]:
        """Which stays a hold is asked for, by their places."""
        edges, hold = self.edges(number), self._recipe.holds[number]
        if edges is None:
            return list(range(len(self._stays)))
        begin_s, _ = extent_of(self.chamber.places, number, self._course, edges, self._course.t_s[0])
        return stays_in_hold(self._stays, self._recipe, hold, begin_s, edges.leave_s)

    def troubles(self, lot: Lot, aim: int) -> tuple[RecipeFault, ...]:
        """What is wrong with a lot so far, hold by hold; a soak that still runs is not too short."""
        found: list[RecipeFault] = []
        for number, hold in enumerate(self._recipe.holds):
            asked = self.asked(number)
            if any(place in lot.places for place in asked):
                found += self._troubles_in(lot, number, hold, aim)
        return tuple(found)

    def _troubles_in(self, lot: Lot, number: int, hold: Hold, aim: int) -> list[RecipeFault]:
        many = [figures for _, figures in self.figures(lot, number)]
        found: list[RecipeFault] = []
        heats = [figures.heat for figures in many if figures.heat is not None]
        if heats:
            worst = max(heats, key=lambda heat: heat.by_c)
            found.append(RecipeFault("too hot", hold.number, by_c=worst.by_c, at_s=worst.at_s))
        over = [figures.over_c for figures in many if figures.over_c is not None]
        if over:
            found.append(RecipeFault("overshoot", hold.number, by_c=max(over)))
        if not hold.judged:
            return found
        levels = [figures.level_c for figures in many if figures.level_c is not None]
        if levels and not heats:
            found.append(RecipeFault("level", hold.number, by_c=max(levels) - hold.upper_c))
        if self.chamber.places[number] is None:
            later = any(placed is not None for placed in self.chamber.places[number + 1 :])
            return [*found, RecipeFault("missing", hold.number)] if later else found
        count = min((figures.count for figures in many), key=lambda count: count.longest_s)
        ended = all(figures.ended for figures in many) and number != aim
        if ended and count.longest_s < hold.required_s:
            found.append(RecipeFault("short", hold.number, had_s=count.longest_s, asked_s=hold.required_s))
        above_s = max(figures.count.above_s for figures in many)
        if number != aim and hold.at_most_s is not None and above_s > hold.at_most_s:
            found.append(RecipeFault("long", hold.number, had_s=above_s, asked_s=hold.at_most_s))
        return found
