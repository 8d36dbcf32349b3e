"""Compare one run with its recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from soakwitness.analysis.calibration.correction import Correction
from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.recipes.model import Hold, Ramp, Recipe
from soakwitness.analysis.recipes.words import Unit
from soakwitness.analysis.runs import Run
from soakwitness.analysis.verification import requirements as req
from soakwitness.analysis.verification.absence import Absence, absence_of
from soakwitness.analysis.verification.findings import charge, presence, rates, sensing, soaks
from soakwitness.analysis.verification.findings.view import View, sorted_findings
from soakwitness.analysis.verification.holding import judge_hold
from soakwitness.analysis.verification.intervals import gaps
from soakwitness.analysis.verification.model import (
    Finding,
    HoldResult,
    PieceInfo,
    RampResult,
    RecordState,
    SensorErrors,
    Verdict,
    Verification,
)
from soakwitness.analysis.verification.proving import not_seen, what_would_prove, what_would_prove_all
from soakwitness.analysis.verification.quenching import cooling_time
from soakwitness.analysis.verification.ramping import judge_ramps
from soakwitness.analysis.verification.scene import Scene
from soakwitness.analysis.verification.setting import make_scene, shown_work
from soakwitness.analysis.verification.stuck import Stuck, stuck_readings, without_broken


def verify(
    run: Run,
    recipe: Recipe,
    *,
    sensor_errors: SensorErrors | None = None,
    packet: PacketModel | None = None,
    pieces: Sequence[PieceInfo] = (),
    corrections: Mapping[str, Correction] | None = None,
    unit: Unit = "C",
) -> Verification:
    """Compare a run with its recipe.

    Parameters
    ----------
    run : Run
        The run, as ``open_run`` reads it.
    recipe : Recipe
        The recipe.
    sensor_errors : SensorErrors, optional
        What is known of the error of the sensor that decides; by default what the run and ``corrections`` say.
    packet : PacketModel, optional
        A measured packet; by default the recipe's ``[packet]`` with generic figures.
    pieces : sequence of PieceInfo
        What the log book knows of the pieces in this run.
    corrections : mapping, optional
        Corrections by the sensor's name, as the log book keeps them.
    unit : str
        Unit of the sentences, ``C`` or ``F``.

    Returns
    -------
    Verification
        Steps, findings and verdict.

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
    stuck = stuck_readings(run)
    run = without_broken(run, stuck)
    scene = make_scene(
        run,
        recipe,
        sensor_errors=sensor_errors,
        corrections=corrections or {},
        packet=packet,
        pieces=pieces,
        stuck=[s for s in stuck if not s.broken],
    )
    holds, absences = _judge(scene, unit)
    ramps = judge_ramps(scene)
    view = View(scene, holds, ramps, unit)
    findings = sorted_findings(
        [
            *soaks.find(view),
            *presence.find(view, absences),
            *rates.find(view),
            *sensing.find(view, stuck),
            *charge.find(view),
        ]
    )
    holds = tuple(replace(h, proves=what_would_prove(view, h)) for h in holds)
    return _verification(replace(view, holds=holds), findings, stuck)


def _judge(scene: Scene, unit: Unit) -> tuple[tuple[HoldResult, ...], dict[int, Absence]]:
    """Judge every hold; say of each absent one why."""
    holds = [judge_hold(scene, number) for number in range(len(scene.recipe.holds))]
    absent = [number for number, hold in enumerate(holds) if not hold.found]
    other = presence.in_other_unit(View(scene, tuple(holds), {}, unit)) if absent else None
    absences: dict[int, Absence] = {}
    for number in absent:
        hold = holds[number]
        absence = Absence("wrong unit", other[1]) if other else absence_of(scene, number, unit)
        verdict: Verdict = "fail" if absence.shown else "not proven"
        absences[hold.step] = absence
        holds[number] = replace(
            hold,
            as_read=verdict,
            at_true_temperature=verdict,
            verdict=verdict,
            on_record=absence.on_record,
        )
    return tuple(holds), absences


def _verification(view: View, findings: tuple[Finding, ...], stuck: tuple[Stuck, ...]) -> Verification:
    scene, check = view.scene, view.scene.run.check
    judged = [h for h in view.holds if h.judged]
    ramps = [r.verdict for r in view.ramps.values() if r.verdict is not None]
    # What no sensor error touches: delays and cooling that the marks show, and a record that was changed.
    others: list[Verdict] = ["fail" for f in findings if f.severity == "fail" and f.code in OWN_REQUIREMENTS]
    if any(f.code == "record changed" for f in findings):
        others.append("not proven")
    as_read = req.worst([*(h.as_read for h in judged), *ramps, *others])
    verdict = req.worst([*(h.verdict for h in judged), *ramps, *others])
    wide = gaps(scene.edges_on, scene.edges_on.t_s[0], scene.edges_on.t_s[-1])
    return Verification(
        run=scene.run.header.run,
        recipe=scene.recipe.name,
        verdict=verdict,
        decided_on=scene.basis,
        temperature_from=scene.source,
        steps=tuple(_in_order(scene.recipe, view)),
        findings=findings,
        record=RecordState(
            rows=check.rows,
            bad_rows=len(check.bad_rows),
            gaps_s=sum(b - a for a, b in wide),
            sealed=check.sealed,
            intact=check.intact,
            gaps=wide,
        ),
        sensor=scene.chamber_name,
        errors=scene.errors,
        work=shown_work(scene, view.holds),
        marks_used=tuple(f"{m.act} at {m.t_s:.0f} s" for m in scene.run.marks if not m.struck),
        not_seen=not_seen(view, stuck),
        proves=what_would_prove_all(view, findings) if verdict == "not proven" else (),
        by_estimate=scene.source == "packet estimate",
        as_read=as_read,
        quench_cooling_s=cooling_time(scene),
    )


OWN_REQUIREMENTS = ("late quench", "tempered before it was cool")


def _in_order(recipe: Recipe, view: View) -> list[RampResult | HoldResult]:
    holds = {h.step: h for h in view.holds}
    steps: list[RampResult | HoldResult] = []
    for step in recipe.steps:
        if isinstance(step, Hold):
            steps.append(holds[step.number])
        elif isinstance(step, Ramp):
            steps.append(view.ramps[step.number])
    return steps
