"""What tells readings that are no furnace from real ones, seen from the readings beside them. Standard library only.

``bad_readings`` looks through whole runs for what these rules may speak of, ``live.sifting`` while the readings come.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

from soakwitness.analysis.verification.rules.states import ROOM_C, Arithmetic
from soakwitness.firmware_bridge.common.wording import Diff, Says

Kind = Literal["stuck", "end of range", "broken", "contact"]
Row = tuple[float, float]  # time [s], temperature [degC]

LONGEST_STILL_S = 300.0
SHORTEST_STILL_S = 60.0
FEWEST_STILL, FEWEST_SLOW = 10, 5
OUTPUT_MOVES = 25.0  # points of %; common practice, no source
SETPOINT_MOVES_C = 25.0
HOT_C, WARM_C = 100.0, 60.0
JUMP_C = 50.0  # between two readings; no furnace and no load does that and then stands still
# A door takes some 3 K/s from a sheathed sensor and 8 K/s from a bare one; a furnace gives far less. No source.
STEP_C, STEP_C_PER_S = 20.0, 10.0
CONTACT_S = 600.0  # a contact that is open for longer is a broken sensor
LOST_SHARE = 0.65  # of the heat above the room, gone and back within two readings: no chamber does that
SLOW_READINGS = 2
NEAR_SHARE = 0.7  # a furnace heats the more slowly the hotter it is: only what it does near there counts
SLOWEST_S = 120.0  # over a longer time without a reading any furnace may have cooled
NEAR_C, NEAR_C_PER_S = 10.0, 0.5
CLEARLY = 5.0
LEAST_JUMP_C, RISES, FASTER = 5.0, 3.0, 1.5
COMES_BACK_S, STAYS_SHARE, OPENED_S = 600.0, 0.7, 120.0
ARRIVES_STEPS, ARRIVES_SHARE, LATE_S = 1.5, 0.6, 10.0
TURNS_SHARE = 0.4  # of noise about two thirds of all bends turn the other way; of a smooth course hardly any
NOISY_STEPS = 0.55  # deviation of a reading in steps; rounding alone makes 0.3
AROUND = 7  # readings
ROWS_BEFORE, ROWS_AFTER = 200, 11
SPREADS = 8.0
CONTACT = Says("left and come back from faster than any furnace can: a contact that opened")


@dataclass(frozen=True)
class Still:
    """A stretch of one number ``at_c`` [degC] from ``start_s`` to ``end_s``, and how to see what is beside it.

    ``before(n)`` and ``after(n)`` are the readings within so many rows, ``later(s)`` those within a time after it;
    ``highest_c`` is the highest of the trace, ``highest_before_c`` of what came before; ``rise(c)`` its fastest
    sustained heating above a level [K/s]; ``output_moved`` and ``setpoint_moved`` say by how far these moved.
    """

    role: str
    resolution_c: float
    period_s: float
    at_c: float
    start_s: float
    end_s: float
    before: Callable[[int], Sequence[Row]]
    after: Callable[[int], Sequence[Row]]
    later: Callable[[float], Sequence[Row]]
    highest_c: Callable[[], float]
    highest_before_c: Callable[[], float]
    rise: Callable[[float], float]
    output_moved: Callable[[], float] = lambda: 0.0
    setpoint_moved: Callable[[], float] = lambda: 0.0

    @property
    def long(self) -> bool:
        """Whether no living reading stands for so long."""
        return self.end_s - self.start_s >= LONGEST_STILL_S - 1.5 * self.period_s


def fewest_still(period_s: float) -> int:
    """How often a number must repeat to be looked at; of a slow logger (``period_s`` [s]) five readings are long."""
    few = max(FEWEST_SLOW, int(LONGEST_STILL_S / max(period_s, 1e-9)))
    return max(min(few, FEWEST_STILL), int(SHORTEST_STILL_S / max(period_s, 1e-9)))


def broken(still: Still) -> Says | None:
    """Why a number that a hot sensor jumped to and stayed at is what a broken one shows; None where it is not."""
    if _jumped(still):
        return Says("reached in one step: no temperature, but what a broken sensor shows")
    if still.role != "load" and still.long and _jumped_here(still) and _noise_ceased(still):
        return Says("reached in one step, and without the noise it had before")
    return None


def stuck(still: Still, doors_s: Sequence[float]) -> tuple[Kind, Says] | None:
    """Why a number that repeats is no temperature; None where it may well be. ``doors_s`` are moments of doors [s]."""
    if still.long and still.role in ("control", "recording") and still.at_c > WARM_C:
        moved = still.output_moved()
        if moved > OUTPUT_MOVES:
            return "stuck", Says.of("while the output moved by {moved} %", moved=f"{moved:.0f}")
        moved = still.setpoint_moved()
        if moved > SETPOINT_MOVES_C:
            return "stuck", Says.of("while the setpoint moved by {moved}", moved=Diff(moved))
    if _jumps_away(still) and _noise_ceased(still):
        return "stuck", Says("without the noise it had before, and then it jumped")
    if still.at_c > HOT_C and _jumps_too_far(still, doors_s):
        return "stuck", Says("and then jumped farther than any furnace goes in that time")
    top = still.long and still.at_c >= still.highest_c()
    if top and _noise_ceased(still) and _arrived_at_once(still):
        return "end of range", Says("its highest reading, and without the noise it had before")
    return None


def _jumped(still: Still) -> bool:
    """Whether a number was jumped to from a hot furnace: up to the highest of all, or down where no furnace falls.

    A load sensor may fall to room temperature in one step: it was pulled and quenched.
    """
    before = still.before(10)
    if not before:
        return False
    last_s, from_c = before[-1]
    apart_s, lost = still.start_s - last_s, from_c - still.at_c
    beyond = still.at_c - still.highest_before_c()  # a number where it stood before was not jumped to
    if (-lost > JUMP_C and beyond > JUMP_C and still.at_c >= still.highest_c()) or (
        still.at_c <= 0.0 and lost > STEP_C
    ):
        return True
    if from_c < HOT_C or still.role == "load" or apart_s > SLOWEST_S:
        return False
    return lost > max(JUMP_C, STEP_C_PER_S * apart_s) or lost > LOST_SHARE * (from_c - ROOM_C)


def rows_before(period_s: float) -> int:
    """How many rows before a stretch are looked at, for readings ``period_s`` [s] apart."""
    return max(ROWS_BEFORE, int(5.0 * LATE_S / max(period_s, 0.01)) + ROWS_AFTER)


def _arrived_at_once(still: Still) -> bool:
    """Whether readings still climbed as fast as before when they stopped: a furnace arrives gently."""
    rows = still.before(rows_before(still.period_s))
    if len(rows) < 7:
        return False
    t, y = [at for at, _ in rows], [c for _, c in rows]
    late = min(bisect_left(t, t[-1] - LATE_S), len(t) - 3)  # of the last step a part may be cut off
    early = min(bisect_left(t, t[late] - 3.0 * LATE_S), late - 4)
    if early < 0:
        return False
    late_c_per_s, early_c_per_s = (y[-1] - y[late]) / (t[-1] - t[late]), (y[late] - y[early]) / (t[late] - t[early])
    climbed = y[-1] - y[late] > ARRIVES_STEPS * still.resolution_c * (len(t) - 1 - late)
    return climbed and late_c_per_s >= ARRIVES_SHARE * early_c_per_s


def _jumped_here(still: Still) -> bool:
    """Whether a stretch of one number lies clearly apart from the reading before, farther than those before lie."""
    before = [c for _, c in still.before(ROWS_AFTER)]
    return len(before) >= 4 and _clearly_apart(still, before, before[-1])


def _jumps_away(still: Still) -> bool:
    """Whether the reading after a stretch of one number lies clearly apart from it, farther than the next ones do."""
    after = [c for _, c in still.after(ROWS_AFTER)]
    return len(after) >= 4 and _clearly_apart(still, after, after[0])


def _clearly_apart(still: Still, beside: Sequence[float], nearest_c: float) -> bool:
    usual = max(*(abs(b - a) for a, b in zip(beside, beside[1:], strict=False)), still.resolution_c)
    return abs(still.at_c - nearest_c) > CLEARLY * usual


def _jumps_too_far(still: Still, doors_s: Sequence[float]) -> bool:
    """Whether the reading after a stretch of one number lies where no furnace can have gone from it meanwhile.

    Downwards a door, or the pull of a load sensor, is as fast as a reading can show; after a door it comes back.
    """
    after = still.after(4)
    if not after:
        return False
    first_s, first_c = after[0]
    jump, apart_s = first_c - still.at_c, first_s - still.end_s
    if jump > LEAST_JUMP_C:
        pace_c = still.rise(NEAR_SHARE * still.at_c) * apart_s
        if jump > max(LEAST_JUMP_C, RISES * pace_c + 8.0 * still.resolution_c):
            return True
        return jump > max(LEAST_JUMP_C, FASTER * pace_c) and _jumps_away(still)
    if still.role == "load" or -jump <= max(STEP_C, STEP_C_PER_S * apart_s):
        return False
    opened = any(abs(at_s - still.end_s) <= OPENED_S for at_s in doors_s)
    highest_c = max(c for at_s, c in still.later(first_s + COMES_BACK_S) if at_s >= first_s)
    comes_back = highest_c > first_c - (1.0 - STAYS_SHARE) * jump
    return not comes_back and not opened


def _noise_ceased(still: Still) -> bool:
    """Whether the readings before a stretch were noisier than rounding makes them."""
    rows = still.before(ROWS_BEFORE)
    if len(rows) < 20:
        return False
    steps = _differences([c for _, c in rows])
    step_c = max(still.resolution_c, min((abs(s) for s in steps if abs(s) > 1e-9), default=math.inf))
    bends = _differences(steps)
    turns = sum(a * b < 0.0 for a, b in pairwise(bends)) / (len(bends) - 1)
    if turns < TURNS_SHARE:
        return False
    # From a parabola through seven readings (Savitzky and Golay, 1964) rounding alone stays within its half step, also
    # on a ramp; white noise leaves sqrt(14/21) of its deviation, and four of five lie within 1.28 of that.
    off = [_off_parabola(rows[k : k + AROUND]) for k in range(len(rows) - AROUND + 1)]
    return quantile(off, 0.8) / (1.28 * math.sqrt(14.0 / 21.0)) >= NOISY_STEPS * step_c


def _off_parabola(rows: Sequence[Row]) -> float:
    """How far the middle reading lies from the parabola through all, at the times they have [K]."""
    middle_s, middle_c = rows[len(rows) // 2]
    span_s = max(rows[-1][0] - rows[0][0], 1e-9)
    away, off = [(t - middle_s) / span_s for t, _ in rows], [c - middle_c for _, c in rows]
    s1, s2, s3, s4 = (math.fsum(a**power for a in away) for power in (1, 2, 3, 4))
    # The normal equations by Cramer's rule: the parabola's value where away is nought.
    ones, once, twice = s2 * s4 - s3 * s3, s1 * s4 - s2 * s3, s1 * s3 - s2 * s2
    whole = len(rows) * ones - s1 * once + s2 * twice
    if whole < 1e-12:
        return 0.0
    sums = (math.fsum(a**power * c for a, c in zip(away, off, strict=True)) for power in (0, 1, 2))
    none, linear, square = sums
    return abs(none * ones - linear * once + square * twice) / whole


def quantile(values: Sequence[float], share: float) -> float:
    """Quantile of some numbers, between two on the straight line."""
    ordered = sorted(values)
    place = share * (len(ordered) - 1)
    low = min(int(place), len(ordered) - 2) if len(ordered) > 1 else 0
    return ordered[low] + (place - low) * (ordered[min(low + 1, len(ordered) - 1)] - ordered[low])


def _differences(values: Sequence[float]) -> list[float]:
    return [b - a for a, b in pairwise(values)]


def wide(step_c: Any, apart_s: Any, spread_c: float, calc: Arithmetic) -> Any:
    """Whether a step [K] within a time [s] is faster than any furnace, beyond what noise alone makes of one."""
    return abs(step_c) > calc.maximum(STEP_C, STEP_C_PER_S * apart_s) + SPREADS * spread_c


def lost(from_c: Any, to_c: Any) -> Any:
    """Whether a reading [degC] lost most of the heat above the room: for loggers too slow for a speed to tell."""
    return (from_c > HOT_C) & (to_c - ROOM_C < (1.0 - LOST_SHARE) * (from_c - ROOM_C))


def comes_back(
    off_c: Any, away_s: Any, step_c: Any, apart_s: Any, pace: float, calc: Arithmetic, *, sudden: bool
) -> Any:
    """Whether a reading is back where the furnace can be by then, in one step.

    ``off_c`` [K] is its distance from where it was left ``away_s`` [s] ago, ``step_c`` [K] that from the reading before
    it, ``apart_s`` [s] before; ``pace`` [K/s] how fast the furnace may have gone on; ``sudden``: it was left so fast.
    """
    near = abs(off_c) <= NEAR_C + pace * away_s
    fast = calc.maximum(STEP_C, STEP_C_PER_S * apart_s) if sudden else STEP_C
    return near & (abs(step_c) > fast)


def contact_pace(rise_c_per_s: float) -> float:
    """How fast a furnace may have gone on behind an open contact [K/s]."""
    return max(NEAR_C_PER_S, 2.0 * rise_c_per_s)
