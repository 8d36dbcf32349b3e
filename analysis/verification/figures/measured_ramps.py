"""Ramps of one run: where each begins and ends, and its rate."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Ramp
from soakwitness.analysis.record.median import median
from soakwitness.analysis.record.ramp_rates import ramp_rate
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.results.verification import RampResult
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.placed_edges import placed_edges
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun

BEGUN_C = 2.0
BEGUN_SHARE = 0.02


def measure_ramps(run: GatheredRun) -> dict[int, RampResult]:
    """Find and measure every ramp; results, still without a verdict, by the step's number."""
    results: dict[int, RampResult] = {}
    steps = run.recipe.steps
    at_s: float | None = run.chamber.first_s
    holds = iter(range(len(run.chamber.placed)))
    edges: Edges | None = None
    for place, step in enumerate(steps):
        if isinstance(step, Hold):
            edges = placed_edges(run.chamber.placed, next(holds), run.chamber.readings)
            at_s = edges.leave_s if edges else None
            continue
        following = steps[place + 1] if place + 1 < len(steps) else None
        result = _ramp(run, step, place, at_s, following)
        results[step.number] = result
        if not isinstance(following, Hold):
            at_s = result.end_s
    return results


def _ramp(run: GatheredRun, step: Ramp, place: int, after_s: float | None, following: Ramp | Hold | None) -> RampResult:
    bare = RampResult(step.number, step.to_c, False, required_rate_c_per_h=step.rate_c_per_h, cycle=step.cycle)
    span = _span(run, step, place, after_s, following)
    if span is None:
        return bare
    start_s, end_s = span
    trace = run.chamber.readings
    low, high = trace.between(start_s, end_s)
    rate = ramp_rate(trace.t_s[low:high], trace.temp_c[low:high], start_s=start_s, end_s=end_s)
    if rate is None:
        return replace(bare, found=True, start_s=start_s, end_s=end_s)
    return replace(
        bare,
        found=True,
        start_s=start_s,
        end_s=end_s,
        rate_c_per_h=rate.rate_c_per_h,
        end_to_end_rate_c_per_h=rate.end_to_end_rate_c_per_h,
        curved=rate.curved,
    )


def _span(
    run: GatheredRun, step: Ramp, place: int, after_s: float | None, following: Ramp | Hold | None
) -> tuple[float, float] | None:
    """Begin and end of a ramp [s], None where it is not on record."""
    trace = run.chamber.readings
    if isinstance(following, Hold):
        number = run.recipe.holds.index(following)
        placed, edges = run.chamber.placed[number], placed_edges(run.chamber.placed, number, trace)
        if placed is None or edges is None or not edges.entered:
            return None
        if edges.enter_s > run.end_s:
            return None  # seen by a load sensor alone: the chamber was read no more
        window = placed.window_s if placed.window_s is not None else run.chamber.first_s
        begin = window if after_s is None else _way_begin(run, place, after_s, window)
        end = _arrival(trace, following.target_c, edges, placed.stays[0].start_s)
        return _begun(trace, begin, end), end
    if after_s is None:
        return None
    begin = _level_end(run, place, after_s)
    low, high = trace.between(begin, run.end_s)
    part = trace.temp_c[low:high]
    if part.size < 3:
        return None
    upward = step.to_c > part[0]
    there = np.flatnonzero(part >= step.to_c if upward else part <= step.to_c)
    if not there.size:
        return None
    end = float(trace.t_s[low + int(there[0])])
    return (_begun(trace, begin, end), end) if end > begin else None


def _way_begin(run: GatheredRun, place: int, after_s: float, window_s: float) -> float:
    """Where the way to a hold began: the end of the level part before it, unless the furnace cooled in between."""
    level_s, trace = _level_end(run, place, after_s), run.chamber.readings
    at_level, at_window = trace.at(level_s), trace.at(window_s)
    return window_s if at_window < at_level - 2.0 * trace.back_c and window_s > level_s else level_s


def _level_end(run: GatheredRun, place: int, after_s: float) -> float:
    """A ramp begins where the level part of the hold before it ended: trace it back from *leave*."""
    before = run.recipe.steps[place - 1] if place else None
    if not isinstance(before, Hold):
        return after_s
    trace = run.chamber.readings
    edges = placed_edges(run.chamber.placed, run.recipe.holds.index(before), trace)
    if edges is None:
        return after_s
    low, high = trace.between(edges.enter_s, edges.leave_s)
    part = trace.temp_c[low:high]
    if not part.size:
        return after_s
    level, spare = median(part), 0.15 * min(before.above_c, before.below_c)
    near = np.flatnonzero(np.abs(part - level) <= max(spare, trace.back_c))
    return float(trace.t_s[low + int(near[-1])]) if near.size else after_s


def _arrival(trace: Readings, target_c: float, edges: Edges, stay_s: float) -> float:
    """When the target was reached: its first crossing after *enter*, else the begin of the level part, else *enter*."""
    low, high = trace.between(edges.enter_s, max(stay_s, edges.enter_s))
    part = trace.temp_c[low:high]
    there = np.flatnonzero(part <= target_c if edges.from_above else part >= target_c)
    return float(trace.t_s[low + int(there[0])]) if there.size else edges.enter_s


def _begun(trace: Readings, begin_s: float, end_s: float) -> float:
    """Last time at which the ramp had not yet begun: within 2 % of the span, at least 2 K, of its first reading."""
    low, high = trace.between(begin_s, end_s)
    part = trace.temp_c[low:high]
    if part.size < 3:
        return begin_s
    away = max(BEGUN_SHARE * abs(float(part[-1] - part[0])), BEGUN_C)
    still = np.flatnonzero(np.abs(part - part[0]) <= away)
    return float(trace.t_s[low + int(still[-1])])
