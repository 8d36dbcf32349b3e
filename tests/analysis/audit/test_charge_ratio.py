"""How much heavier a charge was: all pieces of both runs count, and a mass that was entered counts before them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.audit.causes.in_furnace import charge_ratio
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.evidence.batch_evidence import Evidence, PieceEvidence
from tests.made_evidence import evidence, run


def pieces(of: str, count: int, thickness_mm: float | None) -> tuple[PieceEvidence, ...]:
    return tuple(PieceEvidence(f"{of}-{n}", thickness_mm=thickness_mm, harden=of) for n in range(count))


def case(suspect_mm: float | None, good_mm: float | None, **more: object) -> Case:
    """Six blades of the suspect run and six of a good one, of which two were tested."""
    bad, good = pieces("x", 6, suspect_mm), pieces("g", 6, good_mm)
    found: Evidence = evidence(run("x"), good=(run("g"),), suspects=bad, good_pieces=good[:2])
    return Case(replace(found, charges={"x": bad, "g": good}, **more))  # type: ignore[arg-type]


def test_pieces_that_were_not_tested_count_too() -> None:
    # 6 x 16 mm beside 6 x 18 mm, of which two have a hardness: never "2.7 times as heavy"
    assert charge_ratio(case(16.0, 18.0)) == pytest.approx(16.0 / 18.0)


def test_without_thickness_the_pieces_are_counted() -> None:
    assert charge_ratio(case(None, None)) == 1.0


def test_a_mass_on_record_counts_before_the_thickness() -> None:
    # 4.8 kg beside 3.2 kg, with their fixtures
    assert charge_ratio(case(3.0, 3.0, charge_kg={"x": 4.8, "g": 3.2})) == pytest.approx(1.5)
    assert charge_ratio(case(3.0, 3.0, charge_kg={"x": 4.8})) == 1.0
