"""Hardness of a piece as quenched and in the end, and which of two hardnesses it is nearer to."""

from __future__ import annotations

from typing import Literal

from soakwitness.analysis.evidence.batch_evidence import PieceEvidence

Stage = Literal["as quenched", "final"]
CLEARLY_HRC = 1.5
AFTER_COLD = ("after cold treatment", "before temper")


def nearer(value: float, first: float, second: float) -> bool:
    """Whether a hardness is nearer to the first than to the second, these two being clearly apart.

    ``value``, ``first``, ``second``: hardness [HRC]. Returns false where the two are less than 1.5 points apart.
    """
    return abs(first - second) >= CLEARLY_HRC and abs(value - first) < abs(value - second)


def stage_value(piece: PieceEvidence, stage: Stage) -> float | None:
    """Hardness of a piece at a stage.

    Returns mean over its tests there [HRC], those after grinding off the skin or at the edge only where there is no
    other.
    """
    tests = [h for h in piece.hardness if (h.as_quenched if stage == "as quenched" else h.final)]
    tests = [h for h in tests if h.test.scale == "HRC"]
    plain = [h for h in tests if not h.ground_off_mm and h.spot != "edge" and "grinding" not in h.stage]
    chosen = plain or tests
    return sum(h.test.mean for h in chosen) / len(chosen) if chosen else None


def after_cold_value(piece: PieceEvidence) -> float | None:
    """Hardness of a piece after its cold treatment and before any temper: mean over its tests there [HRC]."""
    tests = [h.test.mean for h in piece.hardness if h.stage in AFTER_COLD and h.test.scale == "HRC"]
    return sum(tests) / len(tests) if tests else None
