"""Odd furnaces over many days: walls in layers, slow kilns, ovens that switch, power cuts, doors, wrong readings.

Nothing here is shared with the decision logic that it tests. The wall is a slab in layers, so that bricks give their
heat back as bricks do: fast at first, then slower and slower. Constants are engineering guesses.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

DAY_S = 86_400.0
STEP_S = 15.0
SIGMA = 5.67e-8


@dataclass(frozen=True)
class Build:
    """One furnace: power [W], chamber [J/K], its walls in layers, and how its controller acts."""

    name: str
    power_w: float
    chamber_j_per_k: float
    area_m2: float
    layers: int
    layer_m: float
    k_w_per_m_k: float
    wall_j_per_m3_k: float
    switches: float = 0.0  # on/off, so many kelvins around the setpoint; 0: in proportion


SMALL = Build("small", 3000.0, 2600.0, 0.30, 5, 0.020, 0.20, 0.75e6)
KILN = Build("kiln", 5500.0, 9000.0, 0.9, 6, 0.025, 0.25, 0.9e6)
HEAVY = Build("heavy", 9000.0, 15000.0, 1.2, 6, 0.035, 0.40, 1.6e6)
OVEN = Build("oven", 2000.0, 3500.0, 0.8, 3, 0.020, 0.06, 0.12e6, switches=6.0)

Program = tuple[tuple[float, float, float], ...]  # (degC an hour, 0 for full power; degC; seconds held)
HARDEN: Program = ((0.0, 790.0, 600.0), (400.0, 1050.0, 1500.0))
STRESS: Program = ((150.0, 650.0, 3600.0),)
ANNEAL: Program = ((60.0, 740.0, 3600.0), (-45.0, 500.0, 1800.0))
SLOW_ANNEAL: Program = ((60.0, 760.0, 1800.0), (-30.0, 640.0, 3600.0))
SLOW_UP: Program = ((60.0, 700.0, 5400.0),)
TEMPERS: tuple[Program, ...] = tuple(((0.0, held_c, 7200.0),) for held_c in (75.0, 110.0, 150.0, 180.0))
SLOW_TEMPER: Program = ((60.0, 160.0, 7200.0),)

PROGRAMS: dict[str, tuple[Program, ...]] = {
    "small": (HARDEN, HARDEN, STRESS, *TEMPERS),
    "kiln": (ANNEAL, SLOW_ANNEAL, STRESS, SLOW_TEMPER),
    "heavy": (STRESS, SLOW_UP, SLOW_UP, SLOW_TEMPER),
    "oven": (*TEMPERS, SLOW_TEMPER),
}


@dataclass
class Heating:
    """What really happened. ``cut_s`` is a power cut: how long after its start, and how long."""

    program: Program
    start_s: float
    cut: tuple[float, float] | None = None
    cut_silences: bool = True
    end_s: float = math.inf
    start_c: float = 0.0
    coldest_in_cut_c: float = math.inf


@dataclass
class Days:
    """A furnace, how it is read, and what goes wrong. ``occasions`` are what must not become a run."""

    build: Build
    days: int
    seed: int
    every_s: float = 60.0
    resolution: float = 0.1
    signals: tuple[Literal["setpoint", "output"], ...] = ()
    control_is: Literal["well", "shorted"] = "well"
    longest_cut_s: float = 0.0
    interference: bool = True
    heatings: list[Heating] = field(default_factory=list)
    doors: list[tuple[float, float]] = field(default_factory=list)
    bursts: list[tuple[float, float, str]] = field(default_factory=list)


@dataclass(frozen=True)
class Seen:
    """One reading: nothing at all where the instrument is without power."""

    t_s: float
    control_c: float | None
    load_c: float | None
    setpoint_c: float | None
    output: float | None


class Furnace:
    """The physics."""

    def __init__(self, build: Build, room_c: float) -> None:
        self.build = build
        self.chamber = room_c
        self.wall = [room_c] * build.layers

    def step(self, power_w: float, room_c: float, *, door: bool) -> None:
        """Go on by one step."""
        b = self.build
        hot, face = self.chamber + 273.15, self.wall[0] + 273.15
        to_wall = b.area_m2 * (8.0 * (self.chamber - self.wall[0]) + 0.6 * SIGMA * (hot**4 - face**4))
        through = b.k_w_per_m_k * b.area_m2 / b.layer_m
        between = [through * (a - c) for a, c in zip(self.wall, self.wall[1:], strict=False)]
        out = b.area_m2 * 9.0 * (self.wall[-1] - room_c) / (1.0 + 9.0 * b.layer_m / b.k_w_per_m_k / 2)
        door_w = (12.0 * b.area_m2 * (self.chamber - room_c) + 0.08 * b.area_m2 * SIGMA * hot**4) if door else 0.0
        self.chamber += STEP_S * (power_w - to_wall - door_w) / b.chamber_j_per_k
        heat = b.area_m2 * b.layer_m * b.wall_j_per_m3_k
        for i in range(b.layers):
            into = to_wall if i == 0 else between[i - 1]
            away = out if i == b.layers - 1 else between[i]
            self.wall[i] += STEP_S * (into - away) / heat


class Controller:
    """Follows one program and waits at each hold until it is reached."""

    def __init__(self, heating: Heating, build: Build, start_c: float) -> None:
        self._program = heating.program
        self._build = build
        self.setpoint = start_c
        self._at = 0
        self._held_s = 0.0
        self._integral = 0.0
        self._on = False
        self.over = False

    def power(self, temp_c: float) -> float:
        """Share of the full power for the next step."""
        rate, target, hold_s = self._program[self._at]
        if rate == 0.0:
            self.setpoint = target
        elif rate > 0:
            self.setpoint = min(target, self.setpoint + rate * STEP_S / 3600, temp_c + 30.0 if rate > 0 else target)
        else:
            self.setpoint = max(target, self.setpoint + rate * STEP_S / 3600)
        near = abs(temp_c - target) <= 5.0 + self._build.switches
        self._held_s += STEP_S if near and self.setpoint == target else 0.0
        if self._held_s >= hold_s:
            self._at, self._held_s = self._at + 1, 0.0
            self.over = self._at == len(self._program)
        error = self.setpoint - temp_c
        if self._build.switches:
            self._on = error > (-1 if self._on else 1) * self._build.switches / 2
            return float(self._on)
        self._integral = min(1.0, max(0.0, self._integral + error * STEP_S / 20_000)) if abs(error) < 8 else 0.1
        return min(1.0, max(0.0, error / 25 + self._integral))


def plan(days: Days) -> None:
    """What is done on these days."""
    chance = random.Random(days.seed)
    free_s = 0.0
    for day in range(days.days):
        for _ in range(chance.choice((0, 1, 1, 2))):
            start_s = max(day * DAY_S + chance.uniform(5, 19) * 3600, free_s)
            if start_s > (day + 1) * DAY_S:
                break
            program = chance.choice(PROGRAMS[days.build.name])
            heating = Heating(program, start_s)
            if days.longest_cut_s and chance.random() < 0.4:
                heating.cut = (chance.uniform(900, length_s(program)), chance.uniform(300, days.longest_cut_s))
                heating.cut_silences = chance.random() < 0.5 or not days.signals
            days.heatings.append(heating)
            free_s = start_s + length_s(program) + chance.uniform(7, 16) * 3600
        if chance.random() < 0.5:
            start_s = day * DAY_S + chance.uniform(0, 24) * 3600
            days.doors.append((start_s, start_s + chance.choice((30.0, 120.0, 600.0, 1800.0, 5400.0))))
        if days.interference and chance.random() < 0.7:
            start_s = day * DAY_S + chance.uniform(0, 24) * 3600
            kind = chance.choice(("level", "wild", "offset", "single", "single"))
            lasts_s = days.every_s if kind == "single" else chance.choice((40.0, 120.0, 600.0))
            days.bursts.append((start_s, start_s + lasts_s, kind))


def length_s(program: Program) -> float:
    """Roughly how long a program lasts."""
    total, at_c = 0.0, 20.0
    for rate, target, hold_s in program:
        total += abs((target - at_c) / (rate or 1000.0)) * 3600 + hold_s
        at_c = target
    return total


def live(days: Days) -> Iterator[Seen]:
    """Live through the days; fills in when each heating really began and was over."""
    chance = random.Random(days.seed + 1)
    furnace = Furnace(days.build, 16.0)
    waiting = iter(days.heatings)
    heating: Heating | None = next(waiting, None)
    controller: Controller | None = None
    doors, cold_head = sorted(days.doors), 16.0
    every = round(days.every_s / STEP_S)
    for step in range(round(days.days * DAY_S / STEP_S)):
        t_s = step * STEP_S
        room_c = 16.0 + 6.0 * math.sin(2 * math.pi * (t_s / DAY_S - 0.4))
        due = controller is None and heating is not None and t_s >= heating.start_s
        if due and heating is not None and max(furnace.chamber, *furnace.wall) < heating.program[0][1] - 25:
            heating.start_s, heating.start_c = t_s, furnace.chamber
            controller = Controller(heating, days.build, furnace.chamber)
        while doors and doors[0][1] < t_s:
            doors.pop(0)
        door = bool(doors) and doors[0][0] <= t_s and controller is None
        cut = False
        share, setpoint_c = 0.0, 16.0
        if controller is not None and heating is not None:
            cut = heating.cut is not None and 0 <= t_s - heating.start_s - heating.cut[0] < heating.cut[1]
            if cut:
                heating.coldest_in_cut_c = min(heating.coldest_in_cut_c, furnace.chamber)
            else:
                share = controller.power(furnace.chamber)
            setpoint_c = controller.setpoint
            if controller.over:
                heating.end_s = t_s
                heating, controller = next(waiting, None), None
        furnace.step(share * days.build.power_w, room_c, door=door)
        cold_head += (room_c + 0.02 * (furnace.chamber - room_c) - cold_head) * STEP_S / 1800
        if step % every == 0:
            dead = cut and heating is not None and heating.cut_silences
            yield _seen(days, t_s, furnace.chamber, cold_head, (setpoint_c, 100 * share), chance, dead=dead)


def _seen(
    days: Days,
    t_s: float,
    chamber_c: float,
    room_c: float,
    controller: tuple[float, float],
    chance: random.Random,
    *,
    dead: bool,
) -> Seen:
    if dead:
        return Seen(t_s, None, None, None, None)
    control_c = (room_c if days.control_is == "shorted" else chamber_c) + chance.gauss(0, 0.3)
    for start_s, end_s, kind in days.bursts:
        if start_s <= t_s < max(end_s, start_s + days.every_s):
            control_c = {
                "level": 620.0, "single": 450.0, "wild": chance.uniform(0, 900), "offset": control_c + 60.0
            }[kind]  # fmt: skip
    return Seen(
        t_s,
        round(control_c / days.resolution) * days.resolution,
        round((chamber_c - 1.0 + chance.gauss(0, 0.3)) / days.resolution) * days.resolution,
        round(controller[0], 1) if "setpoint" in days.signals else None,
        round(controller[1], 0) if "output" in days.signals else None,
    )
