"""Which picture an audit gets: pieces by what sets them apart, or the run where the cause lies in the furnace."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.audit.auditing import audit
from soakwitness.analysis.audit.catalogue import CAUSES, NOTHING
from soakwitness.analysis.audit.pictured import (
    BY_CAUSE,
    ON_THE_PIECE,
    PiecesPictured,
    pictured_cause,
    pieces_pictured,
    spots_pictured,
)
from soakwitness.analysis.evidence.batch_evidence import Evidence, PieceEvidence, TreatmentEvidence
from soakwitness.analysis.evidence.run_figures import PieceFigures
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from tests.made_evidence import evidence, pieces, run, test


def batch(*, suspects: tuple[PieceEvidence, ...] = (), good: tuple[PieceEvidence, ...] = ()) -> Evidence:
    return evidence(
        run("x", pieces=tuple(PieceFigures(f"x-{i}", pull_s=6000.0 + 60 * i, quench_delay_s=90.0) for i in range(3))),
        good=(run("g", pieces=tuple(PieceFigures(f"g-{i}", quench_delay_s=9.0) for i in range(3))),),
        suspects=suspects or pieces("x", 57.0, 57.2, 57.1),
        good_pieces=good or pieces("g", 59.8, 60.0, 59.9),
    )


def shown(found: PiecesPictured | None) -> tuple[str, list[tuple[str, object]]]:
    assert found is not None
    return found.by, [(p.group, p.at) for p in found.points]


def test_every_cause_that_is_named_here_is_one() -> None:
    assert set(BY_CAUSE) <= {c.name for c in CAUSES} | {NOTHING}


def test_a_late_quench_is_shown_by_the_seconds_to_the_plates() -> None:
    found = pieces_pictured(batch(), "late quench", "x")
    assert shown(found) == ("from the furnace to the plates", [("suspect", 90.0)] * 3 + [("good runs", 9.0)] * 3)
    assert found is not None
    assert found.allowed == 30.0  # as the recipe allows


def test_a_wrong_lot_is_shown_by_lot_and_place_by_place() -> None:
    lots = batch(suspects=pieces("x", 57.0, 57.2, lot="9"), good=pieces("g", 60.0, 60.1, lot="7"))
    by, at = shown(pieces_pictured(lots, "mixed or wrong bar", "x"))
    assert (by, {a for _, a in at}) == ("lot", {"steel not known, lot 9", "steel not known, lot 7"})
    places = batch(suspects=pieces("x", 57.0, place="back"), good=pieces("g", 60.0, place="front"))
    assert shown(pieces_pictured(places, "place in the furnace", "x")) == (
        "place in the furnace", [("suspect", "back"), ("good runs", "front")],
    )  # fmt: skip


def test_a_second_thermometer_in_the_oven_counts_before_what_the_oven_showed() -> None:
    def tempered(of: str, hrc: float, **more: object) -> tuple[PieceEvidence, ...]:
        done = TreatmentEvidence("temper", "2026-03-03T09:00:00Z", shown_c=200.0, **more)  # type: ignore[arg-type]
        return pieces(of, hrc, treatments=(done,))

    made = batch(suspects=tempered("x", 57.0, second_c=231.0), good=tempered("g", 60.0))
    assert shown(pieces_pictured(made, "temper too hot", "x")) == ("temper", [("suspect", 231.0), ("good runs", 200.0)])


def test_what_was_left_out_is_told_from_what_is_not_on_record() -> None:
    cold = TreatmentEvidence("cold treatment", "2026-03-02T10:00:00Z")
    three = (
        replace(pieces("x", 57.0)[0], treatments=(replace(cold, not_done=True),)),
        replace(pieces("x", 57.0, 57.1)[1], treatments=()),
    )
    made = batch(suspects=three, good=tuple(replace(p, treatments=(cold,)) for p in pieces("g", 60.0)))
    _, at = shown(pieces_pictured(made, "cold treatment left out", "x"))
    assert at == [("suspect", "not done"), ("suspect", "not on record"), ("good runs", "done")]


def test_of_two_things_that_may_be_it_the_one_that_parts_them_is_shown() -> None:
    def cooled(of: str, hrc: float, utc: str, lowest_c: float) -> tuple[PieceEvidence, ...]:
        return pieces(of, hrc, treatments=(TreatmentEvidence("cold treatment", utc, lowest_c=lowest_c),))

    good = (*cooled("g", 60.0, "2026-03-02T09:20:00Z", -78.0), *cooled("g", 60.1, "2026-03-02T09:40:00Z", -76.0))
    warm = batch(suspects=cooled("x", 57.0, "2026-03-02T09:30:00Z", -18.0), good=good)
    assert shown(pieces_pictured(warm, "cold treatment late or warm", "x"))[0] == "coldest"
    late = batch(suspects=cooled("x", 57.0, "2026-03-03T09:30:00Z", -18.0), good=good)
    by, at = shown(pieces_pictured(late, "cold treatment late or warm", "x"))
    assert by == "from the quench to the cold treatment"
    assert at[0] == ("suspect", 24.5 * 3600)  # quenched on the 2nd at 09:00


def test_a_tester_without_a_name_is_shown_by_its_block() -> None:
    # the block of these tests is 60.0, read 60.1 and 59.9
    off = test(
        57.0, "after temper", reading=HardnessReading((57.0,) * 3, block_value=60.0, block_readings=(57.9, 57.7))
    )
    made = batch(suspects=(replace(pieces("x", 57.0)[0], hardness=(off,)),))
    by, at = shown(pieces_pictured(made, "hardness tester", "x"))
    assert by == "what the tester read on its block, too high by"
    assert at[0][1] == pytest.approx(-2.2)


def test_where_the_record_does_not_tell_the_pieces_stand_by_run() -> None:
    assert shown(pieces_pictured(batch(), "temper too hot", "x"))[0] == "run of"


@pytest.mark.parametrize("cause", ["short soak", "door opened", "too cold", "low mains voltage or aged element", ""])
def test_a_cause_in_the_furnace_is_shown_by_the_run(cause: str) -> None:
    assert pieces_pictured(batch(), cause, "x") is None
    assert spots_pictured(batch(), cause, "x") is None


def test_without_any_hardness_there_are_no_pieces_to_show() -> None:
    bare = batch(suspects=(PieceEvidence("x-0", harden="x"),), good=(PieceEvidence("g-0", harden="g"),))
    assert pieces_pictured(bare, "late quench", "x") is None


@pytest.mark.parametrize("cause", ON_THE_PIECE)
def test_a_cause_in_the_skin_is_shown_test_by_test(cause: str) -> None:
    tests = (test(57.0, "after finish", spot="edge"), test(60.0, "after finish", spot="spine"))
    tests += (test(60.1, "after grinding", ground_off_mm=0.2),)
    made = batch(suspects=(replace(pieces("x", 57.0)[0], hardness=tests),))
    by, at = shown(spots_pictured(made, cause, "x"))
    assert by == "where it was tested"
    assert [a for group, a in at if group == "suspect"] == ["edge", "spine", "0.2 mm ground off"]


def test_what_is_shown_is_the_leading_cause_or_what_comes_nearest() -> None:
    found = audit(batch())
    assert pictured_cause(found) == next((c.cause for c in found.causes if c.cause != NOTHING), "")
    alone = replace(found, causes=tuple(c for c in found.causes if c.cause == NOTHING))
    assert pictured_cause(alone) == ""
