"""The chamber as it is expected over a program: its likely course, and courses drawn within what is not known."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.packet.draws import uniform_set
from soakwitness.analysis.planning.furnace_known import ROOM_C, USUAL_MM, FurnaceKnown, UsualArrival
from soakwitness.analysis.recipes.recipe import Hold, Ramp

FloatArray = npt.NDArray[np.float64]
STEP_S = 10.0
CHAMBERS = 10  # drawn beside the likely one
NEAR_C = 3.0  # a controller that waits for the furnace counts from so near on
COOLING_C_PER_H = 500.0  # of a closed furnace, free: engineering guess
DIP_C = 100.0  # how far a cold load and its door pull the reading down: engineering guess
DIP_TO_C = 5.0  # when that is over, where no band says it
DIP_RISES_S = 20.0
HUMP_S = 150.0  # from the arrival to the top of an overshoot
# Of furnaces that nobody saw in a hold so many switch on and off and swing so much: engineering guesses, no source.
SWINGING, UNSEEN_SWING_C, UNSEEN_SWING_S = 0.3, 8.0, 150.0
OF_A_WAVE = 0.91  # a saw's nine tenths of the range, as arrivals have it, of a wave that has as much in nine tenths
DIMENSIONS = 7
GOLDEN = 0.618034  # multiples of it lie evenly within a whole one, however many they are
NARROW = 0.6  # of a band below its level: a sensor or a place further off could not hold it at all
LONGEST_RAMP_S = 48 * 3600.0


@dataclass(frozen=True)
class PossibleChamber:
    """One furnace within what is not known of it: ``climb`` is a factor on its rates, ``recovery_s`` the load's [s].

    ``settle``, ``overshoot`` and ``level`` say where it stands within the spread of those, in standard deviations;
    ``shifted_c`` is what its display is set off on purpose [K], ``reads_low_c`` what its sensor shows too little [K],
    ``place_c`` what the work's place is warmer than the sensor's [K], ``turn`` the share of a swing at which a slow
    ramp begins. ``unseen``: it swings, as a furnace may that nobody saw in a hold.
    """

    climb: float = 1.0
    settle: float = 0.0
    overshoot: float = 0.0
    level: float = 0.0
    recovery_s: float = 0.0
    shifted_c: float = 0.0
    reads_low_c: float = 0.0
    place_c: float = 0.0
    turn: float = 0.0
    unseen: bool = False

    def settle_s(self, usual: UsualArrival) -> float:
        """Time constant of the last degrees [s]."""
        return usual.settle.value * math.exp(usual.settle.spread * self.settle)

    def overshoot_c(self, usual: UsualArrival) -> float:
        """How far it goes over its level [K]."""
        return max(usual.overshoot.value + usual.overshoot.spread * self.overshoot, 0.0)

    def off_c(self, usual: UsualArrival) -> float:
        """How far it stands off what was set [K]."""
        return usual.level.value + usual.level.spread * self.level + self.shifted_c


@dataclass(frozen=True)
class Loading:
    """A cold load into the hot furnace: in which hold (its step; None: at a temperature on the way) and how late in it.

    ``after_s`` counts from when the chamber is within the hold's band [s]; ``steel_mm`` is the blades' thickness
    summed, ``below_c`` how far below its level the chamber is back [K].
    """

    step: int | None
    after_s: float = 0.0
    at_c: float | None = None
    steel_mm: float = USUAL_MM
    below_c: float = DIP_TO_C


@dataclass(frozen=True)
class ChamberCourse:
    """A chamber over a program [s, degC], as its display shows it. ``enters`` and ``begins`` map a hold's step to [s].

    It enters where it crosses into the band, and begins where a controller that waits begins to count. ``load_s`` is
    None for a load that was in from the start, ``reads_low_c`` what the display shows too little [K],
    ``place_c`` what the work's place is warmer than the sensor's [K]; ``swings``: it goes up and down in the last hold.
    """

    t_s: FloatArray
    temp_c: FloatArray
    enters: Mapping[int, float]
    begins: Mapping[int, float]
    load_s: float | None
    reads_low_c: float = 0.0
    place_c: float = 0.0
    swings: bool = False


def likely_chamber(known: FurnaceKnown, *, steel_mm: float = USUAL_MM) -> PossibleChamber:
    """The furnace with its middle figures."""
    return PossibleChamber(recovery_s=known.recovery_s(steel_mm))


def drawn_chambers(
    known: FurnaceKnown, *, error_c: float = 0.0, place_c: float = 0.0, steel_mm: float = USUAL_MM
) -> tuple[PossibleChamber, ...]:
    """Furnaces spread over what is not known, from a fixed low-discrepancy set.

    ``error_c``: standard deviation of what the sensor may read wrong though it was calibrated [K], ``place_c``: of what
    the work's place is off the sensor's [K].
    """
    inverse = NormalDist().inv_cdf
    made = []
    for number, row in enumerate(uniform_set(CHAMBERS, DIMENSIONS).tolist()):
        turn = number * GOLDEN % 1.0
        climb, settle, over, level, back, error, place = (inverse(u) for u in row)
        recovery_s = known.recovery_s(steel_mm) * math.exp(known.recovery.spread * back)
        made.append(
            PossibleChamber(
                math.exp(known.climb_spread * climb),
                settle,
                over,
                level,
                recovery_s,
                reads_low_c=error_c * error,
                place_c=place_c * place,
                turn=turn,
                unseen=not known.arrivals and turn > 1.0 - SWINGING,
            )
        )
    return tuple(made)


def course(
    steps: Sequence[Ramp | Hold],
    holds_s: Mapping[int, float],
    chamber: PossibleChamber,
    known: FurnaceKnown,
    loading: Loading | None,
    *,
    start_c: float = ROOM_C,
) -> ChamberCourse:
    """The chamber over steps, ``holds_s`` being how long each hold lasts from its begin [s], by its number."""
    made = _Making(chamber, known, loading, start_c)
    for place, step in enumerate(steps):
        following = steps[place + 1] if place + 1 < len(steps) else None
        if isinstance(step, Ramp):
            made.ramp(step, following if isinstance(following, Hold) else None)
        else:
            made.hold(step, holds_s[step.number])
    return made.course()


class _Making:
    """Steps on from one moment to the next."""

    def __init__(self, chamber: PossibleChamber, known: FurnaceKnown, loading: Loading | None, start_c: float) -> None:
        self._chamber, self._known, self._loading = chamber, known, loading
        self._temps = [start_c]
        self._enters: dict[int, float] = {}
        self._begins: dict[int, float] = {}
        self._holds: list[Hold] = []
        self._humps: list[tuple[float, float]] = []
        self._usual: dict[int, UsualArrival] = {}
        self._swings = [0.0]  # how far it is off its mean [K], beside the mean in ``_temps``
        self._phase: float | None = None  # where in a swing, None where it climbs as fast as it can
        self._load_s: float | None = None

    @property
    def _now_s(self) -> float:
        return (len(self._temps) - 1) * STEP_S

    def ramp(self, step: Ramp, hold: Hold | None) -> None:
        """On the way: no faster than asked, no faster than the furnace can, slower in the last degrees."""
        goal_c = step.to_c if hold is None else self._level_c(hold)
        begin_s, up = self._now_s, goal_c >= self._temps[-1]
        near_c = NEAR_C if hold is not None else 0.5
        while abs(goal_c - self._temps[-1]) > near_c and (goal_c > self._temps[-1]) == up:
            if self._now_s - begin_s > LONGEST_RAMP_S:
                break
            self._advance(goal_c, step.rate_c_per_h, hold)
            self._look(hold)

    def hold(self, step: Hold, lasts_s: float) -> None:
        """At a level, from its begin on."""
        self._begins[step.number] = self._now_s
        self._holds.append(step)
        self._look(step, at_last=True)
        usual = self._usually(step)
        swing_c = 0.0 if usual.swing_s is None else OF_A_WAVE * usual.swing_c
        self._humps.append((self._now_s, max(self._chamber.overshoot_c(usual) - swing_c, 0.0)))
        end_s = self._now_s + lasts_s
        while self._now_s < end_s:
            self._advance(self._level_c(step), None, step, holds=True)
            self._look(step)

    def course(self) -> ChamberCourse:
        """What came of it, with the humps after the arrivals and the dip at the load."""
        t_s: FloatArray = STEP_S * np.arange(len(self._temps), dtype=np.float64)
        temp_c = np.array(self._temps) + np.array(self._swings)
        for at_s, over_c in self._humps:
            since = np.maximum(t_s - at_s, 0.0) / HUMP_S
            temp_c += over_c * since * np.exp(1.0 - since)
        if self._load_s is not None:
            since = np.maximum(t_s - self._load_s, 0.0)
            below_c = DIP_TO_C if self._loading is None else self._loading.below_c
            back_s = max(self._chamber.recovery_s, 30.0) / math.log(DIP_C / below_c)
            temp_c -= DIP_C * np.exp(-since / back_s) * (1.0 - np.exp(-since / DIP_RISES_S))
        return ChamberCourse(
            t_s,
            temp_c,
            dict(self._enters),
            dict(self._begins),
            self._load_s,
            *self._off_c(),
            swings=self._phase is not None,
        )

    def _off_c(self) -> tuple[float, float]:
        """What the sensor shows too little, and the place is warmer [K]: never so much that no hold could be had."""
        wrong_c, place_c = self._chamber.reads_low_c, self._chamber.place_c
        together = wrong_c + place_c
        least_c = min((NARROW * hold.below_c for hold in self._holds), default=math.inf)
        share = min(1.0, least_c / -together) if together < 0.0 else 1.0
        return wrong_c * share, place_c * share

    def _usually(self, hold: Hold) -> UsualArrival:
        """How it arrives at a hold, and stands there."""
        if hold.number not in self._usual:
            usual = self._known.arrival_at(hold.target_c)
            unseen = replace(usual, swing_c=UNSEEN_SWING_C, swing_s=UNSEEN_SWING_S)
            self._usual[hold.number] = unseen if self._chamber.unseen else usual
        return self._usual[hold.number]

    def _level_c(self, hold: Hold) -> float:
        """Where the chamber stands in a hold: off what was set, never quite out of its band."""
        off = self._chamber.off_c(self._usually(hold))
        return hold.target_c + min(max(off, -0.8 * hold.below_c), 0.8 * hold.above_c)

    def _advance(self, goal_c: float, asked_c_per_h: float | None, hold: Hold | None, *, holds: bool = False) -> None:
        now_c = self._temps[-1]
        left_c = goal_c - now_c
        can = self._known.rate_c_per_h(now_c, self._chamber.climb) if left_c > 0.0 else COOLING_C_PER_H
        moved = min(can, asked_c_per_h or can) * STEP_S / 3600.0
        if hold is not None:
            settle_s = self._chamber.settle_s(self._usually(hold))
            moved = min(moved, abs(left_c) * (1.0 - math.exp(-STEP_S / max(settle_s, 1.0))))
        self._temps.append(now_c + math.copysign(min(moved, abs(left_c)), left_c))
        slow = left_c > 0.0 and (asked_c_per_h or can) < can
        self._swing(
            None if hold is None else self._usually(hold),
            on=holds or slow,
            begins=0.0 if holds else self._chamber.turn,
        )

    def _swing(self, usual: UsualArrival | None, *, on: bool, begins: float) -> None:
        """Up and down about its mean, in a hold and on a ramp slower than it can; ``begins``: at which share of it."""
        if usual is None or usual.swing_s is None or not on:
            self._phase = None
            self._swings.append(0.0)
            return
        self._phase = begins if self._phase is None else self._phase + STEP_S / usual.swing_s
        self._swings.append(OF_A_WAVE * usual.swing_c * math.sin(2.0 * math.pi * self._phase))

    def _look(self, hold: Hold | None, *, at_last: bool = False) -> None:
        """Note the first moment in a hold's band, and the load."""
        now_c = self._shown_c(-1)
        if (
            hold is not None
            and hold.number not in self._enters
            and (at_last or hold.lower_c <= now_c <= hold.upper_c or self._passed(hold))
        ):
            self._enters[hold.number] = self._now_s
        if self._loading is None or self._load_s is not None:
            return
        if self._loading.step is None:
            if now_c >= (self._loading.at_c or 0.0):
                self._load_s = self._now_s
        elif self._loading.step in self._enters:
            due_s = self._enters[self._loading.step] + self._loading.after_s
            if self._now_s >= due_s:
                self._load_s = self._now_s

    def _passed(self, hold: Hold) -> bool:
        return len(self._temps) > 1 and (self._shown_c(-2) < hold.lower_c) and self._shown_c(-1) > hold.upper_c

    def _shown_c(self, place: int) -> float:
        return self._temps[place] + self._swings[place]
