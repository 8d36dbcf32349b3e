"""Judge one run: every hold, why one is absent, every ramp, the quench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from soakwitness.analysis.recipes.recipe import Ramp, Recipe
from soakwitness.analysis.verification.figures.measured_run import MeasuredRun
from soakwitness.analysis.verification.judging import requirements as req
from soakwitness.analysis.verification.judging.absence import Absence, absence_of
from soakwitness.analysis.verification.judging.holding import judge_hold
from soakwitness.analysis.verification.results.verification import Bounds, HoldResult, RampResult, Verdict


@dataclass(frozen=True)
class JudgedRun:
    """Every hold in the order of the recipe, why each absent one is (by step), every ramp (by step).

    ``cooling``: whether the work cooled in the quench as soon as the recipe asks; None where it asks nothing, or where
    nothing is on record.
    """

    measured: MeasuredRun
    holds: tuple[HoldResult, ...]
    absences: Mapping[int, Absence]
    ramps: Mapping[int, RampResult]
    cooling: Verdict | None

    @property
    def wrong_unit(self) -> bool:
        """Whether the readings are in the other unit."""
        return any(absence.kind == "wrong unit" for absence in self.absences.values())


def judge(measured: MeasuredRun) -> JudgedRun:
    """Judge every hold and ramp of a run."""
    recipe = measured.gathered.recipe
    holds, absences = _judge(measured)
    steps = {step.number: step for step in recipe.steps if isinstance(step, Ramp)}
    ramps = {number: replace(ramp, verdict=_kept(steps[number], ramp)) for number, ramp in measured.ramps.items()}
    return JudgedRun(measured, holds, absences, ramps, _cooling(recipe, measured.cooling_s))


def _judge(measured: MeasuredRun) -> tuple[tuple[HoldResult, ...], dict[int, Absence]]:
    """Judge every hold; say of each absent one why. Readings of another unit, or place, prove nothing."""
    run = measured.gathered
    holds = [judge_hold(hold, float(run.record.t_s[-1])) for hold in measured.holds]
    other, absences = run.other_unit, {}
    for number, hold in enumerate(holds):
        if hold.found:
            continue
        absence = Absence("wrong unit", other) if other else absence_of(run, number)
        verdict: Verdict = "fail" if absence.shown or hold.limits_verdict == "fail" else "not proven"
        absences[hold.step] = absence
        holds[number] = _with_verdict(replace(hold, on_record=absence.on_record), verdict)
    if other is not None:
        holds = [_undecided(hold, "unit") for hold in holds]
    elif run.stands_in is not None and not run.stands_in.alike:
        holds = [_undecided(hold, "sensor") if hold.temperature_from != "load" else hold for hold in holds]
    return tuple(holds), absences


def _kept(step: Ramp, ramp: RampResult) -> Verdict | None:
    """Whether a ramp keeps the recipe's limits of rate; None where it states none."""
    if step.min_rate_c_per_h is None and step.max_rate_c_per_h is None:
        return None
    if ramp.rate_c_per_h is None:
        return "not proven"
    pace = abs(ramp.rate_c_per_h)
    slow = step.min_rate_c_per_h is not None and pace < step.min_rate_c_per_h
    fast = step.max_rate_c_per_h is not None and pace > step.max_rate_c_per_h
    return "fail" if slow or fast else "pass"


def _cooling(recipe: Recipe, took: Bounds | None) -> Verdict | None:
    """Whether the work cooled as soon as the recipe asks. No error of the sensor: it shifts both crossings alike."""
    quench = recipe.quench
    if quench is None or quench.cool_within_s is None or took is None:
        return None
    return req.as_read(req.at_most("cooling", lambda _: took.high, lambda _: took.low, quench.cool_within_s))


def _undecided(hold: HoldResult, why: str) -> HoldResult:
    return replace(_with_verdict(hold, "not proven"), unmet=(), unproven=(why,), limits_verdict="pass")


def _with_verdict(hold: HoldResult, verdict: Verdict) -> HoldResult:
    return replace(hold, as_read=verdict, at_true_temperature=verdict, verdict=verdict)
