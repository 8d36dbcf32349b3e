"""The furnace's figures over many runs: which of them moved, since when and how, known conditions apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.condition.combined_figures import RELATIVE, Combined, Kind, combined_figures
from soakwitness.analysis.condition.known_conditions import Conditions, conditions_of, known_for
from soakwitness.analysis.condition.shifts import LevelCourse, Way, shift_of
from soakwitness.analysis.condition.touched import touches
from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.analysis.evidence.upkeep import Upkeep
from soakwitness.analysis.record.run import FloatArray

FEWEST = 8
MOVED_GAIN = 18.0
BESIDE: frozenset[Kind] = frozenset(("top",))  # tells only together with others
SURE_LEAD = 8.0
RESTLESS_GAIN, RESTLESS = 5.0, 1.9

# What counts as a change worth naming, beyond what statistics alone would flag: engineering guesses.
LEAST_CHANGE: dict[Kind, float] = {
    "climb": 0.04,
    "top": 0.04,
    "output": 0.04,
    "cooling": 0.03,
    "overshoot": 2.0,
    "swing": 1.5,
    "afterheat": 4.0,
    "difference": 2.0,
    "missed": 0.01,
    "noise": 0.3,
    "room": 7.0,
}
# Scatter from run to run in an ordinary workshop that knows its charges but not its mains: engineering guesses.
CHARGE_UNKNOWN = 3.0
SCATTER: dict[Kind, float] = {
    "climb": 0.02,
    "top": 0.01,
    "output": 0.02,
    "cooling": 0.02,
    "overshoot": 0.7,
    "swing": 0.4,
    "afterheat": 1.5,
    "difference": 0.7,
    "missed": 0.003,
    "noise": 0.05,
    "room": 2.5,
}


@dataclass(frozen=True)
class Trend:
    """A figure with what became of it. ``usual`` and ``now`` in its own unit, ``change`` a share or in its own unit.

    ``level`` is the line through its values, in the terms of ``figure``. ``since`` is the day of the first run of the
    change, None where it has not moved; ``days`` and ``runs`` are those of the values. ``fresh`` is the index of the
    first value of its present baseline, ``begun_by`` the part whose renewal began it, None where it is the first on
    record.
    """

    figure: Combined
    shift: LevelCourse
    runs: tuple[str, ...]
    days: tuple[str, ...]
    fresh: int
    begun_by: str | None
    level: FloatArray
    usual: float
    now: float
    change: float
    moved: bool
    since: str | None
    restless_since: str | None

    @property
    def kind(self) -> Kind:
        """Which figure it is."""
        return self.figure.kind

    @property
    def way(self) -> Way | None:
        """Whether it came at once or slowly."""
        return self.shift.main.way if self.moved and self.shift.main else None

    @property
    def way_doubtful(self) -> bool:
        """Whether the other way would explain it nearly as well."""
        return self.shift.main is not None and self.shift.main.lead < SURE_LEAD


def trends_of(runs: Sequence[ConditionFigures], upkeep: Sequence[Upkeep] = ()) -> tuple[Trend, ...]:
    """Every figure of a furnace that eight runs have; what was done to it begins another baseline."""
    conditions = conditions_of(runs)
    found = [
        _trend(f, runs, conditions, [(u.done_utc, u.part) for u in upkeep if touches(u.part, f.kind)])
        for f in combined_figures(runs)
    ]
    return tuple(t for t in found if t is not None)


def _trend(
    figure: Combined, runs: Sequence[ConditionFigures], conditions: Conditions, work: Sequence[tuple[str, str]]
) -> Trend | None:
    of = [runs[i] for i in figure.index]
    starts = [r.started_utc for r in of]
    if figure.kind in ("overshoot", "difference"):  # both begin anew with another sensor
        work = [*work, *_new_lives(of)]
    begun = {sum(s < at for s in starts): part for at, part in sorted(work)}
    begins = sorted(set(begun) - {len(starts)})
    fresh = begins[-1] if begins else 0
    if len(starts) < FEWEST:
        return None
    values, known = known_for(figure, conditions, [b for b in begins if b])
    shift = shift_of(values, known, usual_scatter=_usual_scatter(figure.kind, conditions), fresh=fresh)
    change = float(np.expm1(shift.change)) if figure.kind in RELATIVE else shift.change
    moved = (
        figure.kind not in BESIDE
        and shift.gain >= MOVED_GAIN
        and abs(change) >= LEAST_CHANGE[figure.kind]
        and shift.main is not None
    )
    restless = shift.restless_gain >= RESTLESS_GAIN and shift.restless >= RESTLESS
    days = tuple(s[:10] for s in starts)
    return Trend(
        figure=figure,
        shift=shift,
        runs=tuple(r.run for r in of),
        days=days,
        fresh=fresh,
        begun_by=begun.get(fresh),
        level=(level := shift.level if moved else shift.flat),
        usual=figure.shown(float(level[fresh])),
        now=figure.shown(float(level[-1])),
        change=change,
        moved=moved,
        since=days[shift.main.begins] if moved and shift.main else None,
        restless_since=days[shift.restless_from] if restless else None,
    )


def _usual_scatter(kind: Kind, conditions: Conditions) -> float:
    """What is not known of the charge makes the climb as wide."""
    wider = CHARGE_UNKNOWN if kind == "climb" and not conditions.charge_known else 1.0
    return SCATTER[kind] * wider


def _new_lives(runs: Sequence[ConditionFigures]) -> list[tuple[str, str]]:
    pairs = zip(runs, runs[1:], strict=False)
    return [(b.started_utc, "thermocouple") for a, b in pairs if a.sensor_key != b.sensor_key]
