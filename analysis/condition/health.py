"""The furnace's own figures of one run: full-power rate, output, overshoot, cooling, how well it was sampled."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.condition.levels import mean_between
from soakwitness.analysis.condition.measuring import control_trace
from soakwitness.analysis.evidence.run_figures import ConditionFigures, RunFigures
from soakwitness.analysis.recipes.recipe import Ramp, Recipe
from soakwitness.analysis.record.ramp_rates import window_rates
from soakwitness.analysis.record.run import FloatArray, Run, Trace
from soakwitness.analysis.verification.results.verification import RampResult, Verification

FULL_PCT = 98.0
SHARE_AT_FULL = 0.95
COOLING_FROM_C = (900.0, 800.0, 700.0, 600.0)
OFF_PCT = 1.0
HOT_C = 400.0


def condition_figures(
    run: Run, recipe: Recipe | None, verification: Verification | None, figures: RunFigures, *, charged: bool | None
) -> ConditionFigures:
    """Measure what tells of the furnace itself.

    ``figures``: what was measured of the run for the audit. ``charged``: whether anything was in the furnace; None
    where that is not known. Returns the figures; what the record does not show is None or missing from its mapping.
    """
    control = control_trace(run)
    if control is None:
        return ConditionFigures(figures.run, figures.furnace, figures.started_utc, str(figures.sensor.key), charged)
    other = next((d for d in figures.differences if d.role == "load" and d.step is not None), None) or next(
        (d for d in figures.differences if d.step is not None), None
    )
    holds = [h for h in figures.holds if h.found]
    return ConditionFigures(
        run=figures.run,
        furnace=figures.furnace,
        started_utc=figures.started_utc,
        sensor_key=str(figures.sensor.key),
        charged=charged,
        door=_doors(figures),
        full_power=full_power_rates(run, control, recipe, verification) or None,
        output={_key(h.target_c): h.output_pct for h in holds if h.output_pct is not None} or None,
        overshoot={_key(h.target_c): h.overshoot_c for h in holds if h.overshoot_c is not None} or None,
        difference={
            _key(h.target_c): d.difference_c
            for h in holds
            for d in figures.differences
            if other is not None and d.sensor == other.sensor and d.step == h.step
        }
        or None,
        cooling=cooling_rates(run, control) or None,
        missed_share=missed_share(control.t_s, control.temp_c, control.period_s),
        noise_c=noise(control.temp_c),
        lost=sum(event == "link lost" for _, event, _ in figures.events),
        faults=sum(event == "sensor fault" for _, event, _ in figures.events),
        sensor=control.name,
        other=other.sensor if other else None,
    )


def _key(target_c: float) -> str:
    return f"{target_c:.0f}"


def _doors(figures: RunFigures) -> int:
    """Doors that marks or fast dips tell of; loading and pulling are no such door."""
    moves = [t for p in figures.pieces for t in (p.load_s, p.pull_s) if t is not None]
    seen = [d.start_s for d in figures.dips if d.quick]
    alone = [t for t in seen if all(not -30.0 <= t - m <= 240.0 for m in (*moves, *figures.door_marks_s))]
    return len(alone) + len(figures.door_marks_s)


def full_power_rates(
    run: Run, control: Trace, recipe: Recipe | None, verification: Verification | None
) -> dict[str, float]:
    """Rates per 100 degC window at full power.

    Returns window's lower edge [degC] as text to rate [K/h]. With a logged output: windows in which it was at 98 % and
    more for 95 % of the time; without: windows within ramps that the recipe asks to be at full power.
    """
    output = run.signal("output")
    found: dict[str, float] = {}
    for start_s, end_s in _rises(control, output, recipe, verification):
        for window in window_rates(control.t_s, control.temp_c, start_s=start_s, end_s=end_s):
            if output is None or _at_full(run.t_s, output, window.start_s, window.end_s):
                found.setdefault(f"{window.low_c:.0f}", window.rate_c_per_h)
    return found


def _rises(
    control: Trace, output: FloatArray | None, recipe: Recipe | None, verification: Verification | None
) -> list[tuple[float, float]]:
    if output is not None:
        hottest = np.nanargmax(control.temp_c)
        return [(float(control.t_s[0]), float(control.t_s[hottest]))]
    if recipe is None or verification is None:
        return []
    full = {s.number for s in recipe.steps if isinstance(s, Ramp) and s.rate_c_per_h is None}
    return [
        (s.start_s, s.end_s)
        for s in verification.steps
        if isinstance(s, RampResult) and s.step in full and s.start_s is not None and s.end_s is not None
    ]


def _at_full(t_s: FloatArray, output: FloatArray, start_s: float, end_s: float) -> bool:
    part = output[(t_s >= start_s) & (t_s <= end_s)]
    part = part[np.isfinite(part)]
    return part.size > 0 and float(np.mean(part >= FULL_PCT)) >= SHARE_AT_FULL


def cooling_rates(run: Run, control: Trace) -> dict[str, float]:
    """Rates of free cooling per 100 degC window after the hottest part of the run.

    Returns window's upper edge [degC] as text to rate [K/h, positive]; only where the output is logged as off, or not
    logged at all.
    """
    output = run.signal("output")
    good = np.isfinite(control.temp_c)
    t, temp = control.t_s[good], control.temp_c[good]
    if t.size < 5:
        return {}
    hottest = float(temp.max())
    last_hot = int(np.flatnonzero(temp > hottest - 15.0)[-1])
    t, temp = t[last_hot:], temp[last_hot:]
    found: dict[str, float] = {}
    for upper in COOLING_FROM_C:
        below_upper, below_lower = np.flatnonzero(temp < upper), np.flatnonzero(temp < upper - 100.0)
        if upper > hottest or below_upper.size == 0 or below_lower.size == 0 or below_upper[0] == 0:
            continue
        start_s, end_s = float(t[below_upper[0]]), float(t[below_lower[0]])
        powered = mean_between(run.t_s, output, start_s, end_s) if output is not None else 0.0
        if end_s > start_s and (powered or 0.0) <= OFF_PCT:
            found[f"{upper:.0f}"] = 100.0 / (end_s - start_s) * 3600.0
    return found


def missed_share(t_s: FloatArray, temp_c: FloatArray, period_s: float) -> float | None:
    """Share of the readings that should have been had and were not.

    ``temp_c``: readings [degC], shape (n,), NaN where nothing was read. Returns 0 to 1; None for a run of less than two
    readings.
    """
    if t_s.size < 2 or period_s <= 0:
        return None
    due = (t_s[-1] - t_s[0]) / period_s + 1.0
    return float(min(1.0, max(0.0, 1.0 - np.isfinite(temp_c).sum() / due)))


def noise(temp_c: FloatArray) -> float | None:
    """Random scatter of single readings.

    1.4826 x the median size of x_k - (x_(k-1) + x_(k+1)) / 2, divided by sqrt(3 / 2), which is the standard deviation
    of that figure for white noise of unit size; a ramp adds nothing to it.

    ``temp_c``: readings [degC], shape (n,), NaN where nothing was read. Returns standard deviation [K]; None for fewer
    than ten readings.
    """
    temp = temp_c[np.isfinite(temp_c)]
    if temp.size < 10:
        return None
    second = temp[1:-1] - 0.5 * (temp[:-2] + temp[2:])
    return float(1.4826 * np.median(np.abs(second)) / np.sqrt(1.5))
