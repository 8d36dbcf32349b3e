"""Compare one run with its recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from soakwitness.analysis.recipes.model import Hold, Ramp, Recipe
from soakwitness.analysis.runs import Run
from soakwitness.analysis.verification import requirements as req
from soakwitness.analysis.verification.absence import Absence, absence_of, in_other_unit
from soakwitness.analysis.verification.bad_readings import BadReadings, bad_readings, without_bad
from soakwitness.analysis.verification.context import VerificationContext
from soakwitness.analysis.verification.findings import charge, presence, rates, sensing, soaks
from soakwitness.analysis.verification.findings.view import View, sorted_findings
from soakwitness.analysis.verification.gathering import gather
from soakwitness.analysis.verification.holding import judge_hold
from soakwitness.analysis.verification.model import (
    Basis,
    Finding,
    HoldResult,
    KnownError,
    PieceInfo,
    RampResult,
    RecordState,
    Source,
    UsualDifference,
    Verdict,
    Verification,
    WorkTemperature,
)
from soakwitness.analysis.verification.proving import not_seen, what_would_prove, what_would_prove_all
from soakwitness.analysis.verification.quenching import cooling_time
from soakwitness.analysis.verification.ramping import judge_ramps
from soakwitness.analysis.verification.readings import gaps
from soakwitness.firmware_bridge.common.zones import local_day

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.correction import Correction
    from soakwitness.analysis.packet.piece import PacketModel

OWN_REQUIREMENTS = ("late quench", "tempered before it was cool")


def verify(
    run: Run,
    recipe: Recipe,
    *,
    packet: PacketModel | None = None,
    pieces: Sequence[PieceInfo] = (),
    corrections: Mapping[str, Correction] | None = None,
    usual: Sequence[UsualDifference] = (),
) -> Verification:
    """Compare a run with its recipe.

    Parameters
    ----------
    run : Run
        The run, as ``open_run`` reads it.
    recipe : Recipe
        The recipe.
    packet : PacketModel, optional
        A measured packet; by default the recipe's ``[packet]`` with generic figures.
    pieces : sequence of PieceInfo
        What the log book knows of the pieces in this run.
    corrections : mapping, optional
        Corrections by the sensor's name, as the log book keeps them.
    usual : sequence of UsualDifference
        By how much pairs of sensors differed in earlier runs of the same sensor lives.

    Returns
    -------
    Verification
        Steps, findings and verdict; its sentences carry their values and are put into degC or degF by who prints them.

    Raises
    ------
    NotEnoughData
        If no sensor has enough readings.

    Notes
    -----
    A run fails if any requirement fails, else is not proven if any is, else passes. Definitions: page
    ``definitions`` of the guide.

    References
    ----------
    ILAC-G8:09/2019; JCGM 106:2012 (decision rule).
    """
    bad = bad_readings(run)
    run = without_bad(run, bad)
    day = local_day(run.header.started_utc, run.header.zone)
    context = gather(run, recipe, corrections=corrections or {}, packet=packet, pieces=pieces, day=day, usual=usual)
    holds, absences = _judge(context)
    ramps = judge_ramps(context)
    view = View(context, holds, ramps)
    findings = sorted_findings(
        [
            *(() if _wrong_unit(absences) else soaks.find(view)),
            *presence.find(view, absences),
            *rates.find(view),
            *sensing.find(view, bad),
            *charge.find(view),
        ]
    )
    holds = tuple(replace(h, proves=what_would_prove(view, h)) for h in holds)
    return _verification(replace(view, holds=holds), findings, bad)


def _wrong_unit(absences: Mapping[int, Absence]) -> bool:
    return any(absence.kind == "wrong unit" for absence in absences.values())


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


def _verification(view: View, findings: tuple[Finding, ...], bad: tuple[BadReadings, ...]) -> Verification:
    context, check = view.context, view.context.run.check
    judged = [h for h in view.holds if h.judged]
    ramps = [r.verdict for r in view.ramps.values() if r.verdict is not None]
    # What no sensor error touches: delays and cooling that the marks show, and a record that was changed.
    others: list[Verdict] = ["fail" for f in findings if f.severity == "fail" and f.code in OWN_REQUIREMENTS]
    if any(f.code == "record changed" for f in findings):
        others.append("not proven")
    if not judged and not ramps:
        others.append("not proven")
    others += [h.limits_verdict for h in view.holds if not h.judged]
    verdict = req.worst([*(h.verdict for h in judged), *ramps, *others])
    basis, known = _rests_on(judged or list(view.holds), context)
    readings = context.loads[0].readings if context.loads else context.chamber.readings
    wide = gaps(readings, readings.t_s[0], readings.t_s[-1])
    source = _source(view)
    return Verification(
        run=context.run.header.run,
        recipe=context.recipe.name,
        verdict=verdict,
        decided_on=basis,
        temperature_from=source,
        steps=tuple(_in_order(context.recipe, view)),
        findings=findings,
        record=RecordState(
            rows=check.rows,
            bad_rows=len(check.bad_rows),
            gaps_s=sum(b - a for a, b in wide),
            sealed=check.sealed,
            intact=check.intact,
            gaps=wide,
        ),
        sensor=context.chamber.name,
        known=known,
        work=shown_work(context, view.holds),
        not_seen=not_seen(view, bad),
        proves=what_would_prove_all(view, findings) if verdict == "not proven" else (),
        by_estimate=source == "packet estimate",
        as_read=req.worst([*(h.as_read for h in judged), *ramps, *others]),
        quench_cooling_s=cooling_time(context),
    )


def _rests_on(holds: Sequence[HoldResult], context: VerificationContext) -> tuple[Basis, KnownError]:
    """What the run's verdict rests on: the basis of its worst hold; of several alike, the weaker one."""
    if not holds:
        basis: Basis = context.recipe.decide_on or "reading"
        return basis, KnownError(basis=basis)
    worst = max(holds, key=lambda h: (req.ORDER.index(h.verdict), h.known.basis == "reading"))
    return worst.known.basis, worst.known


def _source(view: View) -> Source:
    """Where the work temperature comes from: the most direct one that any hold had."""
    sources = {h.temperature_from for h in view.holds if h.temperature_from is not None}
    order: tuple[Source, ...] = ("load", "packet estimate", "control")
    return next((one for one in order if one in sources), view.context.chamber.source)


def shown_work(context: VerificationContext, holds: Sequence[HoldResult]) -> WorkTemperature | None:
    """The work temperature for charts: the coldest load sensor, else the slowest piece's estimate; or None."""
    shown = None
    if context.loads:
        coldest = min(context.loads, key=lambda load: float(np.mean(load.readings.temp_c)))
        t, y = coldest.readings.t_s, coldest.readings.temp_c
        shown = WorkTemperature("load", coldest.name, t, y, y, y)
    elif any(h.temperature_from == "packet estimate" for h in holds):
        works = [
            w for w in map(context.estimate_of, range(len(context.stays))) if w is not None and w.shown is not None
        ]
        slowest = min(works, key=lambda w: float(np.sum(w.best.temp_c)), default=None)
        shown = slowest.shown if slowest is not None else None
    if shown is None:
        return None
    return replace(shown, eats_s={h.step: h.lag_s for h in holds if h.lag_s is not None})


def _in_order(recipe: Recipe, view: View) -> list[RampResult | HoldResult]:
    holds = {h.step: h for h in view.holds}
    steps: list[RampResult | HoldResult] = []
    for step in recipe.steps:
        if isinstance(step, Hold):
            steps.append(holds[step.number])
        elif isinstance(step, Ramp):
            steps.append(view.ramps[step.number])
    return steps
