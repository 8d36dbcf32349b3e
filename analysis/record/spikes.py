"""Single points that no thermocouple can have read: the rule, for whole traces and reading by reading. No numpy."""

from __future__ import annotations

from typing import Any

# What a thermocouple of any letter can show at all, with a margin [degC] (IEC 60584-1: -270 to 1820).
COLDEST_C, HOTTEST_C = -275.0, 1850.0
# Fastest fall and recovery of a reading by role [degC/s]: a sheathed sensor in the chamber loses some 3 degC/s when the
# door opens, an air sensor far less. No source: generous figures that only separate a spike from a dip of one reading.
FASTEST_C_PER_S = {"ambient": 1.0}
FASTEST_DEFAULT_C_PER_S = 5.0
SLOWEST_RISE_LIMIT_C_PER_S = 0.5
SUSTAINED = 1.5  # times the fastest rise that a trace sustains
LEAST_SPARE_C, SPARE_STEPS, SPARE_NOISES = 2.0, 3.0, 8.0


def fastest_fall(role: str) -> float:
    """Fastest fall of a reading of a role [degC/s]."""
    return FASTEST_C_PER_S.get(role, FASTEST_DEFAULT_C_PER_S)


def fastest_rise(role: str, rise_c_per_s: float) -> float:
    """Fastest single rise of a reading of a role [degC/s], where its trace sustains ``rise_c_per_s``."""
    return min(fastest_fall(role), max(SLOWEST_RISE_LIMIT_C_PER_S, SUSTAINED * rise_c_per_s))


def spare(resolution_c: float, noise_c: float) -> float:
    """Step that noise alone may make [K]."""
    return max(LEAST_SPARE_C, SPARE_STEPS * resolution_c, SPARE_NOISES * noise_c)


def stands_alone(
    steps_c: tuple[Any, Any],
    apart_s: tuple[Any, Any],
    far_c: Any,
    nearest_s: Any,
    limit: Any,
    fall: float,
    noise: float,
) -> Any:
    """Whether a point leaves both neighbours faster than ``limit`` [degC/s] while these agree with each other.

    ``steps_c`` [K] and ``apart_s`` [s] lead to it and away from it, ``nearest_s`` is the shorter; ``far_c`` [K] its
    distance from the median of the six points around it; ``fall`` [degC/s] as of ``fastest_fall``, ``noise`` [K] of
    ``spare``. Numbers, or arrays.
    """
    left = abs(steps_c[0]) - limit * apart_s[0] > noise
    right = abs(steps_c[1]) - limit * apart_s[1] > noise
    agree = abs(steps_c[0] + steps_c[1]) <= fall * (apart_s[0] + apart_s[1]) + noise
    return left & right & agree & (far_c > noise + limit * nearest_s)
