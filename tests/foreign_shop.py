"""A small workshop's day, drawn from a seed: a furnace with bricks, its controller, its mishaps, what is read of it.

The furnace is three bodies (the chamber's air and hot face, inner bricks, outer bricks) with a heater that has a limit.
The truth of a heating is from the first to the last moment its program makes the heater give a
good part of what the furnace loses.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from soakwitness.firmware_bridge.common import units

STEP_S = 5.0  # of the physics; the hot face's own time constant is a minute and more
ROOM_C = 18.0
WORKS = 0.3  # of what the furnace loses at its temperature: where the heater gives less, the fall is nearly its own

Cut = Literal["dark", "heater", "controller"]  # instrument off too; heater alone; the controller off, instrument on


@dataclass(frozen=True)
class Step:
    """One line of a program: go to ``to_c`` at ``rate`` [degC/h], stay there for ``hold_s``."""

    to_c: float
    rate: float
    hold_s: float


@dataclass
class Program:
    """A program, how long after the one before it is started, and what befalls it."""

    name: str
    steps: list[Step]
    pause_s: float
    cut_at_s: float = math.inf
    cut_s: float = 0.0
    cut: Cut = "dark"
    doors_s: list[tuple[float, float]] = field(default_factory=list)  # after its start, for so long
    cooled_s: tuple[float, float] | None = None  # door open after its end: from, for
    on_s: float | None = None
    off_s: float = 0.0
    coldest_in_cut_c: float = math.inf
    over_s: float = math.inf  # its end; the heater may rest long before
    shut_s: float = math.inf  # the door's last shutting after it, else its end
    worked_s: float = 0.0
    longest_rest_s: float = 0.0  # between two moments at which the heater worked


@dataclass(frozen=True)
class Oven:
    """Conductances [kW/K], heat capacities [kJ/K], the heater's limit [kW]."""

    power: float
    face: float
    between: float
    outward: float
    c_face: float
    c_inner: float
    c_outer: float

    @property
    def loss(self) -> float:
        """Of the walls as a whole, in steady heat [kW/K]."""
        return 1.0 / (1.0 / self.face + 1.0 / self.between + 1.0 / self.outward)


@dataclass
class Day:
    """One seed's day."""

    seed: int
    every_s: float
    unit: str
    oven: Oven
    programs: list[Program]
    sensors: tuple[str, ...]
    signals: tuple[str, ...]
    broken: str | None
    noise_c: float
    decimals: int
    warm_c: float
    resting_setpoint: Literal["zero", "room", "last"]
    load_lag_s: float
    load_lies_outside: bool
    wild: int
    plateau: bool
    burst: bool
    sun_c: float

    def __str__(self) -> str:
        programs = "; ".join(
            f"{p.name}{f' {p.cut} cut {p.cut_s / 60:.0f} min' if p.cut_s else ''}" for p in self.programs
        )
        return (
            f"every {self.every_s:g} s, {'+'.join(self.sensors)}, {'+'.join(self.signals) or 'no signals'}, "
            f"{f'control {self.broken}, ' if self.broken else ''}from {self.warm_c:.0f} C: {programs}"
        )


@dataclass(frozen=True)
class Moment:
    """The furnace at one step: what is true, before any sensor's fault."""

    chamber_c: float
    load_c: float
    limiter_c: float
    room_c: float
    setpoint_c: float
    output: float
    dark: bool = False
    controller: bool = True


def an_oven(rng: random.Random, kind: str) -> Oven:
    """Power 1 to 8 kW of which 1100 degC needs 35 to 65 %; the inner bricks' time constant says what it is."""
    hours = {"forge": (0.7, 2.5), "kiln": (4.0, 9.0), "never cold": (9.0, 16.0)}[kind]
    power = rng.uniform(1.0, 8.0)
    loss = rng.uniform(0.35, 0.65) * power / 1100.0
    face, between = loss / rng.uniform(0.05, 0.12), loss / rng.uniform(0.4, 0.55)
    outward = 1.0 / (1.0 / loss - 1.0 / face - 1.0 / between)
    inner_s, outer_s = rng.uniform(*hours) * 3600.0, rng.uniform(*hours) * 3600.0 * rng.uniform(0.6, 1.5)
    c_inner = inner_s / (1.0 / between + 1.0 / outward)
    return Oven(power, face, between, outward, rng.uniform(60.0, 200.0) * face, c_inner, outer_s * outward)


def a_program(rng: random.Random, kind: str) -> Program:
    """Hardening, a temper, or a slow firing with controlled cooling."""
    what = rng.choice(["harden", "temper", "temper", "slow"] if kind != "never cold" else ["temper", "temper", "slow"])
    hold_s = rng.uniform(0.4, 3.0) * 3600.0
    if what == "temper":
        to_c = rng.uniform(75.0, 180.0)
        steps = [Step(to_c, rng.choice([60.0, 200.0, 600.0, 9999.0]), hold_s)]
    elif what == "harden":
        to_c = rng.uniform(780.0, 1100.0)
        steps = [Step(to_c - rng.uniform(100, 300), rng.choice([300.0, 800.0, 9999.0]), rng.uniform(0, 1200))]
        steps.append(Step(to_c, rng.choice([200.0, 600.0, 9999.0]), rng.uniform(300, 3600)))
    else:
        to_c = rng.uniform(400.0, 850.0) if kind != "never cold" else rng.uniform(300.0, 650.0)
        steps = [Step(to_c, 60.0, hold_s), Step(to_c - rng.uniform(80, 250), rng.uniform(20, 60), 0.0)]
    program = Program(f"{what} {to_c:.0f}", steps, rng.uniform(0.5, 9.0) * 3600.0)
    if rng.random() < 0.45:
        program.cut_at_s = rng.uniform(0.1, 2.5 if what != "slow" else 12.0) * 3600.0
        program.cut_s = rng.choice([rng.uniform(20, 600), rng.uniform(600, 4 * 3600)])
        program.cut = rng.choice(["dark", "heater", "controller"])
    for _ in range(rng.choice([0, 0, 1, 3])):
        program.doors_s.append((rng.uniform(0.2, 5.0) * 3600.0, rng.uniform(20, 240)))
    if rng.random() < 0.5:
        program.cooled_s = (rng.uniform(0.1, 2.5) * 3600.0, rng.uniform(1, 60) * 60.0)
    return program


def a_day(seed: int) -> Day:
    """Draw a workshop and what happens in it."""
    rng = random.Random(f"foreign day {seed}")
    kind = rng.choice(["forge", "forge", "kiln", "never cold"])
    sensors = tuple(["control", *(name for name in ("load", "limiter") if rng.random() < 0.6)])
    broken = rng.choice(["reads the room", "stuck", "open"]) if len(sensors) > 1 and rng.random() < 0.35 else None
    signals = rng.choice([(), (), ("setpoint",), ("output",), ("setpoint", "output")])
    return Day(
        seed=seed,
        every_s=rng.choice([1.0, 2.0, 5.0, 10.0, 10.0, 30.0, 60.0, 120.0, 300.0]),
        unit=rng.choice(["C", "C", "C", "F"]),
        oven=an_oven(rng, kind),
        programs=[a_program(rng, kind) for _ in range(rng.choice([0, 1, 1, 2, 2, 3]))],
        sensors=sensors,
        signals=signals,
        broken=broken,
        noise_c=rng.choice([0.02, 0.1, 0.3, 0.7]),
        decimals=rng.choice([0, 1, 1]),
        warm_c={"forge": rng.choice([18.0, 18.0, 60.0]), "kiln": rng.choice([18.0, 150.0, 500.0])}.get(
            kind, rng.uniform(120.0, 420.0)
        ),
        resting_setpoint=rng.choice(["zero", "zero", "room", "last"]),
        load_lag_s=rng.uniform(40.0, 900.0),
        load_lies_outside=rng.random() < 0.3 and broken is None,
        wild=rng.choice([0, 0, 2, 6]),
        plateau=rng.random() < 0.35,
        burst=rng.random() < 0.35,
        sun_c=rng.choice([0.0, 0.0, 6.0, 10.0]),
    )


class Controller:
    """A program clock that waits for the furnace, and proportional and integral action."""

    def __init__(self, program: Program, chamber_c: float) -> None:
        self._steps = program.steps
        self._at = 0
        self._held_s = 0.0
        self._sum = 0.0
        self.setpoint_c = chamber_c if program.steps[0].rate < 9999 else program.steps[0].to_c
        self.over = False

    def output(self, chamber_c: float) -> float:
        """Share of the power for the next step of time; the program goes on meanwhile."""
        step, apart = self._steps[self._at], self.setpoint_c - chamber_c
        if self.setpoint_c != step.to_c:
            move = step.rate * STEP_S / 3600.0
            if abs(apart) < 25.0 or (apart < 0) == (step.to_c > self.setpoint_c):
                left = step.to_c - self.setpoint_c
                self.setpoint_c = step.to_c if abs(left) <= move else self.setpoint_c + math.copysign(move, left)
        elif abs(apart) < 25.0:
            self._held_s += STEP_S
            if self._held_s >= step.hold_s:
                self._at, self._held_s = self._at + 1, 0.0
                self.over = self._at == len(self._steps)
        wanted = apart / 20.0 + self._sum
        if 0.0 < wanted < 1.0 or wanted * apart < 0:
            self._sum = min(max(self._sum + apart / 20.0 * STEP_S / 600.0, -0.2), 1.0)
        return min(max(wanted, 0.0), 1.0)


class Shop:
    """Lives through a day step by step; afterwards the programs know when they made the heater work."""

    def __init__(self, day: Day) -> None:
        self._day = day
        self._rng = random.Random(f"shop {day.seed}")
        self._waiting = list(day.programs)
        self._start_s = 3600.0 * self._rng.uniform(1.5, 4.0) + (self._waiting[0].pause_s if self._waiting else 0.0)
        self._program: Program | None = None
        self._controller: Controller | None = None
        self._done: Program | None = None
        self._begun_s = 0.0
        self._resting_c = {"zero": 0.0, "room": ROOM_C, "last": 0.0}[day.resting_setpoint]
        self._open_s: list[tuple[float, float]] = []

    def live(self) -> Iterator[Moment]:
        """Every step of the day until the last heating is long over."""
        oven, t_s = self._day.oven, 0.0
        face = inner = load = limiter = self._day.warm_c
        outer = ROOM_C + 0.5 * (face - ROOM_C)
        end_s = 30 * 3600.0
        while t_s < end_s:
            room = ROOM_C + 3.0 * math.sin(t_s / 13751.0) + self._sun(t_s)
            self._turn(t_s, face)
            self._shut(t_s)
            cut = self._cut(t_s)
            share = 0.0
            if self._controller is not None and cut in (None, "heater"):
                share = self._controller.output(face)
            power = 0.0 if cut else share * oven.power
            self._note(t_s, power, face, cut)
            door = oven.face * 1.5 if any(a <= t_s < b for a, b in self._open_s) else 0.0
            into, on, out = oven.face * (face - inner), oven.between * (inner - outer), oven.outward * (outer - room)
            face += (power - into - door * (face - room)) * STEP_S / oven.c_face
            inner += (into - on) * STEP_S / oven.c_inner
            outer += (on - out) * STEP_S / oven.c_outer
            put_in = not self._day.load_lies_outside or self._program is not None
            load += ((face if put_in else room) - load) * STEP_S / (self._day.load_lag_s if put_in else 120.0)
            limiter += (face - 3.0 - limiter) * STEP_S / 60.0
            setpoint = self._controller.setpoint_c if self._controller is not None else self._resting_c
            yield Moment(face, load, limiter, room, setpoint, 100.0 * share, cut == "dark", cut != "controller")
            if self._waiting or self._program is not None:
                end_s = min(t_s + 8 * 3600.0, 120 * 3600.0)
            t_s += STEP_S

    def _sun(self, t_s: float) -> float:
        return self._day.sun_c * max(math.sin((t_s - 7200.0) / 4000.0), 0.0) if 7200.0 < t_s < 19766.0 else 0.0

    def _turn(self, t_s: float, face_c: float) -> None:
        """Start the next program, or end this one."""
        if self._program is None and self._waiting and t_s >= self._start_s:
            self._program = self._waiting.pop(0)
            self._controller = Controller(self._program, face_c)
            self._begun_s, self._done = t_s, None
            self._open_s = [(t_s + after, t_s + after + long) for after, long in self._program.doors_s]
        elif self._program is not None and self._controller is not None and self._controller.over:
            self._program.over_s = self._program.shut_s = t_s
            self._done = self._program
            if self._day.resting_setpoint == "last":
                self._resting_c = self._controller.setpoint_c
            self._open_s.clear()
            if self._program.cooled_s is not None:
                after, long = self._program.cooled_s
                self._open_s.append((t_s + after, t_s + after + long))
            self._program = self._controller = None
            if self._waiting:
                self._start_s = t_s + self._waiting[0].pause_s

    def _shut(self, t_s: float) -> None:
        """Keep when the door was last shut after a program."""
        if self._done is not None and any(a <= t_s < b for a, b in self._open_s):
            self._done.shut_s = t_s

    def _cut(self, t_s: float) -> Cut | None:
        program = self._program
        begins_s = self._begun_s + program.cut_at_s if program is not None else math.inf
        return program.cut if program is not None and begins_s <= t_s < begins_s + program.cut_s else None

    def _note(self, t_s: float, power: float, face_c: float, cut: Cut | None) -> None:
        """Keep the truth of the program that is on."""
        if (program := self._program) is None:
            return
        if cut is not None:
            program.coldest_in_cut_c = min(program.coldest_in_cut_c, face_c)
        if power <= WORKS * self._day.oven.loss * (face_c - ROOM_C):
            return
        program.worked_s += STEP_S
        if program.on_s is None:
            program.on_s = program.off_s = t_s
        program.longest_rest_s = max(program.longest_rest_s, t_s - program.off_s)
        program.off_s = t_s


class Instrument:
    """Makes readings of moments: noise, resolution, broken sensors, interference."""

    def __init__(self, day: Day, hours: float) -> None:
        self._day = day
        self._rng = random.Random(f"instrument {day.seed}")
        end_s = 3600.0 * hours
        self._wild_s = sorted(self._rng.uniform(0, end_s) for _ in range(day.wild))
        self._plateau_s = self._rng.uniform(600, 5000) if day.plateau else math.inf
        self._burst_s = self._rng.uniform(0, end_s) if day.burst else math.inf
        self._burst_long_s = self._rng.uniform(20, 180)
        self._stuck_c = self._rng.choice([21.0, 24.5, 400.0])

    def values(self, t_s: float, moment: Moment) -> dict[str, float | None]:
        """One reading, in the instrument's unit; nothing where it is off."""
        if moment.dark:
            return {}
        true = {"control": moment.chamber_c, "load": moment.load_c, "limiter": moment.limiter_c}
        read: dict[str, float | None] = {
            name: self._sensor(name, true[name], t_s, moment) for name in self._day.sensors
        }
        if self._wild_s and t_s >= self._wild_s[0]:
            self._wild_s.pop(0)
            read[self._rng.choice(self._day.sensors)] = self._shown(self._rng.choice([1372.0, 0.0, 655.0, -200.0]))
        signals = {"setpoint": self._shown(moment.setpoint_c), "output": round(moment.output)}
        return read | {name: signals[name] if moment.controller else None for name in self._day.signals}

    def _sensor(self, name: str, true_c: float, t_s: float, moment: Moment) -> float | None:
        if name == "control" and self._day.broken == "open":
            return None
        if name == "control" and self._day.broken == "stuck":
            return self._shown(self._stuck_c)
        if name == "control" and self._day.broken == "reads the room":
            true_c = moment.room_c + 0.01 * (true_c - moment.room_c)
        if name == "control" and self._plateau_s <= t_s < self._plateau_s + 40.0:
            true_c = 620.0
        if self._burst_s <= t_s < self._burst_s + self._burst_long_s and self._rng.random() < 0.7:
            true_c = self._rng.uniform(-50.0, 1300.0)
        return self._shown(true_c + self._rng.gauss(0.0, self._day.noise_c))

    def _shown(self, temp_c: float) -> float:
        return round(temp_c if self._day.unit == "C" else units.from_celsius(temp_c, "F"), self._day.decimals)
