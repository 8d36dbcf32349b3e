"""Guiding a calibration while the furnace runs: is it stable, is it enough, what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.measured_pairs.stretches import (
    CUT_END_S,
    CUT_START_S,
    StretchLimits,
    stable_stretches,
    steadiness,
)

FloatArray = npt.NDArray[np.float64]
State = Literal["waiting", "quiet", "stable", "nothing yet"]

QUIET_MINUTES = 3.0
QUIET_FACTOR = 3.0  # over three minutes noise alone looks like so much more drift
NEAR_C = 20.0  # a planned temperature is done by a stretch this near


@dataclass(frozen=True)
class Guidance:
    """Where it stands: last reference reading and levels done [degC], drift [K/h], minutes quiet or stable.

    ``closing``: the next level is the first one again.
    """

    state: State
    now_c: float | None = None
    minutes: float = 0.0
    needed_minutes: float = 0.0
    drift_c_per_h: float | None = None
    done_c: tuple[float, ...] = ()
    next_c: float | None = None
    closing: bool = False


def guide(
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    limits: StretchLimits,
    *,
    wanted_c: Sequence[float] = (),
    resolutions_c: tuple[float, float] = (0.0, 0.0),
) -> Guidance:
    """Say where a calibration stands.

    Returns ``stable``: enough here, go to ``next_c`` (None: all done); ``quiet``: leave it; ``waiting``: it moves
    still.
    """
    needed = limits.minutes + (CUT_START_S + CUT_END_S) / 60.0
    good = np.flatnonzero(np.isfinite(reference_c))
    if t_s.size < 2 or not good.size:
        return Guidance("nothing yet", needed_minutes=needed, next_c=_next((), wanted_c))
    found = stable_stretches(t_s, reference_c, sensor_c, limits, resolutions_c=resolutions_c)
    done = tuple(stretch.reference_c for stretch in found)
    steady = steadiness(t_s, reference_c, sensor_c, replace(limits, minutes=QUIET_MINUTES), resolutions_c=resolutions_c)
    drift = float(steady.drift_c_per_h[-1])
    now = Guidance(
        state="waiting",
        now_c=float(reference_c[good[-1]]),
        needed_minutes=needed,
        drift_c_per_h=drift if np.isfinite(drift) else None,
        done_c=done,
        next_c=_next(done, wanted_c),
    )
    if now.next_c is None and _open(done, wanted_c):
        now = replace(now, next_c=wanted_c[0], closing=True)
    if found and t_s[-1] - found[-1].end_s < CUT_END_S + 60.0:
        return replace(now, state="stable", minutes=found[-1].minutes)
    quiet = _quiet_minutes(t_s, reference_c, sensor_c, limits, resolutions_c)
    return replace(now, state="quiet", minutes=quiet) if quiet > 0 else now


def _quiet_minutes(
    t_s: FloatArray,
    reference_c: FloatArray,
    sensor_c: FloatArray,
    limits: StretchLimits,
    resolutions_c: tuple[float, float],
) -> float:
    """How long it has been quiet up to now [min], by a short window; 0 if it is not quiet now."""
    short = replace(limits, minutes=QUIET_MINUTES, drift_c_per_h=QUIET_FACTOR * limits.drift_c_per_h)
    steady = steadiness(t_s, reference_c, sensor_c, short, resolutions_c=resolutions_c)
    if not steady.stable.size or not steady.stable[-1]:
        return 0.0
    moving = np.flatnonzero(~steady.stable)
    first = int(moving[-1]) + 1 if moving.size else 0
    begin = max(first - steady.cells + 1, 0)
    return float(steady.t_s[-1] - steady.t_s[begin]) / 60.0


def _open(done: Sequence[float], wanted_c: Sequence[float]) -> bool:
    """Whether all is done but the first level again, which shows that the reference stood still."""
    first = [abs(level - wanted_c[0]) <= NEAR_C for level in done] if len(wanted_c) > 1 else []
    return bool(first) and not (first[-1] and not all(first))


def _next(done: Sequence[float], wanted_c: Sequence[float]) -> float | None:
    """First planned temperature that has no stretch yet."""
    return next((want for want in wanted_c if not any(abs(want - level) <= NEAR_C for level in done)), None)
