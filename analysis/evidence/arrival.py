"""How the chamber came to a hold and stood there, as the condition measures it and a plan takes it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Arrival:
    """One hold's beginning: ``settle_s`` is the time constant of its last degrees [s].

    ``overshoot_c`` is how far the reading went over its own level [K], ``level_c`` that level less the setpoint as
    logged [K], None where none was, ``swing_c`` how far it swings to either side of it [K], ``swing_s`` how long that
    takes, from one rise to the next [s], None where it does not go up and down.
    """

    target_c: float
    settle_s: float
    overshoot_c: float
    level_c: float | None = None
    swing_c: float = 0.0
    swing_s: float | None = None
