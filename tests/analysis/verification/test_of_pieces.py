"""A run judged for some of its pieces: the others' soaks, delays and names are not in what is told."""

from __future__ import annotations

from pathlib import Path

from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.verification.results.verification import Verification
from soakwitness.analysis.verification.verifying import verify

SAMPLE = Path(__file__).resolve().parents[3] / "sample_logs" / "pulled-one-by-one"


def judged(*names: str) -> Verification:
    run = open_run(SAMPLE)
    recipe = parse_recipe(run.header.recipe_file or "", "the run's own")
    return verify(run, recipe, only=names or None)


def test_a_piece_that_was_held_long_enough_is_not_blamed_for_another() -> None:
    """C-01 was pulled after 8 of 12 min, C-03 took 45 of 30 s to the plates (its marks); C-02 had neither."""
    whole, one = judged(), judged("c-02")
    assert whole.verdict == "fail"
    assert one.verdict == "pass"
    assert [p.piece for hold in one.holds for p in hold.pieces] == ["C-02", "C-02"]
    assert not {"C-01", "C-03"} & set(str(one).replace("'", " ").replace(",", " ").split())
    own = {p.piece: p for p in whole.holds[-1].pieces}["C-02"]
    assert one.holds[-1].pieces == (own,)


def test_what_befell_a_piece_is_told_of_it_alone() -> None:
    late = judged("C-03")
    assert {f.code for f in late.findings if f.severity == "fail"} == {"late quench"}
    short = judged("C-01")
    assert {f.code for f in short.findings if f.severity == "fail"} == {"short soak"}
    assert "C-01" in str(short.in_short.says)
    assert "least of" not in str(short.in_short.says)


def test_names_that_nobody_marked_leave_the_run_as_it_is() -> None:
    assert judged("X-99").verdict == judged().verdict
