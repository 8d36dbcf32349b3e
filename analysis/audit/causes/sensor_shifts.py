"""How the control sensor moved against another one: by how much cold and hot, like which fault, slowly or at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from soakwitness.analysis.audit.causes.doses import level
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.statistics import rank_correlation
from soakwitness.analysis.audit.contrasts.weighing import STRONG, Scale
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading
from soakwitness.analysis.evidence.run_figures import RunFigures
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp

SHIFT_C = 3.0
AS_COLD_C = 5.0
BESIDE = ("load", "reference", "recording")
TWO_WIRES = 0.0075 * 2**0.5  # tolerance class 2, IEC 60584-1; two wires independent of each other
GRADUAL_SHARE = 0.35
SUDDEN_SHARE = 0.25
MORE_THAN_AGEING_C = 25.0
TYPE_MISFIT_C = 5.0
TYPE_MISFIT_SHARE = 0.1


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

    A furnace that is still warm from the day before is no cold comparison: the other sensor may lie in a cold packet.
    The coldest starts of the good runs count, and the run's own where it was as cold, or agrees with the holds as an
    offset does. Without good runs two wires of one class are told apart beyond their tolerance only.

    Returns empty where no second sensor is there, or nothing to compare with.
    """
    if case.run is None:
        return []
    found, coldest = [], {}
    for d in case.run.differences:
        like = [g for r in case.good for g in r.differences if (g.sensor, g.step) == (d.sensor, d.step)]
        if d.role == "load" and not _as_long(case, d.step):
            continue
        if like and d.step is None:
            coldest[d.sensor] = min(g.at_c for g in like)
            like = [g for g in like if g.at_c <= coldest[d.sensor] + AS_COLD_C]
        if like:
            usual = median([g.difference_c for g in like])
            found.append(Shift(d.at_c, d.difference_c - usual, d.sensor, d.role, d.step))
        elif not case.good and d.role in BESIDE and (d.step is None or abs(d.difference_c) > TWO_WIRES * d.at_c):
            found.append(Shift(d.at_c, d.difference_c, d.sensor, d.role, d.step))
    hot = hot_ones(found)
    return [
        s
        for s in found
        if s.step is not None
        or s.at_c <= coldest.get(s.sensor, s.at_c) + 2.0 * AS_COLD_C
        or same_size([h for h in hot if h.sensor == s.sensor], s)
    ]


def _as_long(case: Case, step: int | None) -> bool:
    """Whether a hold was about as long as in the good runs: sooner a load has not caught up as far as theirs."""
    own = next((h.in_band_s for h in (case.run.holds if case.run else ()) if h.step == step), None)
    good = [h.in_band_s for h in case.good_holds(step) if h.in_band_s is not None] if step is not None else []
    chamber = next((h.chamber_s for h in (case.run.holds if case.run else ()) if h.step == step), None)
    given = max(own or 0.0, chamber or 0.0)
    return not good or given == 0.0 or given > 0.7 * median(good)


def same_size(hot: Sequence[Shift], cold: Shift) -> bool:
    """Whether all shifts of the holds are about as large as the cold one.

    Returns true within a third of it, and 1.5 K at least.
    """
    return bool(hot) and all(abs(s.shift_c - cold.shift_c) <= max(1.5, 0.35 * abs(cold.shift_c)) for s in hot)


def hot_ones(found: Sequence[Shift]) -> list[Shift]:
    """Of some shifts, those in holds."""
    return [s for s in found if s.step is not None]


def cold_ones(found: Sequence[Shift]) -> list[Shift]:
    """Of some shifts, those before the furnace heated."""
    return [s for s in found if s.step is None]


def largest_shift(case: Case) -> float:
    """Largest change of control minus another sensor while hot [K].

    Returns signed [K]; 0 where nothing is known.
    """
    return max((s.shift_c for s in hot_ones(shifts(case))), key=abs, default=0.0)


def likely_faults(case: Case) -> dict[str, float]:
    """Probability of each fault of a thermocouple circuit, from the changed differences.

    Returns cause as ``calibration.faults`` names it to its probability; empty where the differences did not change.
    """
    from soakwitness.analysis.calibration.diagnosing.diagnosis import diagnose

    found = shifts(case)
    hot = hot_ones(found)
    if not hot or max(abs(s.shift_c) for s in hot) < SHIFT_C:
        return {}
    large = [s.sensor for s in hot if abs(s.shift_c) > 0.7 * abs(largest_shift(case))]
    sensor = max(large, key=lambda name: sum(s.sensor == name for s in found))
    pairs = [PairReading(s.at_c - s.shift_c, s.at_c) for s in found if s.sensor == sensor]
    if len(pairs) < 2:
        return {}
    # what the furnace file calls the type is what was meant: the instrument may be set to another
    diagnosis = diagnose(pairs, set_to=None, noise_c=1.5)
    chances = {c.cause: c.probability for c in diagnosis.candidates}
    if not _type_fits(case, pairs):
        chances.pop("wrong type set", None)
    total = sum(chances.values())
    return {cause: chance / total for cause, chance in chances.items()} if total > 0 else {}


def _type_fits(case: Case, pairs: Sequence[PairReading]) -> bool:
    """Whether another type in place of the one that the good runs were read right with explains the pairs."""
    from soakwitness.analysis.calibration.diagnosing.faults import wrong_type_c
    from soakwitness.analysis.thermocouples.reference_functions import TYPES

    usual = {r.sensor.thermocouple for r in case.good if r.sensor.thermocouple}
    if len(usual) != 1:
        return True
    own = usual.pop().upper()
    true = np.array([p.reference_c for p in pairs])
    shown = np.array([p.sensor_c for p in pairs])
    reach = max(TYPE_MISFIT_C, TYPE_MISFIT_SHARE * float(np.abs(shown - true).max()))
    return any(
        float(np.abs(wrong_type_c(true, *types) - shown).max()) <= reach
        for other in TYPES
        if other != own
        for types in ((own, other), (other, own))
    )


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


def reads_wrong(case: Case) -> Scale | None:
    """Clearly another difference to a second sensor than in the good runs, whatever fault of the chain it is."""
    hot = hot_ones(shifts(case))
    worst = max(hot, key=lambda s: abs(s.shift_c), default=None)
    if worst is None or not case.good or abs(worst.shift_c) < 2.0 * SHIFT_C:
        return None
    scale = Scale(dose=level(-worst.shift_c))
    way = "more above" if worst.shift_c > 0 else "further below"
    says = f"At {{at}} the control sensor reads {{shift}} {way} {worst.sensor} than in the good runs."
    scale.speaks_for(STRONG, Says.of(says, at=Temp(worst.at_c), shift=Diff(abs(worst.shift_c))))
    scale.lacks(f"Which of the two reads wrong: the control sensor or {worst.sensor}.")
    return scale


def how_it_came(case: Case) -> str | None:
    """Whether the largest difference changed slowly or at once.

    Returns ``slowly`` or ``at once``, by the furnace's earlier runs, else by the good ones before it; None where they
    do not tell. Five of them are needed, two for a change that is more than ageing brings in one run.
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
        return "at once" if len(values) >= 3 and _leaps(values) else None
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


def _leaps(values: Sequence[float]) -> bool:
    """Whether the last of a few values left the others by more than ageing brings from one run to the next."""
    leap = values[-1] - values[-2]
    return abs(leap) > MORE_THAN_AGEING_C and max(values[:-1]) - min(values[:-1]) <= SUDDEN_SHARE * abs(leap)


def _difference(run: RunFigures, like: Shift) -> float | None:
    for d in run.differences:
        if d.sensor == like.sensor and (d.step == like.step or abs(d.at_c - like.at_c) < 30.0) and d.step is not None:
            return d.difference_c
    return None
