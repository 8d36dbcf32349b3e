"""Lays the steps of a suspect run over those of good ones, each step aligned on its own start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from soakwitness.analysis.audit.contrasts.statistics import MAD_TO_SIGMA
from soakwitness.analysis.evidence.run_figures import HoldFigures, RunFigures
from soakwitness.analysis.record.run import FloatArray, Trace

GRID = 700
LEAST_C = 4.0
SPREADS = 4.0
LEAST_SPAN_S = 60.0
CLIMBED_C = 30.0  # above what it began with: heating has begun
BEFORE_S, AFTER_S = 180.0, 600.0
LONGEST_CLIMB = 2.5  # of the good ones' climb: what is drawn of a furnace that never arrives
FEWEST_COMPARED = 2
OPENS_S = 45.0  # a door is open before the pull is marked
MOST_HOLDS = 2


@dataclass(frozen=True)
class AlignedStep:
    """A climb or a hold on its own clock: 0 where it began in each run, ``zero_s`` on the suspect run's clock [s].

    ``t_s`` [s], shape (n,); ``suspect_c`` [degC], shape (n,); ``good_c`` [degC], shape (runs, n); ``median_c`` and
    ``spread_c`` [degC, K], shape (n,), NaN where no good run was read. ``ends_s``: when the suspect's step ended [s].
    ``comparable_s``: until when it may be compared, None where fewer than two good runs had this very hold. ``apart``:
    (start, end, difference) of times until then in which the suspect lies clearly apart [s, s, K]. ``hold``: the hold,
    or the one it climbs to. ``by_load``: it began with the loading of the charge, not when the furnace was there.
    """

    kind: Literal["climb", "hold"]
    hold: HoldFigures | None
    zero_s: float
    ends_s: float
    t_s: FloatArray
    suspect_c: FloatArray
    good_c: FloatArray
    median_c: FloatArray
    spread_c: FloatArray
    comparable_s: float | None = None
    apart: tuple[tuple[float, float, float], ...] = ()
    by_load: bool = False


def align_steps(
    suspect: Trace, figures: RunFigures, good: Sequence[tuple[Trace, RunFigures]]
) -> tuple[AlignedStep, ...]:
    """Lay the last two holds of a run, and the climbs to them, over those of good runs.

    Returns climbs and holds in order; of a run that never came to a hold its climb alone.
    """
    holds = _found(figures)
    if not holds:
        return (_climb(suspect, good, None, None),)
    steps: list[AlignedStep] = []
    for before, hold in zip([None, *holds], holds, strict=False):
        steps += [_climb(suspect, good, before, hold), _hold(suspect, figures, good, hold, last=hold is holds[-1])]
    return tuple(steps[-2 * MOST_HOLDS :])


def hold_start(hold: HoldFigures) -> float | None:
    """When the furnace came into the band of a hold; the blade came later [s]."""
    return hold.chamber_enter_s if hold.chamber_enter_s is not None else hold.enter_s


def _charge_start(figures: RunFigures, hold: HoldFigures) -> float:
    """When a hold began for the charge: with its loading where the furnace was in the band already [s]."""
    start = hold_start(hold) or 0.0
    loads = [f.load_s for f in figures.pieces if f.load_s is not None and start < f.load_s < _end(hold)]
    return min(loads, default=start)


def _first_out(figures: RunFigures, hold: HoldFigures) -> float:
    """When the first piece was pulled out of a hold, else when it ended [s]."""
    pulls = [f.pull_s for f in figures.pieces if f.pull_s is not None and f.pull_s > _charge_start(figures, hold)]
    return min([*pulls, _end(hold)])


def _found(figures: RunFigures) -> list[HoldFigures]:
    return sorted((h for h in figures.holds if hold_start(h) is not None), key=lambda h: hold_start(h) or 0.0)


def _end(hold: HoldFigures) -> float:
    """When a hold ended [s]."""
    start = hold_start(hold) or 0.0
    ends = [hold.leave_s, start + hold.chamber_s if hold.chamber_s is not None else None]
    return max((e for e in ends if e is not None), default=start + hold.required_s)


def _climbs_from(trace: Trace, before: HoldFigures | None) -> float:
    """Where a climb began: at the end of the hold before it, else where the reading began to rise [s]."""
    if before is not None:
        return _end(before)
    had = np.isfinite(trace.temp_c)
    t, temp = trace.t_s[had], trace.temp_c[had]
    if not t.size:
        return 0.0
    risen = np.flatnonzero(temp > temp[0] + CLIMBED_C)
    return float(t[risen[0]]) if risen.size else float(t[0])


def _same(figures: RunFigures, hold: HoldFigures | None) -> HoldFigures | None:
    """The same step in another run, where it was found."""
    if hold is None:
        return None
    return next((h for h in figures.holds if h.step == hold.step and hold_start(h) is not None), None)


def _climb(
    suspect: Trace, good: Sequence[tuple[Trace, RunFigures]], before: HoldFigures | None, hold: HoldFigures | None
) -> AlignedStep:
    zero = _climbs_from(suspect, before)
    last = float(suspect.t_s[-1]) if suspect.t_s.size else zero
    ends = last if hold is None else hold_start(hold) or last
    others, took = [], []
    for trace, figures in good:
        start = _climbs_from(trace, _same(figures, before) if before else None)
        there = _same(figures, hold) if hold else next(iter(_found(figures)), None)
        if before is not None and _same(figures, before) is None:
            continue
        others.append((trace, start))
        took += [(hold_start(there) or start) - start] if there is not None else []
    usual = float(np.median(took)) if took else 0.0
    length = max(usual, min(ends - zero, LONGEST_CLIMB * usual) if hold is None and usual else ends - zero)
    return _step("climb", suspect, others, hold, (zero, ends), (-BEFORE_S, length + BEFORE_S))


def _hold(
    suspect: Trace, own: RunFigures, good: Sequence[tuple[Trace, RunFigures]], hold: HoldFigures, *, last: bool
) -> AlignedStep:
    zero, ends = _charge_start(own, hold), _end(hold)
    there = [(trace, figures, found) for trace, figures in good if (found := _same(figures, hold)) is not None]
    lasted = [_end(h) - _charge_start(figures, h) for _, figures, h in there]
    usual = float(np.median(lasted)) if lasted else 0.0
    others = [(trace, _charge_start(figures, h)) for trace, figures, h in there]
    alike = [h for *_, h in there if abs(h.target_c - hold.target_c) < 0.5 and h.required_s == hold.required_s]
    comparable = len(alike) >= FEWEST_COMPARED and len(alike) == len(there)
    # until somebody opened to pull: from then on each run goes its own way
    held = [_first_out(own, hold) - zero, *(_first_out(f, h) - _charge_start(f, h) for _, f, h in there)]
    window = (-BEFORE_S, max(ends - zero, usual, hold.required_s) + (AFTER_S if last else BEFORE_S))
    step = _step(
        "hold",
        suspect,
        others,
        hold,
        (zero, ends),
        window,
        held_s=max(min(held) - OPENS_S, 1.0) if comparable else None,
    )
    return replace(step, by_load=zero > (hold_start(hold) or 0.0))


def _step(
    kind: Literal["climb", "hold"],
    suspect: Trace,
    others: Sequence[tuple[Trace, float]],
    hold: HoldFigures | None,
    when: tuple[float, float],
    window: tuple[float, float],
    *,
    held_s: float | None = None,
) -> AlignedStep:
    """One step on its own clock; ``held_s``: how long it may be compared, None where it may not."""
    grid = np.linspace(*window, GRID)
    lines = [_on_grid(trace, start, grid) for trace, start in others]
    good_c = np.array(lines) if lines else np.full((0, grid.size), np.nan)
    suspect_c = _on_grid(suspect, when[0], grid)
    median, spread = _middle(good_c, grid.size)
    apart: tuple[tuple[float, float, float], ...] = ()
    if held_s is not None:
        inside = (grid >= 0.0) & (grid <= held_s)
        apart = _apart(grid, np.where(inside, suspect_c - median, np.nan), spread)
    return AlignedStep(kind, hold, when[0], when[1], grid, suspect_c, good_c, median, spread, held_s, apart)


def _on_grid(trace: Trace, zero_s: float, grid: FloatArray) -> FloatArray:
    """Trace at the grid's times; NaN outside the record and inside its gaps."""
    had = np.isfinite(trace.temp_c)
    t, temp = trace.t_s[had] - zero_s, trace.temp_c[had]
    if t.size < 2:
        return np.full(grid.size, np.nan)
    line = np.interp(grid, t, temp, left=np.nan, right=np.nan)
    after = np.clip(np.searchsorted(t, grid), 1, t.size - 1)
    wide = t[after] - t[after - 1] > max(5.0 * trace.period_s, 30.0)
    return np.where(wide, np.nan, line)


def _middle(good_c: FloatArray, size: int) -> tuple[FloatArray, FloatArray]:
    if good_c.shape[0] == 0:
        return np.full(size, np.nan), np.full(size, np.nan)
    some = np.isfinite(good_c).any(axis=0)
    median, spread = np.full(size, np.nan), np.full(size, np.nan)
    median[some] = np.nanmedian(good_c[:, some], axis=0)
    spread[some] = MAD_TO_SIGMA * np.nanmedian(np.abs(good_c[:, some] - median[some]), axis=0)
    return median, spread


def _apart(t_s: FloatArray, difference: FloatArray, spread: FloatArray) -> tuple[tuple[float, float, float], ...]:
    """Spans in which the suspect is apart by several spreads, and by 4 K at least."""
    limit = np.maximum(LEAST_C, SPREADS * spread)
    far = np.abs(difference) > limit
    edges = np.flatnonzero(np.diff(np.concatenate(([0], far.astype(np.int8), [0]))))
    found = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        if t_s[b - 1] - t_s[a] >= LEAST_SPAN_S:
            part = difference[a:b]
            found.append((float(t_s[a]), float(t_s[b - 1]), float(part[np.argmax(np.abs(part))])))
    return tuple(found)
