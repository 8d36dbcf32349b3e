"""The furnace of a foreign hand that plans are tried in: wire, bricks, air, a thermocouple, blades in packets.

Heat goes from the wire to the inner face of the bricks by radiation, through the bricks by conduction, and to the
blades by radiation between grey faces (radiosities) and a little by air. All figures are of the inventor's own choice
from textbooks; none of them is told to the plan.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

STEP_S = 5.0
SIGMA = 5.67e-8
ZERO_C = 273.15
STEEL_KG_M3 = 7750.0
FOIL_J_M3K = 7900.0 * 560.0
LONGEST_S = 12 * 3600.0
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Controller:
    """``gain`` [share of power per degree] of a PID (None: on-off with ``swing_c``); a hold begins ``ready_c`` below.

    The ramp stands where the display is ``waits_c`` behind; ``pauses``: the hold's clock stands then as well.
    """

    gain: float | None
    reset_s: float
    rate_s: float
    swing_c: float
    ready_c: float
    waits_c: float
    pauses: bool


@dataclass(frozen=True)
class Kiln:
    """A furnace: power at nominal mains [W], wire, inner face, bricks of four layers, leaks, thermocouple, controller.

    ``works`` and ``shows`` are the shares of the wire in what the work and the thermocouple see.
    """

    power_w: float
    wire_j_k: float
    wire_m2: float
    inside_m2: float
    k_w_mk: float
    brick_j_m3k: float
    layers_m: tuple[float, ...]
    leak_m2: float
    door_m2: float
    works: float
    shows: float
    air: float
    couple_s: float
    reads_high_c: float
    noise_c: float
    places_c: tuple[float, ...]
    controller: Controller


@dataclass(frozen=True)
class Packet:
    """Outer emissivity, exchange factor to the blade, gas gap [W/m2K at 1000 degC]; bare: the first alone."""

    foil: bool
    outer: float
    inner: float
    gap_w_m2k: float
    foil_mm: float
    arrest_c: float
    arrest_j_kg: float


@dataclass(frozen=True)
class Charge:
    """Blades [mm] in their slots of a rack, alone where ``spacing_mm`` is None."""

    blades_mm: tuple[float, ...]
    packets: tuple[Packet, ...]
    slots: tuple[int, ...]
    spacing_mm: float | None
    width_mm: float = 40.0
    length_mm: float = 250.0


@dataclass(frozen=True)
class Day:
    """What is different every day."""

    mains: float
    room_c: float
    starts_c: float
    drift_c: float  # of the thermocouple's chain since it was looked at
    seed: str


@dataclass(frozen=True)
class Leg:
    """To a temperature at a rate [degC/h] (None: full power), and a hold there."""

    to_c: float
    rate: float | None
    hold_s: float


@dataclass(frozen=True)
class Duty:
    """Who does what: load ``wait_s`` after the display shows ``load_shown_c`` in that leg (None: cold), take out."""

    load_leg: int | None
    load_shown_c: float
    wait_s: float
    out_shown_c: float
    out_s: tuple[float, ...]


@dataclass
class Heated:
    """One heating as it truly went; blades in columns."""

    t_s: list[float] = field(default_factory=list)
    display_c: list[float] = field(default_factory=list)
    chamber_c: list[float] = field(default_factory=list)
    setpoint_c: list[float] = field(default_factory=list)
    output: list[float] = field(default_factory=list)
    blades_c: list[Array] = field(default_factory=list)
    load_s: float = 0.0
    since_s: float = math.inf
    last_leg_s: float = math.inf
    outs_s: tuple[float, ...] = ()

    def read(self, t: float, shows_c: float, chamber_c: float, setpoint_c: float, output: float, blades: Array) -> None:
        """One more reading; the display has a tenth."""
        self.t_s.append(t)
        self.display_c.append(round(shows_c, 1))
        self.chamber_c.append(chamber_c)
        self.setpoint_c.append(setpoint_c)
        self.output.append(output)
        self.blades_c.append(blades)


def facing(distance_mm: float, width_mm: float, length_mm: float) -> float:
    """View factor of two aligned parallel rectangles (any textbook of radiation)."""
    x, y = width_mm / distance_mm, length_mm / distance_mm
    a, b = 1.0 + x * x, 1.0 + y * y
    return (2.0 / (math.pi * x * y)) * (
        0.5 * math.log(a * b / (a + b - 1.0))
        + x * math.sqrt(b) * math.atan(x / math.sqrt(b))
        + y * math.sqrt(a) * math.atan(y / math.sqrt(a))
        - x * math.atan(x)
        - y * math.atan(y)
    )


def exchange(charge: Charge, inside: Sequence[bool]) -> tuple[Array, Array]:
    """Absorbed by each face (two a blade) of the emissive powers of all faces, and of the walls; its own taken off."""
    n = len(charge.blades_mm)
    view = np.zeros((2 * n, 2 * n))
    here = sorted((k for k in range(n) if inside[k]), key=lambda k: charge.slots[k])
    for left, right in zip(here, here[1:], strict=False):
        if charge.spacing_mm is not None:
            middle = (charge.slots[right] - charge.slots[left]) * charge.spacing_mm
            free = max(1.0, middle - (charge.blades_mm[left] + charge.blades_mm[right]) / 2.0 - 0.5)
            view[2 * left + 1, 2 * right] = facing(free, charge.width_mm, charge.length_mm)
            view[2 * right, 2 * left + 1] = view[2 * left + 1, 2 * right]
    emits = np.repeat([p.outer for p in charge.packets], 2)
    walls = 1.0 - view.sum(axis=1)
    seen = view @ np.linalg.inv(np.eye(2 * n) - (1.0 - emits)[:, None] * view)
    of_faces = emits[:, None] * (seen * emits) - np.diag(emits)
    of_walls = emits * (seen @ ((1.0 - emits) * walls) + walls)
    return of_faces, of_walls


class _Program:
    """Setpoint and output of the controller."""

    def __init__(self, made: Controller, legs: Sequence[Leg], start_c: float) -> None:
        self.made, self.legs, self.leg, self.setpoint_c = made, legs, 0, start_c
        self.begun, self.held_s, self.sum, self.on, self.before = False, 0.0, 0.0, True, start_c

    def tick(self, shows_c: float) -> float:
        leg, late_c = self.legs[self.leg], self.setpoint_c - shows_c
        if self.setpoint_c < leg.to_c:
            if leg.rate is None:
                self.setpoint_c = leg.to_c
            elif late_c < self.made.waits_c:
                self.setpoint_c = min(leg.to_c, self.setpoint_c + leg.rate * STEP_S / 3600.0)
        elif not self.begun:
            self.begun = late_c <= self.made.ready_c
        elif not (self.made.pauses and late_c > self.made.waits_c):
            self.held_s += STEP_S
            if self.held_s >= leg.hold_s and self.leg + 1 < len(self.legs):
                self.leg, self.begun, self.held_s = self.leg + 1, False, 0.0
        return self._output(shows_c)

    def _output(self, shows_c: float) -> float:
        miss_c, made = self.setpoint_c - shows_c, self.made
        if made.gain is None:
            if abs(miss_c) > made.swing_c:
                self.on = miss_c > 0.0
            return 1.0 if self.on else 0.0
        climbs, self.before = (shows_c - self.before) / STEP_S, shows_c
        wanted = made.gain * (miss_c - made.rate_s * climbs) + self.sum
        if 0.0 < wanted < 1.0 or (miss_c < 0.0) == (wanted >= 1.0):
            self.sum = min(1.0, max(0.0, self.sum + made.gain * miss_c * STEP_S / made.reset_s))
        return min(1.0, max(0.0, wanted))


class _Load:
    """Blades and their foils [K]."""

    def __init__(self, charge: Charge, start_k: float) -> None:
        n = len(charge.blades_mm)
        self.charge, self.blade_k, self.face_k = charge, np.full(n, start_k), np.full(2 * n, start_k)
        self.thick_m = np.array(charge.blades_mm) / 1000.0
        packets = charge.packets
        self.foil = np.repeat([p.foil for p in packets], 2)
        self.inner, self.gap = (np.repeat([getattr(p, k) for p in packets], 2) for k in ("inner", "gap_w_m2k"))
        self.foil_j = np.repeat([p.foil_mm * FOIL_J_M3K / 1000.0 for p in packets], 2)
        self.arrest_k = np.array([p.arrest_c + ZERO_C for p in packets])
        self.arrest_j = np.array([p.arrest_j_kg for p in packets])
        self.outer = np.repeat([p.outer for p in packets], 2)

    def heat_j_m2k(self) -> Array:
        """Of a blade's thickness: lattice, and the arrest as a bell 25 degrees wide."""
        off = (self.blade_k - self.arrest_k) / 25.0
        kind = np.minimum(455.0 + 0.3 * (self.blade_k - ZERO_C), 640.0)
        bell: Array = self.arrest_j * np.exp(-0.5 * off * off) / (25.0 * math.sqrt(2.0 * math.pi))
        return STEEL_KG_M3 * self.thick_m * (kind + bell)

    def step(self, of: tuple[Array, Array], walls: Array, air_k: float, inside: Array) -> float:
        """Warm by one step; return what the chamber gives [W]."""
        emitted = SIGMA * self.face_k**4
        film = 7.0
        got = of[0] @ emitted + of[1] * walls + film * (air_k - self.face_k)
        steep = 4.0 * self.outer * SIGMA * self.face_k**3 + film
        blade2 = np.repeat(self.blade_k, 2)
        mean3 = 0.5 * (self.face_k + blade2) * 0.5 * (self.face_k**2 + blade2**2)
        warm = self.gap * (0.5 * (self.face_k + blade2) / 1273.0) ** 0.75
        through = np.where(self.foil, 4.0 * self.inner * SIGMA * mean3 + warm, 0.0)
        body = self.heat_j_m2k()
        face = self.face_k + (got - through * (self.face_k - blade2)) / (self.foil_j / STEP_S + steep + through)
        foiled = (
            (through * (face - blade2)).reshape(-1, 2).sum(axis=1)
            * STEP_S
            / (body + 0.5 * STEP_S * through.reshape(-1, 2).sum(axis=1))
        )
        bare = got.reshape(-1, 2).sum(axis=1) * STEP_S / (body + 0.5 * STEP_S * steep.reshape(-1, 2).sum(axis=1))
        moved = np.where(self.foil[::2], foiled, bare) * inside
        self.blade_k = self.blade_k + moved
        self.face_k = np.where(np.repeat(inside, 2), np.where(self.foil, face, np.repeat(self.blade_k, 2)), self.face_k)
        area = self.charge.width_mm * self.charge.length_mm / 1e6
        return float((got * np.repeat(inside, 2)).sum()) * area

    def cool(self, out: NDArray[np.bool_], room_k: float) -> None:
        """Between plates, those that are out."""
        self.blade_k = np.where(out, room_k + (self.blade_k - room_k) * math.exp(-STEP_S / 40.0), self.blade_k)


class _Chamber:
    """Wire, bricks from inside out, air and thermocouple [K]."""

    def __init__(self, kiln: Kiln, day: Day) -> None:
        self.kiln, self.day, self.room = kiln, day, day.room_c + ZERO_C
        self.wire = self.air = self.couple = self.felt = day.starts_c + ZERO_C
        self.bricks = [self.wire] * len(kiln.layers_m)
        self.surge, self.door_until_s = 0.0, -1.0
        self._depth = [d / 2.0 / kiln.k_w_mk for d in kiln.layers_m]
        self._caps = [d * kiln.brick_j_m3k * kiln.inside_m2 for d in kiln.layers_m]

    def glow(self) -> float:
        """Fourth power of what the work sees [K4]."""
        return (1.0 - self.kiln.works) * self.bricks[0] ** 4 + self.kiln.works * self.wire**4

    def step(self, t: float, asked: float, to_load: float) -> None:
        """Go on by one step; the wire bears a quarter of what the load takes, the face the rest."""
        kiln, bricks, seen = self.kiln, self.bricks, (1.0 - self.kiln.shows) * self.bricks[0]
        seen += kiln.shows * self.wire
        hot = 1.0 - 0.04 * min(1.0, (self.wire - ZERO_C) / 1100.0)
        power = asked * kiln.power_w * hot * (self.day.mains + self.surge) ** 2
        to_face = kiln.wire_m2 * 0.75 * SIGMA * (self.wire**4 - bricks[0] ** 4)
        self.wire += (power - to_face - 0.25 * to_load) * STEP_S / kiln.wire_j_k
        self._bricks(t, to_face - 0.75 * to_load)
        ajar = t < self.door_until_s
        toward = self.room + 0.75 * (bricks[0] - self.room) if ajar else bricks[0]
        self.air += (toward - self.air) * (1.0 - math.exp(-STEP_S / (8.0 if ajar else 20.0)))
        self.felt = seen + kiln.air * (self.air - bricks[0])
        self.couple += (self.felt - self.couple) * (1.0 - math.exp(-STEP_S / kiln.couple_s))

    def _bricks(self, t: float, comes: float) -> None:
        kiln, bricks, room, depth = self.kiln, self.bricks, self.room, self._depth
        opened = kiln.leak_m2 + (0.6 * kiln.door_m2 if t < self.door_until_s else 0.0)
        comes -= opened * (SIGMA * (bricks[0] ** 4 - room**4) + 20.0 * (bricks[0] - room))
        flows = [
            kiln.inside_m2 * (a - b) / (da + db)
            for a, b, da, db in zip(bricks, bricks[1:], depth, depth[1:], strict=False)
        ]
        flows.append(kiln.inside_m2 * 1.6 * (bricks[-1] - room) / (depth[-1] * 1.6 + 0.1))
        for k in range(len(bricks)):
            bricks[k] += (comes - flows[k]) * STEP_S / self._caps[k]
            comes = flows[k]


class _Hands:
    """Who loads and takes out, by what the display shows."""

    def __init__(self, duty: Duty, blades: int) -> None:
        self.duty, self.inside = duty, np.full(blades, duty.load_leg is None)
        self.load_s = 0.0 if duty.load_leg is None else math.inf
        self.since_s = self._seen_s = self._shown_s = math.inf
        self.outs_s = np.full(blades, math.inf)

    def act(self, t: float, shows_c: float, leg: int, last: bool, rng: random.Random) -> float | None:
        """Until when the door stands open, where it was opened now."""
        duty, until_s = self.duty, None
        if self.load_s == math.inf:
            if self._seen_s == math.inf and leg == duty.load_leg and shows_c >= duty.load_shown_c:
                self._seen_s = t
            if t >= self._seen_s + duty.wait_s:
                self.load_s, until_s = t, t + rng.uniform(12.0, 25.0)
                self.inside = np.full(len(self.inside), True)
        if self._shown_s == math.inf and last and shows_c >= duty.out_shown_c:
            self._shown_s = t
        if self.since_s == math.inf and max(self._shown_s, self.load_s) < math.inf:
            self.since_s = max(self._shown_s, self.load_s)
            self.outs_s = self.since_s + np.array(duty.out_s)
        gone = self.inside & (self.outs_s <= t)
        if gone.any():
            self.inside, until_s = self.inside & ~gone, t + rng.uniform(5.0, 12.0)
        return until_s


def heat(kiln: Kiln, legs: Sequence[Leg], charge: Charge, day: Day, duty: Duty, *, after_s: float = 60.0) -> Heated:
    """Let it run from cold until the last blade is out and a little longer."""
    rng, out, chamber = random.Random(day.seed), Heated(), _Chamber(kiln, day)
    load = _Load(charge, (day.starts_c if duty.load_leg is None else day.room_c) + ZERO_C)
    control, hands = _Program(kiln.controller, legs, day.starts_c), _Hands(duty, len(charge.blades_mm))
    places = np.array([kiln.places_c[s % len(kiln.places_c)] for s in np.repeat(charge.slots, 2)])
    were, of, t = hands.inside, exchange(charge, list(hands.inside)), 0.0
    while t < min(LONGEST_S, float(hands.outs_s.max()) + after_s):
        shows_c = chamber.couple - ZERO_C + kiln.reads_high_c + day.drift_c + rng.gauss(0.0, kiln.noise_c)
        asked = control.tick(shows_c)
        out.read(t, shows_c, chamber.felt - ZERO_C, control.setpoint_c, 100.0 * asked, load.blade_k - ZERO_C)
        last = control.leg == len(legs) - 1
        out.last_leg_s = min(out.last_leg_s, t) if last else out.last_leg_s
        opened_s = hands.act(t, shows_c, control.leg, last, rng)
        chamber.door_until_s = chamber.door_until_s if opened_s is None else opened_s
        if (were != hands.inside).any():
            were, of = hands.inside, exchange(charge, list(hands.inside))
        glow = chamber.glow()
        walls = SIGMA * (glow + 4.0 * glow**0.75 * places)
        to_load = load.step(of, walls, chamber.air, hands.inside) if hands.inside.any() else 0.0
        chamber.surge = 0.8 * chamber.surge + rng.gauss(0.0, 0.002)
        chamber.step(t, asked, to_load)
        load.cool(hands.outs_s < t, chamber.room)
        t += STEP_S
    out.load_s, out.since_s, out.outs_s = hands.load_s, hands.since_s, tuple(float(x) for x in hands.outs_s)
    return out
