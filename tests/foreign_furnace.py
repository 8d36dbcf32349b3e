"""A small furnace by a foreign hand: chamber, bricks, charge, heater with a limit, a controller that waits or does not.

Two bodies: what is quick (air, hot face, elements) and the bricks behind it. The charge takes heat by radiation.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

STEP_S = 10.0  # the quick body's own time constant is half an hour, a charge's a minute and more
SIGMA = 5.67e-8
ZERO_C = 273.15
STEEL_J_KG_K = 650.0
STEEL_KG_M3 = 7750.0


@dataclass(frozen=True)
class Chamber:
    """Heater [W] at nominal mains; conductances [W/K]; heat capacities [J/K]; door [m2]."""

    power_w: float
    k_face: float
    k_out: float
    c_quick: float
    c_bricks: float
    door_m2: float


@dataclass(frozen=True)
class Charge:
    """What lies in the chamber; ``view`` is the share of its surface that sees the walls."""

    mass_kg: float
    thickness_mm: float
    emissivity: float
    view: float = 1.0

    def film(self, hot_c: float, cold_c: float) -> float:
        """Heat by radiation, and a little by air [W/m2/K]."""
        hot, cold = hot_c + ZERO_C, cold_c + ZERO_C
        return self.view * (self.emissivity * SIGMA * (hot + cold) * (hot * hot + cold * cold) + 8.0)

    def lag_s(self, hot_c: float, cold_c: float) -> float:
        """Time constant of a blade heated from both sides."""
        body = STEEL_KG_M3 * self.thickness_mm / 2000.0 * STEEL_J_KG_K
        return body / self.film(hot_c, cold_c)

    def conductance(self, hot_c: float, cold_c: float) -> float:
        """Of the whole charge [W/K]."""
        return self.mass_kg * STEEL_J_KG_K / self.lag_s(hot_c, cold_c)


@dataclass(frozen=True)
class Leg:
    """Go to ``to_c`` at ``rate`` [degC/h] (None: full power), stay for ``hold_s``."""

    to_c: float
    rate: float | None
    hold_s: float


@dataclass(frozen=True)
class Upset:
    """From a moment after the start, for so long; ``left`` is the share of the heater that is left."""

    kind: str  # "power" (all dark), "door", "heater"
    from_s: float
    for_s: float
    left: float = 0.0


@dataclass(frozen=True)
class Firing:
    """All that decides how a firing goes, the drawn noise included."""

    chamber: Chamber
    legs: tuple[Leg, ...]
    charge: Charge
    ambient_c: float = 20.0
    mains: float = 1.0  # voltage, as a share of nominal
    swing: float = 0.0  # of the voltage, from minute to minute
    heater: float = 1.0  # share of the elements that heat
    reads_off_c: float = 0.0  # control sensor, at 1000 degC; nothing at room temperature
    leaks: float = 0.0  # door open by so much of its area, always
    relay_sticks: float = 0.0  # times an hour that it does not let go, or does not take
    hot_load: bool = False
    stay_s: float | None = None  # hot: from load to pull
    waits: bool = True  # the program's clock stands while the chamber is far below
    upsets: tuple[Upset, ...] = ()
    clears_s: float = 30.0  # from the first pull to the last; the dummy comes out last
    cools_s: float = 1800.0  # on record after the end
    noise_seed: str = ""


@dataclass(frozen=True)
class Moment:
    """The furnace at one step, all true but ``reads_c``; ``output`` in %."""

    t_s: float
    chamber_c: float
    reads_c: float
    load_c: float
    setpoint_c: float
    output: float
    dark: bool


@dataclass(frozen=True)
class Fired:
    """How it went; ``load_s`` is 0 where the charge rode the first ramp; ``end_s`` is the pull."""

    moments: tuple[Moment, ...]
    load_s: float
    end_s: float
    level_s: float  # when the last hold began on the program's clock


def a_chamber(rng: random.Random) -> Chamber:
    """1.8 to 4.5 kW of which 1050 degC needs 28 to 42 %; the bricks follow in half an hour to an hour and a half."""
    power = rng.uniform(1800.0, 4500.0)
    loss = rng.uniform(0.28, 0.42) * power / 1030.0
    k_face = loss / rng.uniform(0.42, 0.55)
    k_out = 1.0 / (1.0 / loss - 1.0 / k_face)
    tau_s = rng.uniform(1800.0, 5400.0)
    return Chamber(
        power, k_face, k_out, power * rng.uniform(1.6, 2.4), tau_s * (k_face + k_out), rng.uniform(0.008, 0.02)
    )


class _Controller:
    """Proportional and integral action on what the sensor reads; the sum stands while the output is at its limit.

    A program that does not wait still waits for its hold to begin, until the smith loses patience.
    """

    def __init__(self, fired: Firing, start_c: float) -> None:
        self._legs, self._waits = fired.legs, fired.waits
        self._leg, self._held_s, self._late_s, self._sum = 0, 0.0, 0.0, 0.0
        self.setpoint_c = start_c
        self.over, self.level_s = False, math.inf

    def tick(self, reads_c: float, now_s: float) -> None:
        leg = self._legs[self._leg]
        patience_s = math.inf if self._waits else 7200.0 if leg.rate is None else 2700.0
        if self.setpoint_c < leg.to_c:
            if leg.rate is not None and self.setpoint_c - reads_c > 20.0 and self._late_s < patience_s:
                self._late_s += STEP_S
                return
            step = math.inf if leg.rate is None else leg.rate * STEP_S / 3600.0
            self.setpoint_c = min(leg.to_c, self.setpoint_c + step)
            return
        begun = self._held_s > 0.0 and not self._waits
        if leg.to_c - reads_c > 4.0 and not begun and self._late_s < patience_s:
            self._late_s += STEP_S
            return
        if self._leg == len(self._legs) - 1:
            self.level_s = min(self.level_s, now_s)
        self._held_s += STEP_S
        if self._held_s >= leg.hold_s:
            self._leg, self._held_s, self._late_s = self._leg + 1, 0.0, 0.0
            self.over = self._leg == len(self._legs)
            self._leg = min(self._leg, len(self._legs) - 1)

    def output(self, reads_c: float) -> float:
        if self.over:
            return 0.0
        miss = self.setpoint_c - reads_c
        wanted = miss / 30.0 + self._sum
        if 0.0 < wanted < 1.0:
            self._sum = min(1.0, max(0.0, self._sum + miss * STEP_S / (30.0 * 280.0)))
        return min(1.0, max(0.0, wanted))


def fire(f: Firing) -> Fired:
    """Let it run, from cold to so long after the pull."""
    rng = random.Random(f.noise_seed)
    chamber_c = bricks_c = f.ambient_c + rng.uniform(0.0, 4.0)
    load_c = f.ambient_c
    control = _Controller(f, chamber_c)
    inside, load_s, end_s = not f.hot_load, 0.0 if not f.hot_load else math.inf, math.inf
    out: list[Moment] = []
    t_s, surge, stuck_until_s, stuck = 0.0, 0.0, 0.0, 0.0
    while t_s < min(end_s, 14 * 3600.0) + f.cools_s:
        reads_c = chamber_c + f.reads_off_c * chamber_c / 1000.0
        here = [u for u in f.upsets if u.from_s <= t_s < u.from_s + u.for_s]
        dark = any(u.kind == "power" for u in here)
        if not (dark and f.waits) and end_s == math.inf:
            control.tick(reads_c, t_s)
        hot_s = t_s - control.level_s  # without heat enough the smith waits an hour, and loads all the same
        ready = hot_s >= (600.0 if reads_c > f.legs[-1].to_c - 8.0 else 4200.0)
        if f.hot_load and not inside and ready and end_s == math.inf:
            inside, load_s = True, t_s
        if end_s == math.inf and (t_s >= load_s + (f.stay_s or math.inf) if f.hot_load else control.over):
            end_s, control.over = t_s, True
        asked = control.output(reads_c)
        surge = 0.7 * surge + f.swing * rng.gauss(0.0, 1.0)
        share = f.heater * min([u.left for u in here if u.kind == "heater"], default=1.0)
        works = 0.0 if dark else asked
        if f.relay_sticks and rng.random() < f.relay_sticks * STEP_S / 3600.0:
            stuck_until_s, stuck = t_s + rng.uniform(30.0, 200.0), rng.choice((0.0, 1.0))
        if t_s < stuck_until_s and end_s == math.inf and not dark:
            works = stuck
        heat = works * share * f.chamber.power_w * max(0.0, f.mains + surge) ** 2
        opened = f.leaks + (1.0 if any(u.kind == "door" for u in here) else 0.0)
        opened += 0.4 if inside and 0.0 <= t_s - end_s < f.clears_s else 0.0
        opened += 0.8 if f.hot_load and 0.0 <= t_s - load_s < 20.0 else 0.0
        k_face = f.chamber.k_face * (1.0 + (chamber_c - 600.0) / 3000.0)
        to_bricks = k_face * (chamber_c - bricks_c)
        to_room = opened * f.chamber.door_m2 * SIGMA * ((chamber_c + ZERO_C) ** 4 - (f.ambient_c + ZERO_C) ** 4)
        to_room += opened * f.chamber.door_m2 * 25.0 * (chamber_c - f.ambient_c)
        in_now = inside and t_s <= end_s + f.clears_s
        to_load = f.charge.conductance(chamber_c, load_c) * (chamber_c - load_c) if in_now else 0.0
        chamber_c += (heat - to_bricks - to_room - to_load) * STEP_S / f.chamber.c_quick
        bricks_c += (to_bricks - f.chamber.k_out * (bricks_c - f.ambient_c)) * STEP_S / f.chamber.c_bricks
        toward_c, lag_s = (
            (chamber_c, f.charge.lag_s(chamber_c, load_c)) if in_now else (f.ambient_c, 60.0 if inside else 1e9)
        )
        load_c += (toward_c - load_c) * (1.0 - math.exp(-STEP_S / lag_s))
        out.append(Moment(t_s, chamber_c, reads_c, load_c, control.setpoint_c, 100.0 * asked, dark))
        t_s += STEP_S
    return Fired(tuple(out), 0.0 if not f.hot_load else load_s, min(end_s, t_s), control.level_s)
