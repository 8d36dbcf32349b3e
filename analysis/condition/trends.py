"""Series of the furnace's own figures over many runs, and which of them have moved since when."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

import numpy as np

from soakwitness.analysis.condition.control_charts import (
    Cusum,
    Ewma,
    Individuals,
    cusum,
    ewma,
    individuals,
    spread,
)
from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.analysis.record.run import FloatArray
from soakwitness.firmware_bridge.common.wording import Says, Temp

Kind = Literal["rate", "output", "overshoot", "difference", "cooling", "missed", "noise", "accuracy"]
FEWEST = 8
BASE_MOST = 20
LAST = 5
EWMA_WEIGHT = 0.2
ALLOWANCE, LIMIT = 0.5, 5.0  # of the CUSUM, in standard deviations: one false alarm in about 465 runs

# What counts as a change worth naming, beyond what statistics alone would flag: engineering guesses.
LEAST_CHANGE: dict[Kind, float] = {
    "rate": 0.04,
    "output": 0.05,
    "overshoot": 2.0,
    "difference": 2.0,
    "cooling": 0.06,
    "missed": 0.01,
    "noise": 0.3,
    "accuracy": 1.5,
}
RELATIVE: frozenset[Kind] = frozenset(("rate", "output", "cooling"))
LEAST_SPREAD: dict[Kind, float] = {
    "rate": 0.005,
    "output": 0.01,
    "overshoot": 0.2,
    "difference": 0.2,
    "cooling": 0.01,
    "missed": 0.001,
    "noise": 0.02,
    "accuracy": 0.3,
}


@dataclass(frozen=True)
class Series:
    """One figure over runs. ``where`` is a temperature [degC] as text; ``group`` says of which runs."""

    kind: Kind
    where: str
    group: str
    runs: tuple[str, ...]
    days: tuple[str, ...]
    values: FloatArray

    @property
    def name(self) -> Says:
        """Name for a table."""
        words = {
            "rate": "full power from {where}",
            "output": "output at {where}",
            "overshoot": "overshoot at {where}",
            "difference": "control minus other at {where}",
            "cooling": "cooling from {where}",
            "missed": "readings missed",
            "noise": "noise",
            "accuracy": "accuracy test",
        }
        return Says.of(words[self.kind], where=Temp(float(self.where)) if self.where else "")


@dataclass(frozen=True)
class Trend:
    """A series with its charts. ``change`` is that of the last runs against the first: a share or in its own unit.

    ``since`` is the day from which it drifts, None where it does not; ``steady_rise`` the rank correlation with time
    from there on: near 1 for a slow drift, near 0 after a step.
    """

    series: Series
    singles: Individuals
    smoothed: Ewma
    sums: Cusum
    usual: float
    now: float
    change: float
    moved: bool
    since: str | None
    steady_rise: float


def charge_group(run: ConditionFigures) -> str:
    """Which runs a run may be compared with."""
    if run.door > 0:
        return "door opened"
    return {True: "charged", False: "empty", None: "charge not known"}[run.charged]


def all_series(runs: Sequence[ConditionFigures]) -> tuple[Series, ...]:
    """Every figure of a furnace as a series, runs of each group apart.

    Returns those with two values at least. Differences between sensors and overshoot begin anew with each sensor life.
    """
    found: list[Series] = []
    groups: dict[str, list[ConditionFigures]] = {}
    for run in runs:
        groups.setdefault(charge_group(run), []).append(run)
    for group, members in groups.items():
        life = [r for r in members if r.sensor_key == members[-1].sensor_key]
        found += _by_temperature("rate", group, members, lambda r: r.full_power)
        found += _by_temperature("output", group, members, lambda r: r.output)
        found += _by_temperature("overshoot", group, life, lambda r: r.overshoot)
        found += _by_temperature("difference", group, life, lambda r: r.difference)
        found += _by_temperature("cooling", group, members, lambda r: r.cooling)
    found += _plain("missed", "all runs", runs, lambda r: r.missed_share)
    found += _plain("noise", "all runs", runs, lambda r: r.noise_c)
    return tuple(s for s in found if s.values.size >= 2)


def _by_temperature(
    kind: Kind,
    group: str,
    runs: Sequence[ConditionFigures],
    get: Callable[[ConditionFigures], object],
) -> list[Series]:
    points: dict[str, list[tuple[ConditionFigures, float]]] = {}
    for run in runs:
        values = get(run)
        if isinstance(values, dict):
            for where, value in values.items():
                if value is not None:
                    points.setdefault(where, []).append((run, float(value)))
    return [_series(kind, where, group, found) for where, found in sorted(points.items(), key=_temperature)]


def _temperature(item: tuple[str, object]) -> float:
    return float(item[0])


def _plain(
    kind: Kind, group: str, runs: Sequence[ConditionFigures], get: Callable[[ConditionFigures], float | None]
) -> list[Series]:
    found = [(run, value) for run in runs if (value := get(run)) is not None]
    return [_series(kind, "", group, found)] if found else []


def _series(kind: Kind, where: str, group: str, found: Sequence[tuple[ConditionFigures, float]]) -> Series:
    return Series(
        kind,
        where,
        group,
        tuple(run.run for run, _ in found),
        tuple(run.started_utc[:10] for run, _ in found),
        np.array([value for _, value in found], dtype=float),
    )


def trend(series: Series) -> Trend | None:
    """Chart a series and say whether it has moved.

    Mean and standard deviation come from the first values (a third of them, 5 to 20). It has moved where the CUSUM (k =
    0.5, h = 5 standard deviations) or the EWMA (weight 0.2) ends outside its limits, and the last five values have
    changed by more than a figure worth naming.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.
    """
    values = series.values
    if values.size < FEWEST:
        return None
    base = min(BASE_MOST, max(5, values.size // 3))
    usual = float(np.median(values[:base]))
    size = abs(usual) if series.kind in RELATIVE and usual else 1.0
    floor = LEAST_SPREAD[series.kind] * size
    sigma = max(spread(values[:base]), floor)
    smoothed = ewma(values, target=usual, sigma=sigma, weight=EWMA_WEIGHT)
    sums = cusum(values, target=usual, allowance=ALLOWANCE * sigma, limit=LIMIT * sigma)
    now = float(np.median(values[-LAST:]))
    change = (now - usual) / size
    out = bool(smoothed.out[-1]) or (sums.alarms and sums.alarms[-1] == values.size - 1)
    moved = bool(out) and abs(change) >= LEAST_CHANGE[series.kind]
    since = sums.since if sums.alarms else None
    return Trend(
        series=series,
        singles=individuals(values, base=base, least_spread=floor),
        smoothed=smoothed,
        sums=sums,
        usual=usual,
        now=now,
        change=change,
        moved=moved,
        since=series.days[since] if moved and since is not None else series.days[base] if moved else None,
        steady_rise=_steadiness(values[base if since is None else max(since, 1) :]),
    )


def _steadiness(values: FloatArray) -> float:
    """Rank correlation of values with their order: near 1 for a steady rise, near 0 for ups and downs."""
    if values.size < 4:
        return 0.0
    ranks = np.argsort(np.argsort(values)).astype(float)
    order = np.arange(values.size, dtype=float)
    top = float(((ranks - ranks.mean()) * (order - order.mean())).sum())
    bottom = float(np.sqrt(((ranks - ranks.mean()) ** 2).sum() * ((order - order.mean()) ** 2).sum()))
    return top / bottom if bottom > 0 else 0.0


def middle_change(
    trends: Sequence[Trend], *, kind: Kind, low_c: float = -300.0, high_c: float = 3000.0
) -> float | None:
    """Median change of one kind of figure over a range of temperatures.

    Returns A share for rates, output and cooling, else in K; None where there is no such trend.
    """
    found = [t.change for t in trends if t.series.kind == kind and low_c <= float(t.series.where or 0) < high_c]
    return median(found) if found else None
