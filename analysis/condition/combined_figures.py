"""One value a run and kind of figure: what its windows, or its holds, say together."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.wording import Says, Temp

Kind = Literal[
    "climb", "top", "output", "cooling", "overshoot", "swing", "afterheat", "difference", "missed", "noise", "room"
]
RELATIVE: frozenset[Kind] = frozenset(("climb", "top", "output", "cooling"))
LOW_BELOW_C, TOP_FROM_C = 400.0, 500.0
HOTTEST_FROM = 0.6  # share of the runs that must have a hold for it to be the hottest usual one
FULL_SHARE = 0.6  # exponent that fits how a loss of power slows the windows near the top more: engineering guess
WORDS: dict[Kind, str] = {
    "climb": "climb at full power from {at}",
    "top": "climb near the top against below",
    "output": "output to hold {at}",
    "cooling": "cooling from {at}",
    "overshoot": "overshoot at {at}",
    "swing": "swing in the hold at {at}",
    "afterheat": "climb with nothing on",
    "difference": "control minus other at {at}",
    "missed": "readings missed",
    "noise": "noise",
    "room": "room at the start",
}


@dataclass(frozen=True)
class Combined:
    """One figure over runs. ``values``: the deviation from ``base``, as natural logarithm where the kind is relative.

    ``base`` is what is usual at ``at_c`` in the figure's own unit; None where the figure has none of its own (a share).
    ``index`` says of which of the runs the values are.
    """

    kind: Kind
    at_c: float | None
    base: float
    values: FloatArray
    index: tuple[int, ...]

    @property
    def name(self) -> Says:
        """Name for a table."""
        return Says.of(WORDS[self.kind], at=Temp(self.at_c) if self.at_c is not None else "")

    def shown(self, deviation: float) -> float:
        """A deviation as a value of the figure, in its own unit."""
        if self.kind in RELATIVE:
            return float(self.base * np.exp(deviation))
        return self.base + deviation


@dataclass(frozen=True)
class _Table:
    """Values by run and place, shape (n, places), NaN where there is none, as logarithm where relative."""

    places: FloatArray
    values: FloatArray
    weight: FloatArray  # what a deviation at each place counts in that of the main place

    def part(self, low_c: float = -1e9, high_c: float = 1e9) -> _Table:
        inside = (self.places >= low_c) & (self.places < high_c)
        return _Table(self.places[inside], self.values[:, inside], self.weight[inside])

    def hottest(self) -> _Table:
        """The hottest place that most runs have: in a hold before it the bricks still take much."""
        if not self.places.size:
            return self
        counts = np.isfinite(self.values).sum(axis=0)
        at_c = float(self.places[np.flatnonzero(counts >= HOTTEST_FROM * counts.max())[-1]])
        return self.part(at_c, at_c + 1.0)


def combined_figures(runs: Sequence[ConditionFigures]) -> tuple[Combined, ...]:
    """Every kind of figure that two runs and more have.

    A fall of power slows the upper windows more than the lower ones; each is brought to the same scale first, so that
    ``top``, upper less lower windows, tells of losses and hardly of power.
    """
    rates = _table(runs, lambda r: r.full_power, relative=True, steepness=FULL_SHARE)
    outputs = _table(runs, lambda r: r.output, relative=True)
    outputs = outputs.hottest()
    found: list[Combined | None] = [
        _combined("climb", rates),
        _top(rates),
        _combined("output", outputs),
        _combined("cooling", _table(runs, lambda r: r.cooling, relative=True)),
        _combined("overshoot", _table([_shut(r) for r in runs], lambda r: r.overshoot)),
        _combined("swing", _table(runs, lambda r: r.swing)),
        _combined("difference", _table(runs, lambda r: r.difference)),
        _plain("afterheat", runs, lambda r: r.afterheat_c),
        _plain("missed", runs, lambda r: r.missed_share),
        _plain("noise", runs, lambda r: r.noise_c),
        _plain("room", runs, lambda r: r.room_c),
    ]
    return tuple(c for c in found if c is not None and c.values.size >= 2)


def _shut(run: ConditionFigures) -> ConditionFigures:
    return run if not run.door else ConditionFigures(run.run, run.furnace, run.started_utc, run.sensor_key)


def _table(
    runs: Sequence[ConditionFigures],
    get: Callable[[ConditionFigures], Mapping[str, float] | None],
    *,
    relative: bool = False,
    steepness: float = 0.0,
) -> _Table:
    rows = [get(run) or {} for run in runs]
    places = sorted({place for row in rows for place in row}, key=float)
    table = np.array([[row.get(place, np.nan) for place in places] for row in rows], dtype=float)
    table = table.reshape(len(rows), len(places))
    if relative:
        table = np.log(np.where(table > 0, table, np.nan))
    kept = np.isfinite(table).any(axis=0)
    table, where = table[:, kept], np.array([float(place) for place in places])[kept]
    weight = np.ones(where.size)
    if steepness and where.size:
        usual = np.nanmedian(table, axis=0)
        slower = np.exp(steepness * (usual.max() - usual))  # how much more a place feels a loss of power
        weight = slower[_main(table)] / slower
    return _Table(where, table, weight)


def _main(table: FloatArray) -> int:
    """Place that most runs have; the middle one of several."""
    counts = np.isfinite(table).sum(axis=0)
    best = np.flatnonzero(counts >= 0.9 * counts.max())
    return int(best[best.size // 2])


def _polished(table: _Table) -> tuple[FloatArray, FloatArray]:
    """Deviation of each run (NaN where it has no value), and the usual value of each place."""
    values = table.values
    deviation = np.zeros(values.shape[0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # all-NaN rows stay NaN
        for _ in range(3):
            usual = np.nanmedian(values - np.nan_to_num(deviation)[:, None] / table.weight, axis=0)
            deviation = np.nanmedian((values - usual) * table.weight, axis=1)
    return deviation, usual


def _combined(kind: Kind, table: _Table) -> Combined | None:
    if table.places.size == 0:
        return None
    deviation, usual = _polished(table)
    main = _main(table.values)
    base = float(np.exp(usual[main]) if kind in RELATIVE else usual[main])
    return _of(kind, deviation, float(table.places[main]), base)


def _of(kind: Kind, deviation: FloatArray, at_c: float | None, base: float) -> Combined:
    had = np.flatnonzero(np.isfinite(deviation))
    return Combined(kind, at_c, base, deviation[had], tuple(int(i) for i in had))


def _top(rates: _Table) -> Combined | None:
    low, top = rates.part(high_c=LOW_BELOW_C), rates.part(TOP_FROM_C)
    if not low.places.size or not top.places.size:
        return None
    return _of("top", _polished(top)[0] - _polished(low)[0], None, 100.0)


def _plain(
    kind: Kind, runs: Sequence[ConditionFigures], get: Callable[[ConditionFigures], float | None]
) -> Combined | None:
    values = np.array([np.nan if (value := get(run)) is None else value for run in runs], dtype=float)
    if not np.isfinite(values).any():
        return None
    base = float(np.nanmedian(values))
    return _of(kind, values - base, None, base)
