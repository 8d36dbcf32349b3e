"""Readings that stand still where they should not: stuck, or at the end of the instrument's range."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.runs import FloatArray, Run, Trace

LONGEST_STILL_S = 300.0
FEWEST_STILL = 10
OUTPUT_MOVES = 25.0  # points of %; common practice, no source
SETPOINT_MOVES_C = 25.0
HOT_C = 100.0
JUMP_C = 50.0  # between two readings; no furnace and no load does that and then stands still


@dataclass(frozen=True)
class Stuck:
    """A sensor that showed one number for a long time: from, to [s], the number [degC] and why that is odd.

    ``saturated``: the end of the instrument's range. ``broken``: a number that stands for no reading.
    """

    sensor: str
    start_s: float
    end_s: float
    at_c: float
    why: str
    saturated: bool = False
    broken: bool = False


def stuck_readings(run: Run) -> tuple[Stuck, ...]:
    """Find stuck and saturated readings.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Stuck
        In order of time. A level hold of a coarse instrument is no stuck reading: it takes an output or a setpoint that
        moved meanwhile, or noise that ceased exactly at the highest reading.
    """
    signals = {c.name: c.unit for c in run.columns if c.kind == "signal"}
    output = next((run.signal(n) for n, u in signals.items() if n == "output" or u == "%"), None)
    setpoint = next((run.signal(n) for n, u in signals.items() if n == "setpoint" or u in ("C", "F")), None)
    found: list[Stuck] = []
    for trace in run.traces:
        if trace.role in ("ambient",):
            continue
        for start, end in _still(trace):
            found += _judge(trace, start, end, output, setpoint)
    return tuple(sorted(found, key=lambda s: s.start_s))


def _still(trace: Trace) -> list[tuple[int, int]]:
    """Stretches of one number: first and last index, only long ones."""
    y = trace.temp_c
    need = max(FEWEST_STILL, int(LONGEST_STILL_S / max(trace.period_s, 1e-9)))
    # A long stretch of one number shows in every few readings too: most traces need no closer look.
    some = y[:: max(1, need // 8)]
    same = some[1:] == some[:-1]
    if same.size < 6 or not np.any(same[5:] & same[4:-1] & same[3:-2] & same[2:-3] & same[1:-4] & same[:-5]):
        return []
    changes = np.flatnonzero((np.diff(y) != 0.0) & ~(np.isnan(y[1:]) & np.isnan(y[:-1]))) + 1
    begins = np.concatenate(([0], changes))
    ends = np.concatenate((changes - 1, [y.size - 1]))
    long = np.flatnonzero((ends - begins + 1 >= need) & np.isfinite(y[begins]))
    return [(int(begins[k]), int(ends[k])) for k in long]


def _judge(trace: Trace, start: int, end: int, output: FloatArray | None, setpoint: FloatArray | None) -> list[Stuck]:
    t, at = trace.t_s, float(trace.temp_c[start])
    ends = (trace.name, float(t[start]), float(t[end]), at)
    if trace.role in ("control", "recording") and at > 60.0:
        for signal, moves, word in ((output, OUTPUT_MOVES, "output"), (setpoint, SETPOINT_MOVES_C, "setpoint")):
            moved = _moved(t, signal, start, end)
            if moved > moves:
                unit = " %" if word == "output" else " degrees"
                return [Stuck(*ends, f"while the {word} moved by {moved:.0f}{unit}")]
    if _jumped(trace, start, at):
        return [Stuck(*ends, "reached in one step: no temperature, but what a broken sensor shows", broken=True)]
    if at >= np.nanmax(trace.temp_c) and _noise_ceased(trace, start):
        return [Stuck(*ends, "its highest reading, and without the noise it had before: the end of its range", True)]
    return []


def _jumped(trace: Trace, start: int, at_c: float) -> bool:
    """Whether a number was jumped to from a hot furnace: up to the highest of all, or down to freezing or below."""
    before = trace.temp_c[max(0, start - 10) : start]
    before = before[np.isfinite(before)]
    if not before.size or before[-1] < HOT_C:
        return False
    up = at_c - before[-1] > JUMP_C and at_c >= np.nanmax(trace.temp_c)
    return bool(up or at_c <= 0.0)


def without_broken(run: Run, stuck: tuple[Stuck, ...]) -> Run:
    """The run without the numbers of broken sensors.

    Parameters
    ----------
    run : Run
        The run.
    stuck : tuple of Stuck
        Where readings stood still.

    Returns
    -------
    Run
        Its traces are NaN where a sensor was broken.
    """
    broken = [s for s in stuck if s.broken]
    if not broken:
        return run
    made = []
    for trace in run.traces:
        temp_c = trace.temp_c.copy()
        for s in broken:
            if s.sensor == trace.name:
                temp_c[(trace.t_s >= s.start_s) & (trace.t_s <= s.end_s)] = np.nan
        made.append(replace(trace, temp_c=temp_c))
    return replace(run, traces=tuple(made))


def _moved(t: FloatArray, signal: FloatArray | None, start: int, end: int) -> float:
    """How far a signal's level moved within a stretch: medians over its eighths, the first left out."""
    if signal is None:
        return 0.0
    part = signal[start : end + 1]
    eighths = [q[np.isfinite(q)] for q in np.array_split(part, 8)[1:]]
    levels = [float(np.median(q)) for q in eighths if q.size]
    return max(levels) - min(levels) if levels else 0.0


def _noise_ceased(trace: Trace, start: int) -> bool:
    """Whether the readings before a stretch were noisier than their own step."""
    before = trace.temp_c[max(0, start - 200) : start]
    before = before[np.isfinite(before)]
    if before.size < 50:
        return False
    off = np.abs(before[1:-1] - (before[:-2] + before[2:]) / 2.0)
    steps = np.abs(np.diff(before))
    step_c = max(trace.resolution_c, float(np.min(steps[steps > 1e-9], initial=np.inf)))
    return float(np.median(off)) >= 1.5 * step_c
