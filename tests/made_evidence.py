"""Evidence made by hand, for tests of single rules of the audit."""

from __future__ import annotations

from dataclasses import replace

from soakwitness.analysis.evidence.batch_evidence import Evidence, HardnessEvidence, PieceEvidence
from soakwitness.analysis.evidence.run_figures import (
    ConditionFigures,
    Difference,
    HoldFigures,
    PieceFigures,
    RunFigures,
    SensorFigures,
)
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from tests.furnace_days import HARDEN

RECIPE = parse_recipe(HARDEN, "made by hand")
HOLD = HoldFigures(
    step=4, target_c=1040.0, lower_c=1034.0, upper_c=1046.0, required_s=1500.0, found=True, enter_s=5000.0,
    leave_s=6800.0, soak_s=1600.0, in_band_s=1750.0, work_c=1040.0, control_c=1040.0, highest_c=1042.0, overshoot_c=2.0,
    setpoint_c=1040.0, setpoint_s=1700.0, program_c=1040.0, program_s=1500.0, output_pct=40.0, verdict="pass",
)  # fmt: skip
GOOD = RunFigures(
    run="good", furnace="small furnace", started_utc="2026-03-02T07:00:00Z", ended_utc="2026-03-02T11:00:00Z",
    recipe_digest=RECIPE.digest, recipe=RECIPE.name, verdict="pass", temperature_from="control",
    sensor=SensorFigures("control", serial="K-1", thermocouple="K"), holds=(HOLD,), quench_within_s=30.0, cold_c=20.0,
    duration_s=14400.0,
)  # fmt: skip


def run(name: str, *, hold: dict[str, object] | None = None, **changes: object) -> RunFigures:
    """A good run, changed."""
    holds = (replace(HOLD, **hold),) if hold else GOOD.holds  # type: ignore[arg-type]
    return replace(GOOD, run=name, holds=holds, **changes)  # type: ignore[arg-type]


def seen_by_two(name: str, cold: float, hot: float, *, at_780: float | None = None, **changes: object) -> RunFigures:
    """A run with a second sensor: control minus second, cold and in the holds [K]; in proportion where not said."""
    between = 0.75 * hot + 0.25 * cold if at_780 is None else at_780
    differences = (
        Difference("second", "recording", 20.0 + cold, cold),
        Difference("second", "recording", 780.0, between, 2),
        Difference("second", "recording", 1040.0, hot, 4),
    )
    return run(name, differences=differences, **changes)


def pieces(of: str, *hrc: float, stage: str = "after second temper", **facts: object) -> tuple[PieceEvidence, ...]:
    """Pieces of a run with their final hardness, one each."""
    return tuple(piece(f"{of}-{i}", of, value, stage=stage, **facts) for i, value in enumerate(hrc))


def piece(
    name: str, of: str, hrc: float | None, *, stage: str = "after second temper", **facts: object
) -> PieceEvidence:
    """One piece of a run."""
    tests = () if hrc is None else (test(hrc, stage),)
    return PieceEvidence(name, harden=of, hardness=tests, quenched_utc="2026-03-02T09:00:00Z", **facts)  # type: ignore[arg-type]


def test(hrc: float, stage: str, **more: object) -> HardnessEvidence:
    """One hardness test of three readings, the block read right."""
    reading = more.pop(
        "reading", HardnessReading((hrc - 0.1, hrc, hrc + 0.1), block_value=60.0, block_readings=(60.1, 59.9))
    )
    return HardnessEvidence(
        reading,  # type: ignore[arg-type]
        stage,
        as_quenched=stage in ("after quench", "before cold treatment"),
        final="temper" in stage and stage.startswith("after") or stage in ("after finish", "after grinding"),
        **more,  # type: ignore[arg-type]
    )


test.__test__ = False  # type: ignore[attr-defined]


def evidence(
    suspect: RunFigures | None,
    *,
    good: tuple[RunFigures, ...] = (),
    suspects: tuple[PieceEvidence, ...] = (),
    siblings: tuple[PieceEvidence, ...] = (),
    good_pieces: tuple[PieceEvidence, ...] = (),
    others: tuple[RunFigures, ...] = (),
    condition: dict[str, ConditionFigures] | None = None,
    **more: object,
) -> Evidence:
    """Evidence with the recipe of every hardening run known."""
    runs = {r.run: r for r in (*([suspect] if suspect else []), *good, *others)}
    return Evidence(
        suspects=suspects,
        siblings=siblings,
        good=good_pieces,
        suspect_runs=(suspect.run,) if suspect else (),
        good_runs=tuple(r.run for r in good),
        runs=runs,
        recipes={name: RECIPE for name, r in runs.items() if r.recipe_digest == RECIPE.digest},
        condition=condition or {},
        **more,  # type: ignore[arg-type]
    )


def good_runs(count: int = 5) -> tuple[RunFigures, ...]:
    """Good runs that differ a little."""
    return tuple(
        run(f"good {i}", hold={"work_c": 1040.0 + 0.4 * (i - 2), "control_c": 1040.0 + 0.4 * (i - 2)})
        for i in range(count)
    )


def stay(piece: str, **changes: object) -> PieceFigures:
    """A piece in a run as its record tells: soaked enough, 9 s to the plates."""
    base = PieceFigures(
        piece, soak_share=1.07, soak_s=1600.0, lag_s=70.0, pull_s=6700.0, plates_s=6709.0, quench_delay_s=9.0
    )
    return replace(base, **changes)  # type: ignore[arg-type]
