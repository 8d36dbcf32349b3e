"""A shop over many days in coarse steps: a small furnace and what else warms it, with the truth written down.

Two thermal nodes (chamber with what the sensor sees, bricks) and a controller that follows a program; the shed's air
has its day, sun on the wall, a space heater. Nothing here is shared with the decision logic it tests.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

DAY_S = 86_400
INNER_S = 10.0


@dataclass(frozen=True)
class ShedReading:
    """What the instrument shows."""

    t_s: float
    temp_c: float
    setpoint_c: float
    output: float


@dataclass
class Heat:
    """One heating: program as (rate C/h or 0 for full power, target, hold s)."""

    start_s: float
    program: tuple[tuple[float, float, float], ...]
    door_s: tuple[float, ...] = ()  # after the start
    start_c: float = 0.0
    end_s: float = 0.0
    peak_c: float = 0.0


@dataclass
class Truth:
    """Heatings as they happened, and false occasions."""

    heats: list[Heat] = field(default_factory=list)
    doors_s: list[tuple[float, float]] = field(default_factory=list)


HARDEN = ((0.0, 790.0, 600.0), (400.0, 1065.0, 1500.0))
TEMPER = ((0.0, 180.0, 7200.0),)
TEMPER_SLOW = ((90.0, 180.0, 7200.0),)
STRESS = ((150.0, 650.0, 3600.0),)
ANNEAL = ((50.0, 740.0, 7200.0),)
PROGRAMS = (HARDEN, HARDEN, TEMPER, TEMPER, TEMPER_SLOW, STRESS, ANNEAL)


def plan(days: int, chance: random.Random) -> Truth:
    """0 to 3 heatings a day, and a door left open now and then."""
    truth = Truth()
    free_s = 0.0
    for day in range(days):
        for _ in range(chance.choice((0, 0, 1, 1, 2, 3))):
            start_s = max(day * DAY_S + chance.uniform(5, 20) * 3600, free_s)
            if start_s > (day + 1) * DAY_S:
                break
            program = chance.choice(PROGRAMS)
            doors = tuple(chance.uniform(600, 9000) for _ in range(chance.choice((0, 0, 1, 3))))
            truth.heats.append(Heat(start_s, program, doors))
            free_s = start_s + _length_s(program) + chance.choice((1200.0, 4 * 3600.0, 12 * 3600.0))
        if chance.random() < 0.3:
            start_s = day * DAY_S + chance.uniform(0, 24) * 3600
            truth.doors_s.append((start_s, start_s + chance.uniform(60, 5400)))
    return truth


def _length_s(program: tuple[tuple[float, float, float], ...]) -> float:
    total, at_c = 0.0, 20.0
    for rate, target, hold_s in program:
        total += (target - at_c) / (rate or 1200.0) * 3600 + hold_s
        at_c = target
    return total


def live(truth: Truth, days: int, chance: random.Random, *, step_s: float, resolution: float) -> Iterator[ShedReading]:
    """Readings step by step; fills in each heating's end and peak.

    Nobody starts a program while the furnace is hotter than its first target: the start waits until it is cooler.
    """
    air, brick = 18.0, 18.0
    heats = iter(truth.heats)
    heat: Heat | None = next(heats, None)
    run: _Running | None = None
    doors = _Doors(truth.doors_s)
    for step in range(round(days * DAY_S / step_s)):
        t_s = step * step_s
        ambient = _ambient(t_s, days)
        if heat is not None and run is None and t_s >= heat.start_s and air < heat.program[0][1] - 30:
            heat.start_s, heat.start_c = t_s, air
            run = _Running(heat, air)
        door = run.door(t_s) if run is not None else doors.open(t_s)
        setpoint, power = 20.0, 0.0
        for inner in range(round(step_s / INNER_S)):
            if run is not None and not run.over:
                setpoint, power = run.ask(t_s + inner * INNER_S, air)
            air, brick = _heat(air, brick, ambient + _sun(t_s), power, door, INNER_S)
        if run is not None and heat is not None:
            heat.peak_c = max(heat.peak_c, air)
            if run.over:
                heat.end_s = t_s
                heat, run = next(heats, None), None
        shown = round((air + chance.gauss(0, 0.3)) / resolution) * resolution
        yield ShedReading(t_s, shown, round(setpoint, 1), round(100 * power, 1))


def _ambient(t_s: float, days: int) -> float:
    """Air of the shed: the year, the day, and a space heater on winter mornings."""
    year = 12 - 10 * math.cos(2 * math.pi * t_s / (DAY_S * max(days, 1)))
    day = 5 * math.sin(2 * math.pi * (t_s / DAY_S - 0.4))
    hour = t_s % DAY_S / 3600
    heater = 14.0 * min(1.0, (hour - 7) * 1.2) if year < 12 and 7 <= hour < 12 else 0.0
    return year + day + max(heater, 0.0)


def _sun(t_s: float) -> float:
    """Sun that falls right on the furnace for two hours every third day."""
    hour = t_s % DAY_S / 3600
    return 18.0 if int(t_s / DAY_S) % 3 == 0 and 14 <= hour < 16 else 0.0


def _heat(air: float, brick: float, ambient: float, power: float, door: bool, step_s: float) -> tuple[float, float]:
    """Element 2.9 kW into the chamber node; bricks follow; the door lets the chamber's heat out."""
    to_brick = 6.0 * (air - brick) + 5.67e-8 * 0.02 * ((air + 273) ** 4 - (brick + 273) ** 4)
    out = 0.9 * (brick - ambient)
    through_door = (40.0 * (air - ambient)) if door else 0.0
    air += (2900.0 * power - to_brick - through_door) / 2600.0 * step_s
    brick += (to_brick - out) / 6500.0 * step_s
    return max(air, ambient - 5), brick


class _Doors:
    def __init__(self, spans: list[tuple[float, float]]) -> None:
        self._spans = sorted(spans)
        self._at = 0

    def open(self, t_s: float) -> bool:
        while self._at < len(self._spans) and self._spans[self._at][1] < t_s:
            self._at += 1
        return self._at < len(self._spans) and self._spans[self._at][0] <= t_s


class _Running:
    """The controller follows the program and waits at each hold until it is reached."""

    def __init__(self, heat: Heat, temp_c: float) -> None:
        self._heat = heat
        self._setpoint = temp_c
        self._before_s = heat.start_s
        self._step = 0
        self._held_s = 0.0
        self._sum = 0.0
        self.over = False

    def door(self, t_s: float) -> bool:
        """Whether someone looks in: for one step."""
        return any(0 <= t_s - self._heat.start_s - at_s < 30 for at_s in self._heat.door_s)

    def ask(self, t_s: float, temp_c: float) -> tuple[float, float]:
        step_s, self._before_s = t_s - self._before_s, t_s
        rate, target, hold_s = self._heat.program[self._step]
        self._setpoint = target if rate == 0 else min(target, self._setpoint + rate / 3600 * step_s)
        if temp_c >= target - 5:
            self._held_s += step_s
        if self._held_s >= hold_s:
            self._step, self._held_s = self._step + 1, 0.0
            self.over = self._step == len(self._heat.program)
        error = self._setpoint - temp_c
        self._sum = min(1.0, max(0.0, self._sum + error * step_s / 12_000))
        return self._setpoint, min(1.0, max(0.0, error / 20 + self._sum))
