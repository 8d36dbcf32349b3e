"""Hardness of an air-hardening stainless by a foreign hand: simple, its own, and not what the program believes.

Carbide dissolves towards what the temperature allows; what is dissolved makes the martensite hard and keeps more
austenite; cold takes of that; a temper softens. Where numbers are from: memory of the shape of published curves.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from dataclasses import dataclass

GAS = 8.314


@dataclass(frozen=True)
class Steel:
    """A bar of steel, hardened rightly at ``best_c``; ``peak`` [HRC] is its martensite alone."""

    best_c: float
    peak: float
    ms_c: float
    tau_s: float  # of dissolving, at ``best_c``
    undissolved: float = 0.5  # share at delivery
    patience_s: float = 25.0  # to the plates, before anything is lost


@dataclass(frozen=True)
class Stay:
    """What the furnace and the hand did to one blade. ``trace``: (for so long [s], at [degC])."""

    trace: tuple[tuple[float, float], ...]
    plates_s: float
    plates_warm: float = 0.0  # HRC that slow plates cost
    cold_hours: float | None = 1.0  # after the quench; None: none
    temper_c: float | None = 200.0
    tempers: int = 2


@dataclass(frozen=True)
class Came:
    """Out of it [HRC]: as quenched, after the cold, at the end."""

    quenched: float
    cold: float
    final: float


def a_steel(rng: random.Random, best_c: float) -> Steel:
    """A bar as it comes."""
    return Steel(best_c, rng.uniform(64.0, 65.2), rng.uniform(135.0, 165.0), rng.uniform(240.0, 360.0))


def dissolved(steel: Steel, trace: Iterable[tuple[float, float]]) -> float:
    """Carbon in solution, 1 for what ``best_c`` allows after long."""
    x = 1.0 - steel.undissolved
    for for_s, at_c in trace:
        allowed = 1.0 + 0.0038 * (at_c - steel.best_c)
        if at_c > 850.0 and x < allowed:
            slow = math.exp(250_000.0 / GAS * (1.0 / (at_c + 273.15) - 1.0 / (steel.best_c + 273.15)))
            x += (allowed - x) * (1.0 - math.exp(-for_s / (steel.tau_s * slow)))
    return x


def austenite(steel: Steel, x: float, to_c: float) -> float:
    """Retained [%], Koistinen and Marburger."""
    return 100.0 * math.exp(-0.011 * max(0.0, steel.ms_c - 240.0 * (x - 1.0) - to_c))


def softened(temper_c: float, tempers: int) -> float:
    """What tempers cost [HRC]: flat above 316 degC, where the secondary hardness begins."""
    at_c = min(max(temper_c, 100.0), 316.0)
    return 0.4 + 0.022 * (at_c - 100.0) + 0.12 * (tempers - 1)


def hardness(steel: Steel, stay: Stay) -> Came:
    """Follow one blade through."""
    x = dissolved(steel, stay.trace)
    hot_s = sum(for_s for for_s, at_c in stay.trace if at_c > steel.best_c - 25.0)
    martensite = steel.peak + (13.0 if x < 1.0 else 4.0) * (x - 1.0)
    martensite -= 0.9 * max(0.0, math.log2(max(hot_s, 1.0) / 5400.0))  # grain and skin, after an hour and a half
    martensite -= stay.plates_warm + 0.03 * max(0.0, stay.plates_s - steel.patience_s) ** 0.85
    warm = austenite(steel, x, 25.0)
    takes = 0.0 if stay.cold_hours is None else math.exp(-max(0.0, stay.cold_hours - 1.0) / 30.0)
    left = warm + takes * (austenite(steel, x, -75.0) - warm)
    quenched, cold = martensite - 0.11 * warm, martensite - 0.11 * left
    lost = 0.0 if stay.temper_c is None else softened(stay.temper_c, stay.tempers)
    return Came(quenched, cold, cold - lost)


def readings(rng: random.Random, true: float, off: float, scatter: float, count: int = 3) -> tuple[float, ...]:
    """A tester's."""
    return tuple(round(max(20.0, true + off + rng.gauss(0.0, scatter)), 1) for _ in range(count))
