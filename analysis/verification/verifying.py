"""Compare one run with its recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
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
from soakwitness.analysis.verification.heats import Heat, charged, heats_of, part_of
from soakwitness.analysis.verification.holding import judge_hold
from soakwitness.analysis.verification.merging import chosen, merged, with_unmarked
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
    known = _Known(packet, tuple(pieces), corrections or {}, tuple(usual))
    clean = without_bad(run, bad)
    context = known.gather(clean, recipe)
    heats = heats_of(context.chamber.readings, recipe)
    if len(heats) == 1:
        return _of_context(context, bad)
    record = _record(context)
    with_charges = charged(heats, context.stays)
    each = [_of_heat(clean, recipe, heat, known, bad) for heat in with_charges or heats]
    if with_charges:
        left_out = [max(heat.start_s, context.start_s) for heat in heats if heat not in with_charges]
        found = with_unmarked(merged(each), left_out)
    else:
        found = chosen(each, [max(heat.start_s, context.start_s) for heat in heats])
    return replace(found, record=record)


@dataclass(frozen=True)
class _Known:
    """What is known of a run beside its readings."""

    packet: PacketModel | None
    pieces: tuple[PieceInfo, ...]
    corrections: Mapping[str, Correction]
    usual: tuple[UsualDifference, ...]

    def gather(self, run: Run, recipe: Recipe) -> VerificationContext:
        """Gather what all holds share."""
        return gather(
            run,
            recipe,
            corrections=self.corrections,
            packet=self.packet,
            pieces=self.pieces,
            day=local_day(run.header.started_utc, run.header.zone),
            usual=self.usual,
        )


def _of_heat(run: Run, recipe: Recipe, heat: Heat, known: _Known, bad: tuple[BadReadings, ...]) -> Verification:
    """One heat of a record, with the pieces that its marks name, or that no mark names."""
    part = part_of(run, heat)
    elsewhere = {name.casefold() for m in run.marks if not m.struck for name in m.pieces}
    here = {name.casefold() for m in part.marks if not m.struck for name in m.pieces}
    pieces = tuple(p for p in known.pieces if p.id.casefold() in here or p.id.casefold() not in elsewhere)
    mine = tuple(b for b in bad if heat.has(b.start_s))
    return _of_context(replace(known, pieces=pieces).gather(part, recipe), mine)


def _of_context(context: VerificationContext, bad: tuple[BadReadings, ...]) -> Verification:
    holds, absences = _judge(context)
    ramps = judge_ramps(context)
    view = View(context, holds, ramps)
    findings = sorted_findings(
        [
            *(() if _wrong_unit(absences) else soaks.find(view)),
            *presence.find(view, absences),
            *rates.find(view),
            *(f for f in sensing.find(view, bad) if not (_wrong_unit(absences) and f.code == "sensor fault")),
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
    context = view.context
    judged = [h for h in view.holds if h.judged]
    ramps = [r.verdict for r in view.ramps.values() if r.verdict is not None]
    # What no sensor error touches: delays and cooling that the marks show, and a record that was changed.
    others: list[Verdict] = ["fail" for f in findings if f.severity == "fail" and f.code in OWN_REQUIREMENTS]
    if any(f.code == "record changed" and f.severity != "note" for f in findings):
        others.append("not proven")
    if not judged and not ramps:
        others.append("not proven")
    others += [h.limits_verdict for h in view.holds if not h.judged]
    verdict = req.worst([*(h.verdict for h in judged), *ramps, *others])
    basis, known = _rests_on(judged or list(view.holds), context)
    source = _source(view)
    return Verification(
        run=context.run.header.run,
        recipe=context.recipe.name,
        verdict=verdict,
        decided_on=basis,
        temperature_from=source,
        steps=tuple(_in_order(context.recipe, view)),
        findings=findings,
        record=_record(context),
        sensor=context.chamber.name,
        known=known,
        work=shown_work(context, view.holds),
        not_seen=not_seen(view, bad),
        proves=what_would_prove_all(view, findings) if verdict == "not proven" else (),
        by_estimate=source == "packet estimate",
        as_read=req.worst([*(h.as_read for h in judged), *ramps, *others]),
        quench_cooling_s=cooling_time(context),
    )


def _record(context: VerificationContext) -> RecordState:
    check = context.run.check
    readings = context.loads[0].readings if context.loads else context.chamber.readings
    wide = gaps(readings, readings.t_s[0], readings.t_s[-1])
    return RecordState(
        rows=check.rows,
        bad_rows=len(check.bad_rows),
        gaps_s=sum(b - a for a, b in wide),
        sealed=check.sealed,
        intact=check.intact,
        seen=check.seen,
        changed=bool(check.changed) and not check.differs and check.doubt is None,
        gaps=wide,
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
    return shown


def _in_order(recipe: Recipe, view: View) -> list[RampResult | HoldResult]:
    holds = {h.step: h for h in view.holds}
    steps: list[RampResult | HoldResult] = []
    for step in recipe.steps:
        if isinstance(step, Hold):
            steps.append(holds[step.number])
        elif isinstance(step, Ramp):
            steps.append(view.ramps[step.number])
    return steps
