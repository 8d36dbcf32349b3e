"""How the control sensor moved against another one: by how much cold and hot, like which fault, slowly or at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from soakwitness.analysis.audit.case import Case
from soakwitness.analysis.audit.statistics import rank_correlation
from soakwitness.analysis.condition.figures import RunFigures

SHIFT_C = 3.0
GRADUAL_SHARE = 0.5
SUDDEN_SHARE = 0.25
MORE_THAN_AGEING_C = 25.0


@dataclass(frozen=True)
class Shift:
    """How much more than in the good runs the control reading is above another sensor [K], at its reading [degC]."""

    at_c: float
    shift_c: float
    sensor: str
    role: str
    step: int | None


def shifts(case: Case) -> list[Shift]:
    """Changes of control minus another sensor against the good runs, cold and in each hold.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    list of Shift
        Empty where no second sensor is there, or nothing to compare with; accuracy tests stand in for one.
    """
    if case.run is None:
        return []
    found = []
    for d in case.run.differences:
        good = [g.difference_c for r in case.good for g in r.differences if (g.sensor, g.step) == (d.sensor, d.step)]
        if good:
            found.append(Shift(d.at_c, d.difference_c - median(good), d.sensor, d.role, d.step))
        elif not case.good and d.role in ("load", "reference", "recording"):
            found.append(Shift(d.at_c, d.difference_c, d.sensor, d.role, d.step))
    return found


def hot_ones(found: Sequence[Shift]) -> list[Shift]:
    """Of some shifts, those in holds."""
    return [s for s in found if s.step is not None]


def cold_ones(found: Sequence[Shift]) -> list[Shift]:
    """Of some shifts, those before the furnace heated."""
    return [s for s in found if s.step is None]


def largest_shift(case: Case) -> float:
    """Largest change of control minus another sensor while hot [K].

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    float
        Signed [K]; 0 where nothing is known.
    """
    return max((s.shift_c for s in hot_ones(shifts(case))), key=abs, default=0.0)


def likely_faults(case: Case) -> dict[str, float]:
    """Probability of each fault of a thermocouple circuit, from the changed differences.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    dict
        Cause as ``calibration.faults`` names it to its probability; empty where the differences did not change.
    """
    from soakwitness.analysis.calibration.diagnosis import diagnose
    from soakwitness.analysis.calibration.readings import PairReading

    found = shifts(case)
    hot = hot_ones(found)
    if not hot or max(abs(s.shift_c) for s in hot) < SHIFT_C:
        return {}
    sensor = max(hot, key=lambda s: abs(s.shift_c)).sensor
    pairs = [PairReading(s.at_c - s.shift_c, s.at_c) for s in found if s.sensor == sensor]
    if len(pairs) < 2:
        return {}
    # what the furnace file calls the type is what was meant: the instrument may be set to another
    diagnosis = diagnose(pairs, set_to=None, noise_c=1.5)
    return {c.cause: c.probability for c in diagnosis.candidates}


def too_sudden(case: Case) -> bool:
    """Whether it came at once and is more than ageing brings."""
    return how_it_came(case) == "at once" and abs(largest_shift(case)) > MORE_THAN_AGEING_C


def grows_with_temperature(case: Case) -> bool | None:
    """Whether the shift grows with temperature from hold to hold; None where no two holds are far enough apart."""
    hot = sorted(hot_ones(shifts(case)), key=lambda s: s.at_c)
    hot = [s for s in hot if s.sensor == hot[-1].sensor]
    if len(hot) < 2 or hot[-1].at_c - hot[0].at_c < 150.0 or abs(hot[-1].shift_c) < SHIFT_C:
        return None
    proportional = (hot[0].at_c - 25.0) / (hot[-1].at_c - 25.0)
    return hot[0].shift_c / hot[-1].shift_c < 0.5 * (1.0 + proportional)


def low_when_hot(case: Case) -> bool:
    """Nothing cold, far too low hot: so reads a chain whose lead is reversed or of copper once the head is warm."""
    found = shifts(case)
    cold, hot = cold_ones(found), hot_ones(found)
    return (
        bool(hot)
        and all(abs(s.shift_c) < 2.0 for s in cold)
        and max(s.shift_c for s in hot) < -0.5 * MORE_THAN_AGEING_C
    )


def how_it_came(case: Case) -> str | None:
    """Whether the largest difference changed slowly or at once.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    str or None
        ``slowly`` or ``at once``, by the furnace's earlier runs, else by the good ones before it; None where fewer
        than five of them show it, or they do not tell.
    """
    hot = hot_ones(shifts(case))
    if not hot or case.run is None:
        return None
    worst = max(hot, key=lambda s: abs(s.shift_c))
    begun = case.run.started_utc
    before = sorted((r for r in case.good if r.started_utc < begun), key=lambda r: r.started_utc)
    return _way(case.evidence.history, case.run, worst) or _way(before, case.run, worst)


def _way(earlier: Sequence[RunFigures], run: RunFigures, worst: Shift) -> str | None:
    values = [v for v in (_difference(r, worst) for r in (*earlier, run)) if v is not None]
    if len(values) < 6:
        return None
    first = median(values[: max(2, len(values) // 4)])
    total = values[-1] - first
    if abs(total) < SHIFT_C:
        return None
    before = (median(values[-4:-1]) - first) / total
    trend = rank_correlation([float(i) for i in range(len(values))], values)
    if before >= GRADUAL_SHARE and trend * total > 0 and abs(trend) > 0.5:
        return "slowly"
    widest = max(abs(v - first) for v in values[:-1])
    return "at once" if abs(before) <= SUDDEN_SHARE and widest < abs(total) else None


def _difference(run: RunFigures, like: Shift) -> float | None:
    for d in run.differences:
        if d.sensor == like.sensor and (d.step == like.step or abs(d.at_c - like.at_c) < 30.0) and d.step is not None:
            return d.difference_c
    return None
