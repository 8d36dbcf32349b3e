"""Lays a suspect run over good ones, aligned on the moment they entered a hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.audit.contrasts.statistics import MAD_TO_SIGMA
from soakwitness.analysis.evidence.run_figures import HoldFigures, RunFigures
from soakwitness.analysis.record.run import FloatArray, Trace

GRID = 1200
BEFORE_S, AFTER_S = 3 * 3600.0, 3600.0
LEAST_C = 4.0
SPREADS = 4.0
LEAST_SPAN_S = 60.0


@dataclass(frozen=True)
class Aligned:
    """Suspect and good traces on one clock: 0 where each entered the hold.

    ``t_s`` [s], shape (n,); ``suspect_c`` [degC], shape (n,); ``good_c`` [degC], shape (runs, n); ``median_c`` and
    ``spread_c`` [degC, K], shape (n,), NaN where no good run was read. ``apart`` lists (start, end, difference) of
    times in which the suspect lies clearly apart from the good ones [s, s, K].
    """

    step: int | None
    t_s: FloatArray
    suspect_c: FloatArray
    good_c: FloatArray
    median_c: FloatArray
    spread_c: FloatArray
    apart: tuple[tuple[float, float, float], ...]
    hold: HoldFigures | None


def hold_to_align(figures: RunFigures) -> HoldFigures | None:
    """The hold that everything is aligned on: the hottest one that was found."""
    found = [h for h in figures.holds if h.enter_s is not None]
    return max(found, key=lambda h: h.target_c) if found else None


def align(
    suspect: Trace,
    figures: RunFigures,
    good: Sequence[Trace],
    good_figures: Mapping[str, RunFigures],
    runs: Sequence[str],
) -> Aligned:
    """Lay traces over each other.

    Returns all on one clock. Where the suspect never entered a hold, all are aligned on their beginnings.
    """
    hold = hold_to_align(figures)
    step = hold.step if hold else None
    zero = hold.enter_s if hold and hold.enter_s is not None else float(suspect.t_s[0])
    grid = np.linspace(max(-BEFORE_S, float(suspect.t_s[0]) - zero), min(AFTER_S, float(suspect.t_s[-1]) - zero), GRID)
    lines = []
    for trace, run in zip(good, runs, strict=True):
        start = _zero(good_figures.get(run), step, trace)
        if start is not None:
            lines.append(_on_grid(trace, start, grid))
    good_c = np.array(lines) if lines else np.full((0, grid.size), np.nan)
    suspect_c = _on_grid(suspect, zero, grid)
    median, spread = _middle(good_c, grid.size)
    return Aligned(
        step, grid, suspect_c, good_c, median, spread, _apart(grid, suspect_c - median, spread, good_c.shape[0]), hold
    )


def _zero(figures: RunFigures | None, step: int | None, trace: Trace) -> float | None:
    if step is None:
        return float(trace.t_s[0])
    found = next((h for h in figures.holds if h.step == step), None) if figures else None
    return found.enter_s if found else None


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


def _apart(
    t_s: FloatArray, difference: FloatArray, spread: FloatArray, runs: int
) -> tuple[tuple[float, float, float], ...]:
    """Spans in which the suspect is apart by several spreads, and by 4 K at least."""
    if runs == 0:
        return ()
    limit = np.maximum(LEAST_C, SPREADS * spread)
    far = np.abs(difference) > limit
    edges = np.flatnonzero(np.diff(np.concatenate(([0], far.astype(np.int8), [0]))))
    found = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        if t_s[b - 1] - t_s[a] >= LEAST_SPAN_S:
            part = difference[a:b]
            found.append((float(t_s[a]), float(t_s[b - 1]), float(part[np.argmax(np.abs(part))])))
    return tuple(found)
