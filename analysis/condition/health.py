"""The furnace's own figures of one run: full-power rate, output, overshoot, cooling, how well it was sampled."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from soakwitness.analysis.condition.levels import mean_between
from soakwitness.analysis.condition.measuring import control_trace
from soakwitness.analysis.condition.surroundings import surroundings
from soakwitness.analysis.evidence.run_figures import ConditionFigures, HoldFigures, RunFigures
from soakwitness.analysis.recipes.recipe import Ramp, Recipe
from soakwitness.analysis.record.ramp_rates import window_rates
from soakwitness.analysis.record.run import FloatArray, Run, Trace
from soakwitness.analysis.verification.results.verification import PieceInfo, RampResult, Verification

FULL_PCT = 98.0
SHARE_AT_FULL = 0.95
COOLING_FROM_C = (900.0, 800.0, 700.0, 600.0)
OFF_PCT = 1.0
LATE = (0.5, 0.95)  # part of a hold in which the bricks take less and less and no door is open yet
OFF_FOR_S, SETTLES_S = 180.0, 60.0  # how long nothing is on, and what element and sensor need to follow


def condition_figures(
    run: Run,
    recipe: Recipe | None,
    verification: Verification | None,
    figures: RunFigures,
    *,
    pieces: Sequence[PieceInfo] = (),
    load_kg: float | None = None,
    empty: bool = False,
) -> ConditionFigures:
    """Measure what tells of the furnace itself.

    ``figures``: what was measured of the run for the audit. ``pieces``: what the log book knows of the charge;
    ``load_kg`` and ``empty`` what was entered of all that was in the furnace. Returns the figures; what the record
    does not show is None or missing from its mapping.
    """
    control = control_trace(run)
    around = surroundings(run, pieces, load_kg=load_kg, empty=empty)
    if control is None:
        return ConditionFigures(figures.run, figures.furnace, figures.started_utc, str(figures.sensor.key))
    other = next((d for d in figures.differences if d.role == "load" and d.step is not None), None) or next(
        (d for d in figures.differences if d.step is not None), None
    )
    holds = [h for h in figures.holds if h.found]
    late = {_key(h.target_c): when for h in holds if (when := _late(h)) is not None}
    return ConditionFigures(
        run=figures.run,
        furnace=figures.furnace,
        started_utc=figures.started_utc,
        sensor_key=str(figures.sensor.key),
        door=_doors(figures),
        full_power=full_power_rates(run, control, recipe, verification) or None,
        output=_filled({at: mean_output(run, *when) for at, when in late.items()}),
        overshoot=_filled({_key(h.target_c): h.overshoot_c for h in holds}),
        difference={
            _key(h.target_c): d.difference_c
            for h in holds
            for d in figures.differences
            if other is not None and d.sensor == other.sensor and d.step == h.step
        }
        or None,
        cooling=cooling_rates(run, control) or None,
        swing=_filled({at: swing(control, *when) for at, when in late.items()}),
        afterheat_c=afterheat(run, control),
        missed_share=missed_share(control.t_s, control.temp_c, control.period_s),
        noise_c=noise(control.temp_c),
        lost=sum(event == "link lost" for _, event, _ in figures.events),
        faults=sum(event == "sensor fault" for _, event, _ in figures.events),
        sensor=control.name,
        other=other.sensor if other else None,
        recipe=figures.recipe_digest,
        **vars(around),
    )


def _filled(values: dict[str, float | None]) -> dict[str, float] | None:
    return {at: value for at, value in values.items() if value is not None} or None


def _late(hold: HoldFigures) -> tuple[float, float] | None:
    start_s = hold.chamber_enter_s if hold.chamber_enter_s is not None else hold.enter_s
    if start_s is None or hold.leave_s is None or hold.leave_s <= start_s:
        return None
    first, last = (start_s + share * (hold.leave_s - start_s) for share in LATE)
    return first, last


def mean_output(run: Run, start_s: float, end_s: float) -> float | None:
    """Mean output between two moments [%]: the mean, as an output may be either on or off."""
    output = run.signal("output")
    if output is None:
        return None
    part = output[(run.t_s >= start_s) & (run.t_s <= end_s)]
    part = part[np.isfinite(part)]
    return float(part.mean()) if part.size else None


def swing(control: Trace, start_s: float, end_s: float) -> float | None:
    """Range in which nine tenths of the readings between two moments lie [K]."""
    part = control.temp_c[(control.t_s >= start_s) & (control.t_s <= end_s)]
    part = part[np.isfinite(part)]
    return float(np.subtract(*np.percentile(part, (95.0, 5.0)))) if part.size >= 10 else None


def afterheat(run: Run, control: Trace) -> float | None:
    """Most that the reading climbed from the second minute on after the output went off and stayed so [K]."""
    output = run.signal("output")
    if output is None:
        return None
    off = np.isfinite(output) & (output <= OFF_PCT)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], off.astype(np.int8), [0]))))
    most: float | None = None
    for first, last in zip(edges[::2], edges[1::2] - 1, strict=True):
        begin = float(run.t_s[first])
        if begin <= float(control.t_s[0]) or float(run.t_s[last]) - begin < OFF_FOR_S:
            continue
        inside = (control.t_s >= begin + SETTLES_S) & (control.t_s <= run.t_s[last]) & np.isfinite(control.temp_c)
        part = control.temp_c[inside]
        if part.size >= 3:
            most = max(most or 0.0, float(part.max() - part[0]))
    return most


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
    more for 95 % of the time; without: windows within ramps that the recipe asks to be at full power, or, where none
    is found, on the way to the first hold, which tells when a program can no more be followed.
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
    steps = verification.steps if verification is not None else ()
    full = {s.number for s in recipe.steps if isinstance(s, Ramp) and s.rate_c_per_h is None} if recipe else set()
    ramps = [
        (s.start_s, s.end_s)
        for s in steps
        if isinstance(s, RampResult) and s.step in full and s.start_s is not None and s.end_s is not None
    ]
    if ramps:
        return ramps
    first = next((h for h in (verification.holds if verification else ()) if h.found), None)
    enter = None if first is None else first.control_enter_s if first.control_enter_s is not None else first.enter_s
    end_s = enter if enter is not None else float(control.t_s[np.nanargmax(control.temp_c)])
    return [(float(control.t_s[0]), end_s)]


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
        start_s, end_s = (
            _crossing(t, temp, upper, int(below_upper[0])),
            _crossing(t, temp, upper - 100.0, int(below_lower[0])),
        )
        powered = mean_between(run.t_s, output, start_s, end_s) if output is not None else 0.0
        if end_s > start_s and (powered or 0.0) <= OFF_PCT:
            found[f"{upper:.0f}"] = 100.0 / (end_s - start_s) * 3600.0
    return found


def _crossing(t_s: FloatArray, temp_c: FloatArray, level_c: float, first_below: int) -> float:
    """When the reading fell through a level, between the last one above and the first one below [s]."""
    above, below = temp_c[first_below - 1], temp_c[first_below]
    share = (above - level_c) / (above - below) if above > below else 1.0
    return float(t_s[first_below - 1] + share * (t_s[first_below] - t_s[first_below - 1]))


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
