"""Years of a small furnace, drawn from a seed by a foreign hand: healthy ones, and such in which one thing goes wrong.

Nothing here knows how the program judges, or how a run gets into a log book (foreign_year_entry.py).
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from tests.foreign_furnace import Chamber, Charge, Fired, Firing, Leg, a_chamber, fire

RUNS_A_YEAR = 46
MASSES_KG = (0.05, 0.4, 0.9, 1.8)  # the first is an empty furnace with a thermocouple's dummy
AFTER = 24  # runs after a fault has begun
FAULTS = (
    "element ages",
    "one of six elements",
    "mains 5 % low",
    "mains swing",
    "door seal",
    "insulation",
    "sensor 12 off",
    "sensor drifts",
    "relay sticks",
    "moved to a cold room",
)
REPAIRED = "repaired"  # aged elements are changed and that is entered: nothing is wrong afterwards
KINDS = ("healthy", *FAULTS, REPAIRED)


@dataclass(frozen=True)
class Keeping:
    """What is logged, and whether anyone says what was in the furnace."""

    output: bool
    second: str | None  # role of another sensor
    masses_entered: bool
    every_s: float


@dataclass(frozen=True)
class YearRun:
    """One run, before it is let happen."""

    number: int
    day: float
    mass_kg: float
    firing: Firing


@dataclass(frozen=True)
class Year:
    """``begins``: the first run with the fault; ``shows``: the first at which it has grown to what one could see."""

    seed: int
    kind: str
    keeping: Keeping
    runs: tuple[YearRun, ...]
    begins: int | None = None
    shows: int | None = None

    def __str__(self) -> str:
        keeping = self.keeping
        return (
            f"{self.kind}{'' if self.begins is None else f' from run {self.begins}, to be seen from {self.shows}'}; "
            f"{'output' if keeping.output else 'no output'}, {keeping.second or 'one sensor'}, "
            f"masses {'entered' if keeping.masses_entered else 'unknown'}"
        )


def happened(run: YearRun) -> Fired:
    """Let a run happen."""
    return fire(run.firing)


def a_year(seed: int, kind: str) -> Year:
    """Draw a furnace and its runs, 46 a year."""
    rng = random.Random(f"foreign year {seed} {kind}")
    chamber = a_chamber(rng)
    keeping = _keeping(rng, kind)
    begins = None if kind == "healthy" else rng.randint(22, 34)
    grows = {"element ages": 12, "door seal": 4, "insulation": 4, "sensor drifts": 10}.get(kind, 0)
    phase, target_c = rng.uniform(0.0, 2.0 * math.pi), float(rng.choice((1030, 1040, 1050)))
    runs = []
    for number in range(RUNS_A_YEAR if begins is None else begins + AFTER + grows):
        day = round(number * 365.0 / RUNS_A_YEAR + rng.uniform(-2.5, 2.5) + 3.0)
        mass_kg = rng.choice(MASSES_KG)
        healthy = Firing(
            chamber=chamber,
            legs=(Leg(780.0, None, 600.0), Leg(target_c, None, 60.0 * rng.choice((20, 20, 25)))),
            charge=Charge(mass_kg, 3.0, 0.35),
            ambient_c=18.0 + 9.0 * math.sin(2.0 * math.pi * day / 365.0 + phase) + rng.gauss(0.0, 1.0),
            mains=1.0 + rng.uniform(-0.012, 0.012),
            swing=0.002,
            cools_s=rng.choice((300.0, 2400.0, 2400.0)),
            noise_seed=f"{seed} {kind} {number}",
        )
        runs.append(YearRun(number, day, mass_kg, _with_fault(healthy, kind, number, begins, rng)))
    return Year(seed, kind, keeping, tuple(runs), begins, None if begins is None else begins + grows)


def _keeping(rng: random.Random, kind: str) -> Keeping:
    second = rng.choice((None, "load", "over-temperature"))
    if kind.startswith("sensor"):
        second = rng.choice(("load", "over-temperature"))  # else nothing can tell
    output = rng.random() < 0.6 or kind in ("door seal", "insulation")
    return Keeping(output, second, rng.random() < 0.5, rng.choice((20.0, 30.0, 60.0)))


def _with_fault(plain: Firing, kind: str, number: int, begins: int | None, rng: random.Random) -> Firing:
    since = 0 if begins is None else number - begins + 1
    drawn = rng.uniform(-1.0, 1.0)  # drawn in every run, so that all kinds draw alike
    if kind == REPAIRED and begins is not None:
        return plain if since > 0 else replace(plain, heater=1.0 - 0.16 * number / RUNS_A_YEAR)
    if since <= 0:
        return plain
    chamber: Chamber = plain.chamber
    changes: dict[str, Firing] = {
        "element ages": replace(plain, heater=1.0 - 0.16 * since / RUNS_A_YEAR),
        "one of six elements": replace(plain, heater=5.0 / 6.0),
        "mains 5 % low": replace(plain, mains=plain.mains - 0.05),
        "mains swing": replace(plain, mains=plain.mains + 0.07 * drawn, swing=0.02),
        "door seal": replace(plain, leaks=min(0.10, 0.015 * since)),
        "insulation": replace(plain, chamber=replace(chamber, k_out=chamber.k_out * min(1.35, 1.0 + 0.06 * since))),
        "sensor 12 off": replace(plain, reads_off_c=12.0),
        "sensor drifts": replace(plain, reads_off_c=min(20.0, 0.6 * since)),
        "relay sticks": replace(plain, relay_sticks=4.0),
        "moved to a cold room": replace(plain, ambient_c=plain.ambient_c - 14.0),
    }
    return changes[kind]
