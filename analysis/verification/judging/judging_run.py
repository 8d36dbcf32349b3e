"""Judge one run: every hold, why one is absent, every ramp."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from soakwitness.analysis.verification.judging.absence import Absence, absence_of, in_other_unit
from soakwitness.analysis.verification.judging.holding import judge_hold
from soakwitness.analysis.verification.judging.ramping import judge_ramps
from soakwitness.analysis.verification.results.verification import HoldResult, RampResult, Verdict
from soakwitness.analysis.verification.sensors.context import VerificationContext


@dataclass(frozen=True)
class JudgedRun:
    """Every hold in the order of the recipe, why each absent one is (by step), every ramp (by step)."""

    context: VerificationContext
    holds: tuple[HoldResult, ...]
    absences: Mapping[int, Absence]
    ramps: Mapping[int, RampResult]

    @property
    def wrong_unit(self) -> bool:
        """Whether the readings are in the other unit."""
        return any(absence.kind == "wrong unit" for absence in self.absences.values())


def judge(context: VerificationContext) -> JudgedRun:
    """Judge every hold and ramp of a run."""
    holds, absences = _judge(context)
    return JudgedRun(context, holds, absences, judge_ramps(context))


def _judge(context: VerificationContext) -> tuple[tuple[HoldResult, ...], dict[int, Absence]]:
    """Judge every hold; say of each absent one why. Readings of another unit, or place, prove nothing."""
    holds = [judge_hold(context, number) for number in range(len(context.recipe.holds))]
    absent = [number for number, hold in enumerate(holds) if not hold.found]
    other = in_other_unit(context) if absent else None
    absences: dict[int, Absence] = {}
    for number in absent:
        hold = holds[number]
        absence = Absence("wrong unit", other) if other else absence_of(context, number)
        verdict: Verdict = "fail" if absence.shown or hold.limits_verdict == "fail" else "not proven"
        absences[hold.step] = absence
        holds[number] = _with_verdict(replace(hold, on_record=absence.on_record), verdict)
    if other is not None:
        holds = [_undecided(hold, "unit") for hold in holds]
    elif context.stands_in is not None and not context.stands_in.alike:
        holds = [_undecided(hold, "sensor") if hold.temperature_from != "load" else hold for hold in holds]
    return tuple(holds), absences


def _undecided(hold: HoldResult, why: str) -> HoldResult:
    return replace(_with_verdict(hold, "not proven"), unmet=(), unproven=(why,), limits_verdict="pass")


def _with_verdict(hold: HoldResult, verdict: Verdict) -> HoldResult:
    return replace(hold, as_read=verdict, at_true_temperature=verdict, verdict=verdict)
