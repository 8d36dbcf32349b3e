"""Tell: what was found in a judged run, its verdict and what that rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.findings import charge_and_quench, presence, rates, sensing, soaks
from soakwitness.analysis.verification.findings.proving import not_seen, what_would_prove, what_would_prove_all
from soakwitness.analysis.verification.findings.view import View, sorted_findings
from soakwitness.analysis.verification.inputs.bad_readings import BadReadings
from soakwitness.analysis.verification.inputs.readings import Readings, gaps
from soakwitness.analysis.verification.judging import requirements as req
from soakwitness.analysis.verification.judging.judging_run import JudgedRun
from soakwitness.analysis.verification.results.known_error import Basis, KnownError
from soakwitness.analysis.verification.results.verification import (
    Finding,
    HoldResult,
    RampResult,
    RecordState,
    Source,
    Verdict,
    Verification,
    WorkTemperature,
)
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun

OWN_REQUIREMENTS = ("late quench", "slow cooling", "tempered before it was cool")


def tell(judged: JudgedRun, bad: tuple[BadReadings, ...]) -> Verification:
    """Tell a judged run, of which ``bad`` readings were left out."""
    view = View(judged, judged.holds)
    followed = rates.find(view)
    ended_early = {f.step for f in followed if f.code == "program differs" and f.brief is not None}
    findings = sorted_findings(
        [
            *(() if judged.wrong_unit else soaks.find(view, ended_early)),
            *presence.find(view, judged.absences),
            *followed,
            *(f for f in sensing.find(view, bad) if not (judged.wrong_unit and f.code == "sensor fault")),
            *charge_and_quench.find(view),
        ]
    )
    holds = tuple(replace(h, proves=what_would_prove(view, h)) for h in judged.holds)
    return _verification(replace(view, holds=holds), findings, bad)


def _verification(view: View, findings: tuple[Finding, ...], bad: tuple[BadReadings, ...]) -> Verification:
    run = view.run
    judged = [h for h in view.holds if h.judged]
    ramps = [r.verdict for r in view.ramps.values() if r.verdict is not None]
    # What no sensor error touches: delays and cooling that the marks show, and a record that was changed.
    others: list[Verdict] = ["fail" for f in findings if f.severity == "fail" and f.code in OWN_REQUIREMENTS]
    others.append(view.judged.cooling or "pass")
    if any(f.code == "record changed" and f.severity != "note" for f in findings):
        others.append("not proven")
    if not judged and not ramps:
        others.append("not proven")
    others += [h.limits_verdict for h in view.holds if not h.judged]
    verdict = req.worst([*(h.verdict for h in judged), *ramps, *others])
    basis, known = _rests_on(judged or list(view.holds), run)
    source = _source(view)
    return Verification(
        run=run.record.header.run,
        recipe=run.recipe.name,
        verdict=verdict,
        decided_on=basis,
        temperature_from=source,
        steps=tuple(_in_order(run.recipe, view)),
        findings=findings,
        record=record_of(run.record, (run.loads[0] if run.loads else run.chamber).readings),
        sensor=run.chamber.name,
        known=known,
        work=shown_work(run, view.holds),
        not_seen=not_seen(view, bad),
        proves=what_would_prove_all(view, findings) if verdict == "not proven" else (),
        by_estimate=source == "packet estimate",
        as_read=req.worst([*(h.as_read for h in judged), *ramps, *others]),
        quench_cooling_s=view.judged.measured.cooling_s,
        beside_unknown=source == "packet estimate" and run.unknown_beside is not None,
    )


def record_of(run: Run, readings: Readings) -> RecordState:
    """How far the record can be trusted, and where the ``readings`` that decide have gaps."""
    check = run.check
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


def _rests_on(holds: Sequence[HoldResult], run: GatheredRun) -> tuple[Basis, KnownError]:
    """What the run's verdict rests on: the basis of its worst hold; of several alike, the weaker one."""
    if not holds:
        basis: Basis = run.recipe.decide_on or "reading"
        return basis, KnownError(basis=basis)
    worst = max(holds, key=lambda h: (req.ORDER.index(h.verdict), h.known.basis == "reading"))
    return worst.known.basis, worst.known


def _source(view: View) -> Source:
    """Where the work temperature comes from: the most direct one that any hold had."""
    sources = {h.temperature_from for h in view.holds if h.temperature_from is not None}
    order: tuple[Source, ...] = ("load", "packet estimate", "control")
    return next((one for one in order if one in sources), view.run.chamber.source)


def shown_work(run: GatheredRun, holds: Sequence[HoldResult]) -> WorkTemperature | None:
    """The work temperature for charts: the coldest load sensor, else the slowest piece's estimate; or None."""
    shown = None
    if run.loads:
        coldest = min(run.loads, key=lambda load: float(np.mean(load.readings.temp_c)))
        t, y = coldest.readings.t_s, coldest.readings.temp_c
        shown = WorkTemperature("load", coldest.name, t, y, y, y)
    elif any(h.temperature_from == "packet estimate" for h in holds):
        works = [w for w in run.estimates if w is not None and w.shown is not None]
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
