"""Readings that are no furnace: stuck, at the end of a range, a broken sensor, a contact that opened for a while.

Each is told by its shape alone (``odd``); what is found becomes a gap with a finding. A pull or a quench is real: it
does not come back in one step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.record.run import FloatArray, Run, Trace
from soakwitness.analysis.verification.inputs.doors import doors_of
from soakwitness.analysis.verification.inputs.readings import ARRAYS, readings_of
from soakwitness.analysis.verification.rules import odd
from soakwitness.analysis.verification.rules.course import USUAL
from soakwitness.analysis.verification.rules.odd import Kind, Row, Still
from soakwitness.firmware_bridge.common.wording import Says

BLOCK, MOST_ASKED = 1 << 15, 20_000
SMALL_STEPS = 3.0  # of the resolution


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

    def of(kind: Kind, start: int, end: int, why: Says) -> BadReadings:
        at = float(trace.temp_c[start])
        return BadReadings(trace.name, kind, float(trace.t_s[start]), float(trace.t_s[end]), at, why)

    still = _still(trace)
    found = _contacts(trace)
    rest = _without(trace, found)
    stood_before = {start for (_, last), (start, _) in zip(still[:-1], still[1:], strict=True) if last + 1 == start}
    for start, end in still:
        froze = start in stood_before and _goes_on(trace, end)
        looked = np.isfinite(rest.temp_c[start]) and not froze
        why = odd.broken(_beside(rest, start, end, output, setpoint)) if looked else None
        if why is not None:
            broken = of("broken", start, end, why)
            found, rest = [*found, broken], _without(rest, [broken])
    for start, end in still:
        if np.isfinite(rest.temp_c[start]):
            told = odd.stuck(_beside(rest, start, end, output, setpoint), doors_s)
            found += [] if told is None else [of(told[0], start, end, told[1])]
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
    need = odd.fewest_still(trace.period_s)
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


def _beside(trace: Trace, start: int, end: int, output: FloatArray | None, setpoint: FloatArray | None) -> Still:
    """A stretch of one number, with what is beside it in its trace."""
    t, y = trace.t_s, trace.temp_c

    def rows(low: int, high: int) -> list[Row]:
        part = slice(max(low, 0), high)
        seen = np.isfinite(y[part])
        return list(zip(t[part][seen].tolist(), y[part][seen].tolist(), strict=True))

    def moved(signal: FloatArray | None) -> Callable[[], float]:
        return lambda: _moved(signal, start, end)

    return Still(
        role=trace.role,
        resolution_c=trace.resolution_c,
        period_s=trace.period_s,
        at_c=float(y[start]),
        start_s=float(t[start]),
        end_s=float(t[end]),
        before=lambda count: rows(start - count, start),
        after=lambda count: rows(end + 1, end + 1 + count),
        later=lambda until_s: rows(end + 1, int(np.searchsorted(t, until_s))),
        highest_c=lambda: float(np.nanmax(y)),
        highest_before_c=lambda: float(np.nanmax(y[:start], initial=-np.inf)),
        rise=lambda above_c: _rise(trace, above_c),
        output_moved=moved(output),
        setpoint_moved=moved(setpoint),
    )


def _goes_on(trace: Trace, end: int) -> bool:
    """Whether a stretch of one number is left by small steps: the furnace went on from there, so it was there."""
    after = trace.temp_c[end : end + 4]
    return after.size == 4 and float(np.abs(np.diff(after)).max(initial=0.0)) <= SMALL_STEPS * trace.resolution_c


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


def _moved(signal: FloatArray | None, start: int, end: int) -> float:
    """How far a signal's level moved within a stretch: medians over its eighths, the first left out."""
    if signal is None:
        return 0.0
    part = signal[start : end + 1]
    eighths = [q[np.isfinite(q)] for q in np.array_split(part, 8)[1:]]
    levels = [float(np.median(q)) for q in eighths if q.size]
    return max(levels) - min(levels) if levels else 0.0


def _contacts(trace: Trace) -> list[BadReadings]:
    """Stretches that were left and come back from faster than any furnace: a contact that opened for a while."""
    seen = readings_of(trace)
    t, y = seen.t_s, seen.temp_c
    leaves = _steps(y) if y.size >= 5 else np.empty(0, dtype=np.intp)
    if not leaves.size:
        return []
    step, apart = y[leaves + 1] - y[leaves], t[leaves + 1] - t[leaves]
    wide = odd.wide(step, apart, _spread(y), ARRAYS)
    left = wide | odd.lost(y[leaves], y[leaves + 1])
    found: list[BadReadings] = []
    after, pace = -1, odd.contact_pace(_rise(trace))
    for leave, sudden in zip(leaves[left].tolist(), wide[left].tolist(), strict=True):
        if leave < after:
            continue
        back = _comes_back(t, y, leave, pace, sudden=sudden)
        if back is None:
            continue
        after = back
        first, last = float(t[leave + 1]), float(t[back - 1])
        found.append(BadReadings(trace.name, "contact", first, last, float(y[leave + 1]), odd.CONTACT))
    return found


def _steps(y: FloatArray) -> npt.NDArray[np.intp]:
    """Readings from which the next lies over ``STEP_C`` apart: nothing smaller is a contact.

    In blocks that stay in the processor's cache: most traces have none.
    """
    found = []
    for first in range(0, y.size - 1, BLOCK):
        part = y[first : first + BLOCK + 1]
        found.append((np.abs(part[1:] - part[:-1]) > odd.STEP_C).nonzero()[0] + first)
    return np.concatenate(found)


def _spread(y: FloatArray) -> float:
    """What noise alone makes of a step [K]: 1.4826 x the median distance from the median is one deviation."""
    at = np.arange(0, y.size - 1, max(1, (y.size - 1) // MOST_ASKED))
    some = y[at + 1] - y[at]
    return USUAL * float(np.median(np.abs(some - np.median(some))))


def _comes_back(t: FloatArray, y: FloatArray, leave: int, pace_c_per_s: float, *, sudden: bool) -> int | None:
    """First reading after ``leave`` that is back where the furnace can be by then, reached in one step; else None.

    ``pace_c_per_s`` [K/s] is how fast it may have gone on meanwhile.
    """
    stop = int(np.searchsorted(t, t[leave] + odd.CONTACT_S, side="right"))
    stop = min(stop, y.size, leave + 2 + odd.SLOW_READINGS if not sudden else y.size)
    k = np.arange(leave + 2, stop)
    if not k.size:
        return None
    off, away, step, apart = y[k] - y[leave], t[k] - t[leave], y[k] - y[k - 1], t[k] - t[k - 1]
    hit = np.flatnonzero(odd.comes_back(off, away, step, apart, pace_c_per_s, ARRAYS, sudden=sudden))
    return int(k[hit[0]]) if hit.size else None
