"""Readings that are no furnace: stuck, at the end of a range, a broken sensor, a contact that opened for a while.

Each is told by its shape alone; what is found becomes a gap with a finding. A pull or a quench is real: it does not
come back in one step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.record.run import FloatArray, Run, Trace
from soakwitness.analysis.verification.inputs.doors import doors_of
from soakwitness.analysis.verification.inputs.readings import ROOM_C, readings_of
from soakwitness.firmware_bridge.common.wording import Diff, Says

Kind = Literal["stuck", "end of range", "broken", "contact"]

LONGEST_STILL_S = 300.0
SHORTEST_STILL_S = 60.0
FEWEST_STILL, FEWEST_SLOW = 10, 5
OUTPUT_MOVES = 25.0  # points of %; common practice, no source
SETPOINT_MOVES_C = 25.0
HOT_C = 100.0
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
BLOCK, MOST_ASKED = 1 << 15, 20_000
SMALL_STEPS = 3.0  # of the resolution
TURNS_SHARE = 0.4  # of noise about two thirds of all bends turn the other way; of a smooth course hardly any
NOISY_STEPS = 0.55  # deviation of a reading in steps; rounding alone makes 0.3
AROUND = 7  # readings


@dataclass(frozen=True)
class BadReadings:
    """A stretch in which a sensor showed no temperature: from, to [s], what it showed first [degC], why it is odd."""

    sensor: str
    kind: Kind
    start_s: float
    end_s: float
    at_c: float
    why: Says


def bad_readings(run: Run) -> tuple[BadReadings, ...]:
    """Find the readings of a run that are no furnace, in order of time.

    A level hold of a coarse instrument is no stuck reading: it takes an output or a setpoint that moved meanwhile, or
    noise that ceased and came back with a jump.
    """
    output, setpoint, doors = run.signal("output"), run.signal("setpoint"), doors_of(run)
    found: list[BadReadings] = []
    for trace in run.traces:
        if trace.role == "ambient":
            continue
        found += _bad_of(trace, output, setpoint, doors)
    return tuple(sorted(found, key=lambda s: s.start_s))


def _bad_of(
    trace: Trace, output: FloatArray | None, setpoint: FloatArray | None, doors_s: Sequence[float]
) -> list[BadReadings]:
    """What is odd in one trace; a jump to a broken sensor's number does not make odd what stood before it.

    Nor does the way back from a contact that opened make odd what stands after it.
    """
    still = _still(trace)
    found = _contacts(trace)
    rest = _without(trace, found)
    stood_before = {start for (_, last), (start, _) in zip(still[:-1], still[1:], strict=True) if last + 1 == start}
    for start, end in still:
        froze = start in stood_before and _goes_on(trace, end)
        broken = _broken(rest, start, end) if np.isfinite(rest.temp_c[start]) and not froze else []
        found, rest = [*found, *broken], _without(rest, broken)
    for start, end in still:
        if np.isfinite(rest.temp_c[start]):
            found += _judge(rest, start, end, output, setpoint, doors_s)
    return found


def without_bad(run: Run, bad: tuple[BadReadings, ...]) -> Run:
    """The run with NaN in its traces where readings were bad."""
    if not bad:
        return run
    traces = (_without(trace, [s for s in bad if s.sensor == trace.name]) for trace in run.traces)
    return replace(run, traces=tuple(traces))


def _without(trace: Trace, bad: Sequence[BadReadings]) -> Trace:
    if not bad:
        return trace
    temp_c = trace.temp_c.copy()
    for one in bad:
        temp_c[(trace.t_s >= one.start_s) & (trace.t_s <= one.end_s)] = np.nan
    return replace(trace, temp_c=temp_c)


def _still(trace: Trace) -> list[tuple[int, int]]:
    """Stretches of one number: first and last index, only long ones."""
    y = trace.temp_c
    few = max(FEWEST_SLOW, int(LONGEST_STILL_S / max(trace.period_s, 1e-9)))  # of a slow logger five readings are long
    need = max(min(few, FEWEST_STILL), int(SHORTEST_STILL_S / max(trace.period_s, 1e-9)))
    # A long stretch of one number shows in every few readings too: most traces need no closer look.
    some = y[:: max(1, need // 8)]
    same, row = some[1:] == some[:-1], min(6, need - 1)
    if same.size < row or not np.any(np.all([same[k : same.size - row + 1 + k] for k in range(row)], axis=0)):
        return []
    changes = np.flatnonzero((np.diff(y) != 0.0) & ~(np.isnan(y[1:]) & np.isnan(y[:-1]))) + 1
    begins = np.concatenate(([0], changes))
    ends = np.concatenate((changes - 1, [y.size - 1]))
    long = np.flatnonzero((ends - begins + 1 >= need) & np.isfinite(y[begins]))
    return [(int(begins[k]), int(ends[k])) for k in long]


def _long(trace: Trace, start: int, end: int) -> bool:
    return bool(trace.t_s[end] - trace.t_s[start] >= LONGEST_STILL_S - 1.5 * trace.period_s)


def _broken(trace: Trace, start: int, end: int) -> list[BadReadings]:
    """A number that a hot sensor jumped to and stayed at: no temperature, but what a broken one shows."""
    at = float(trace.temp_c[start])
    if _jumped(trace, start, at):
        why = Says("reached in one step: no temperature, but what a broken sensor shows")
    elif trace.role == "load" or not _long(trace, start, end):
        return []
    elif _jumped_here(trace, start) and _noise_ceased(trace, start):
        why = Says("reached in one step, and without the noise it had before")
    else:
        return []
    return [BadReadings(trace.name, "broken", float(trace.t_s[start]), float(trace.t_s[end]), at, why)]


def _judge(
    trace: Trace,
    start: int,
    end: int,
    output: FloatArray | None,
    setpoint: FloatArray | None,
    doors_s: Sequence[float],
) -> list[BadReadings]:
    t, at = trace.t_s, float(trace.temp_c[start])

    def found(kind: Kind, why: Says) -> list[BadReadings]:
        return [BadReadings(trace.name, kind, float(t[start]), float(t[end]), at, why)]

    long = _long(trace, start, end)
    if long and trace.role in ("control", "recording") and at > 60.0:
        moved = _moved(t, output, start, end)
        if moved > OUTPUT_MOVES:
            return found("stuck", Says.of("while the output moved by {moved} %", moved=f"{moved:.0f}"))
        moved = _moved(t, setpoint, start, end)
        if moved > SETPOINT_MOVES_C:
            return found("stuck", Says.of("while the setpoint moved by {moved}", moved=Diff(moved)))
    noisy = _noise_ceased(trace, start)
    if noisy and _jumps_away(trace, end):
        return found("stuck", Says("without the noise it had before, and then it jumped"))
    if at > HOT_C and _jumps_too_far(trace, end, doors_s):
        return found("stuck", Says("and then jumped farther than any furnace goes in that time"))
    if long and noisy and at >= np.nanmax(trace.temp_c) and _arrived_at_once(trace, start):
        return found("end of range", Says("its highest reading, and without the noise it had before"))
    return []


def _jumped(trace: Trace, start: int, at_c: float) -> bool:
    """Whether a number was jumped to from a hot furnace: up to the highest of all, or down where no furnace falls.

    A load sensor may fall to room temperature in one step: it was pulled and quenched.
    """
    before = np.flatnonzero(np.isfinite(trace.temp_c[max(0, start - 10) : start]))
    if not before.size:
        return False
    last = max(0, start - 10) + int(before[-1])
    from_c, apart_s = float(trace.temp_c[last]), float(trace.t_s[start] - trace.t_s[last])
    lost = from_c - at_c
    beyond = at_c - float(np.nanmax(trace.temp_c[:start]))  # a number where it stood before was not jumped to
    if (-lost > JUMP_C and beyond > JUMP_C and at_c >= np.nanmax(trace.temp_c)) or (at_c <= 0.0 and lost > STEP_C):
        return True
    if from_c < HOT_C or trace.role == "load" or apart_s > SLOWEST_S:
        return False
    return lost > max(JUMP_C, STEP_C_PER_S * apart_s) or lost > LOST_SHARE * (from_c - ROOM_C)


def _goes_on(trace: Trace, end: int) -> bool:
    """Whether a stretch of one number is left by small steps: the furnace went on from there, so it was there."""
    after = trace.temp_c[end : end + 4]
    return after.size == 4 and float(np.abs(np.diff(after)).max(initial=0.0)) <= SMALL_STEPS * trace.resolution_c


def _arrived_at_once(trace: Trace, start: int) -> bool:
    """Whether readings still climbed as fast as before when they stopped: a furnace arrives gently."""
    seen = np.flatnonzero(np.isfinite(trace.temp_c[:start]))
    if seen.size < 7:
        return False
    t, y = trace.t_s[seen], trace.temp_c[seen]
    late = min(int(np.searchsorted(t, t[-1] - LATE_S)), seen.size - 3)  # of the last step a part may be cut off
    early = min(int(np.searchsorted(t, t[late] - 3.0 * LATE_S)), late - 4)
    if early < 0:
        return False
    late_c_per_s = float(y[-1] - y[late]) / float(t[-1] - t[late])
    early_c_per_s = float(y[late] - y[early]) / float(t[late] - t[early])
    climbed = float(y[-1] - y[late]) > ARRIVES_STEPS * trace.resolution_c * (seen.size - 1 - late)
    return climbed and late_c_per_s >= ARRIVES_SHARE * early_c_per_s


def _jumped_here(trace: Trace, start: int) -> bool:
    """Whether a stretch of one number lies clearly apart from the reading before, farther than those before lie."""
    before = trace.temp_c[max(0, start - 11) : start]
    before = before[np.isfinite(before)]
    if before.size < 4:
        return False
    usual = max(float(np.max(np.abs(np.diff(before)))), trace.resolution_c)
    return bool(abs(trace.temp_c[start] - before[-1]) > CLEARLY * usual)


def _jumps_away(trace: Trace, end: int) -> bool:
    """Whether the reading after a stretch of one number lies clearly apart from it, farther than the next ones do."""
    after = trace.temp_c[end + 1 : end + 12]
    after = after[np.isfinite(after)]
    if after.size < 4:
        return False
    steps = np.abs(np.diff(after))
    usual = max(float(np.max(steps)), trace.resolution_c)
    return bool(abs(after[0] - trace.temp_c[end]) > CLEARLY * usual)


def _jumps_too_far(trace: Trace, end: int, doors_s: Sequence[float]) -> bool:
    """Whether the reading after a stretch of one number lies where no furnace can have gone from it meanwhile.

    Downwards a door, or the pull of a load sensor, is as fast as a reading can show; after a door it comes back.
    """
    after = np.flatnonzero(np.isfinite(trace.temp_c[end + 1 : end + 5]))
    if not after.size:
        return False
    first = end + 1 + int(after[0])
    jump, apart_s = float(trace.temp_c[first] - trace.temp_c[end]), float(trace.t_s[first] - trace.t_s[end])
    if jump > 0.0:
        pace_c_per_s = _rise(trace, NEAR_SHARE * float(trace.temp_c[end])) * apart_s
        if jump > max(LEAST_JUMP_C, RISES * pace_c_per_s + 8.0 * trace.resolution_c):
            return True
        return jump > max(LEAST_JUMP_C, FASTER * pace_c_per_s) and _jumps_away(trace, end)
    later = trace.temp_c[first : int(np.searchsorted(trace.t_s, trace.t_s[first] + COMES_BACK_S))]
    comes_back = float(np.nanmax(later)) > float(trace.temp_c[first]) - (1.0 - STAYS_SHARE) * jump
    opened = any(abs(at_s - float(trace.t_s[end])) <= OPENED_S for at_s in doors_s)
    fast = -jump > max(STEP_C, STEP_C_PER_S * apart_s)
    return trace.role != "load" and fast and not comes_back and not opened


def _rise(trace: Trace, above_c: float = -np.inf) -> float:
    """Fastest heating that a trace sustains over eight readings [K/s], above ``above_c`` [degC] where it was there."""
    seen = readings_of(trace)
    t, y = seen.t_s, seen.temp_c
    if y.size <= 16:
        return 1.0
    at = (y[:-8] > above_c).nonzero()[0]
    at = at if at.size > 16 else np.arange(y.size - 8)
    at = at[:: max(1, at.size // MOST_ASKED)]
    return max(float(np.quantile((y[at + 8] - y[at]) / (t[at + 8] - t[at]), 0.98)), 0.02)


def _moved(t: FloatArray, signal: FloatArray | None, start: int, end: int) -> float:
    """How far a signal's level moved within a stretch: medians over its eighths, the first left out."""
    if signal is None:
        return 0.0
    part = signal[start : end + 1]
    eighths = [q[np.isfinite(q)] for q in np.array_split(part, 8)[1:]]
    levels = [float(np.median(q)) for q in eighths if q.size]
    return max(levels) - min(levels) if levels else 0.0


def _noise_ceased(trace: Trace, start: int) -> bool:
    """Whether the readings before a stretch were noisier than rounding makes them."""
    part = slice(max(0, start - 200), start)
    seen = np.isfinite(trace.temp_c[part])
    t_s, before = trace.t_s[part][seen], trace.temp_c[part][seen]
    if before.size < 20:
        return False
    steps = np.abs(np.diff(before))
    step_c = max(trace.resolution_c, float(np.min(steps[steps > 1e-9], initial=np.inf)))
    # From a parabola through seven readings (Savitzky and Golay, 1964) rounding alone stays within its half step, also
    # on a ramp; white noise leaves sqrt(14/21) of its deviation, and four of five lie within 1.28 of that.
    deviation = float(np.quantile(np.abs(_off_parabola(t_s, before)), 0.8)) / (1.28 * np.sqrt(14.0 / 21.0))
    bends = np.sign(np.diff(before, 2))
    turns = float(np.mean(bends[1:] * bends[:-1] < 0.0))
    return deviation >= NOISY_STEPS * step_c and turns >= TURNS_SHARE


def _off_parabola(t_s: FloatArray, temp_c: FloatArray) -> FloatArray:
    """How far each reading lies from the parabola through it and its six neighbours [K], at the times they have [s]."""
    t, y = (
        np.lib.stride_tricks.sliding_window_view(t_s, AROUND),
        np.lib.stride_tricks.sliding_window_view(temp_c, AROUND),
    )
    middle = AROUND // 2
    away = (t - t[:, middle : middle + 1]) / np.maximum(np.ptp(t, axis=1, keepdims=True), 1e-9)
    powers = np.stack([np.ones_like(away), away, away**2], axis=2)
    normal = np.swapaxes(powers, 1, 2) @ powers + 1e-12 * np.eye(3)
    at_middle = np.linalg.solve(normal, np.swapaxes(powers, 1, 2) @ y[:, :, None])[:, 0, 0]
    off: FloatArray = y[:, middle] - at_middle
    return off


def _contacts(trace: Trace) -> list[BadReadings]:
    """Stretches that were left and come back from faster than any furnace: a contact that opened for a while."""
    seen = readings_of(trace)
    t, y = seen.t_s, seen.temp_c
    leaves = _steps(y) if y.size >= 5 else np.empty(0, dtype=np.intp)
    if not leaves.size:
        return []
    step, apart = y[leaves + 1] - y[leaves], t[leaves + 1] - t[leaves]
    wide = np.abs(step) > np.maximum(STEP_C, STEP_C_PER_S * apart) + 8.0 * _spread(y)
    odd = wide | _lost(y[leaves], y[leaves + 1])
    found: list[BadReadings] = []
    after, pace = -1, max(NEAR_C_PER_S, 2.0 * _rise(trace))
    for leave, sudden in zip(leaves[odd].tolist(), wide[odd].tolist(), strict=True):
        if leave < after:
            continue
        back = _comes_back(t, y, leave, pace, sudden=sudden)
        if back is None:
            continue
        after = back
        first, last = float(t[leave + 1]), float(t[back - 1])
        why = Says("left and come back from faster than any furnace can: a contact that opened")
        found.append(BadReadings(trace.name, "contact", first, last, float(y[leave + 1]), why))
    return found


def _steps(y: FloatArray) -> npt.NDArray[np.intp]:
    """Readings from which the next lies over ``STEP_C`` apart: nothing smaller is a contact.

    In blocks that stay in the processor's cache: most traces have none.
    """
    found = []
    for first in range(0, y.size - 1, BLOCK):
        part = y[first : first + BLOCK + 1]
        found.append((np.abs(part[1:] - part[:-1]) > STEP_C).nonzero()[0] + first)
    return np.concatenate(found)


def _spread(y: FloatArray) -> float:
    """What noise alone makes of a step [K]: 1.4826 x the median distance from the median is one deviation."""
    at = np.arange(0, y.size - 1, max(1, (y.size - 1) // MOST_ASKED))
    some = y[at + 1] - y[at]
    return 1.4826 * float(np.median(np.abs(some - np.median(some))))


def _lost(here: FloatArray, following: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether the next reading lost most of the heat above the room: for loggers too slow for a speed to tell."""
    return (here > HOT_C) & (following - ROOM_C < (1.0 - LOST_SHARE) * (here - ROOM_C))


def _comes_back(t: FloatArray, y: FloatArray, leave: int, pace_c_per_s: float, *, sudden: bool) -> int | None:
    """First reading after ``leave`` that is back where the furnace can be by then, reached in one step; else None.

    ``pace_c_per_s`` [K/s] is how fast it may have gone on meanwhile.
    """
    stop = int(np.searchsorted(t, t[leave] + CONTACT_S, side="right"))
    stop = min(stop, y.size, leave + 2 + SLOW_READINGS if not sudden else y.size)
    k = np.arange(leave + 2, stop)
    if not k.size:
        return None
    near = np.abs(y[k] - y[leave]) <= NEAR_C + pace_c_per_s * (t[k] - t[leave])
    step = np.abs(y[k] - y[k - 1])
    jump = step > np.maximum(STEP_C, STEP_C_PER_S * (t[k] - t[k - 1])) if sudden else step > STEP_C
    hit = np.flatnonzero(near & jump)
    return int(k[hit[0]]) if hit.size else None
