"""When a load sensor was in the furnace: what it reads lying outside speaks for nobody."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.rules.extents import OUTSIDE_C, RISES_C
from soakwitness.analysis.verification.rules.states import ROOM_C

# How a load sensor that is pulled falls beside a furnace that stays hot; engineering guesses, no source.
FALL_S, FALL_C, FALL_SHARE = 60.0, 100.0, 0.25
STAYS_OUT_S, OUT_SHARE = 300.0, 0.7
WAS_IN_SHARE, STAYS_HOT_SHARE = 0.5, 0.6
BEGINS_C, BEGINS_SHARE = 15.0, 0.05
STILL_C = 5.0
OUTSIDE_S = 600.0
TURN_S, TURN_TIMES = 180.0, 3.0  # a thick packet in a furnace that climbs rises with t^2 or t^3: by less than twice


@dataclass(frozen=True)
class Visit:
    """From when to when a load sensor was in the furnace [s]; ``out_s`` None: it was not seen to come out."""

    in_s: float
    out_s: float | None


def visits_of(load: Readings, chamber: Readings) -> tuple[Visit, ...]:
    """Find when a load sensor was in the furnace, in order; at least one visit, from the first reading where unsure."""
    t, y = load.t_s, load.temp_c
    heat, furnace = y - ROOM_C, np.interp(t, chamber.t_s, chamber.temp_c) - ROOM_C
    falls = _falls(t, y, heat, furnace)
    begin = _comes_in(t, y, 0)
    lay_outside = begin is not None and t[begin] - t[0] > OUTSIDE_S
    outside = begin is not None and lay_outside and _hotter(furnace, heat, begin) and _turned(t, y, begin)
    start = begin if begin is not None and outside else 0
    found: list[Visit] = []
    while True:
        out = next((k for k in falls if k > start), None)
        found.append(Visit(float(t[start]), None if out is None else float(t[out])))
        again = None if out is None else _comes_in(t, y, int(np.searchsorted(t, t[out] + FALL_S)))
        if again is None:
            return tuple(found)
        start = again


def _falls(t_s: FloatArray, temp_c: FloatArray, heat_c: FloatArray, furnace_c: FloatArray) -> list[int]:
    """Indices of the last readings before a sensor came out: it falls fast, stays away, and the furnace stays hot."""
    after = np.interp(t_s + FALL_S, t_s, temp_c)
    furnace_after = np.interp(t_s + FALL_S, t_s, furnace_c)
    falls = temp_c - after >= np.maximum(FALL_C, FALL_SHARE * heat_c)
    falls &= (heat_c >= WAS_IN_SHARE * furnace_c) & (furnace_after >= STAYS_HOT_SHARE * furnace_c)
    found: list[int] = []
    for first in np.flatnonzero(falls & ~np.concatenate(([False], falls[:-1]))):
        stop = int(np.searchsorted(t_s, t_s[first] + 2.0 * FALL_S, side="right"))
        fallen = temp_c[first:stop] < temp_c[first] - max(BEGINS_C, BEGINS_SHARE * float(heat_c[first]))
        last = int(first) + max(int(np.argmax(fallen)) - 1, 0)
        since, until = np.searchsorted(t_s, [t_s[last] + FALL_S, t_s[last] + FALL_S + STAYS_OUT_S])
        away = heat_c[since:until] < OUT_SHARE * furnace_c[since:until]
        if away.size and away.all():
            found.append(last)
    return found


def _comes_in(t_s: FloatArray, temp_c: FloatArray, since: int) -> int | None:
    """Index of the last reading before a sensor that lies outside begins to climb; None where it never does."""
    part = temp_c[since:]
    if part.size < 2:
        return None
    lowest = np.minimum.accumulate(part)
    climbed = np.flatnonzero(part > lowest + RISES_C)
    if not climbed.size:
        return None
    first = int(climbed[0])
    still = np.flatnonzero(part[:first] <= lowest[first] + STILL_C)
    return since + int(still[-1])


def _hotter(furnace_c: FloatArray, heat_c: FloatArray, begin: int) -> bool:
    """Whether the furnace was far hotter than a sensor that had not begun to climb: then it lay outside."""
    return float(furnace_c[: begin + 1].max()) > float(heat_c[begin]) + OUTSIDE_C


def _turned(t_s: FloatArray, temp_c: FloatArray, begin: int) -> bool:
    """Whether the climb began with a turn: one that was in all the time climbs hardly faster than just before."""
    before, at, after = np.interp(t_s[begin] + np.array([-TURN_S, 0.0, TURN_S]), t_s, temp_c).tolist()
    return bool(after - at > TURN_TIMES * max(at - before, 0.0) + STILL_C)
