"""The lines of a hold in words: both verdicts, where a piece was judged otherwise, and only figures that tell."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.verification.results.verification import Bounds, HoldResult, PieceResult, Verdict
from soakwitness.analysis.verification.verifying import verify
from soakwitness.cli.words.verify_in_full import verify_lines
from tests.verification_runs import drawn, make_run, simple_recipe

RECIPE = simple_recipe((1000, 10, 5))


def line_of(**facts: object) -> str:
    """The words on the one hold of a good run with other facts."""
    t_s, temp_c = drawn([(0, 20), (1960, 1000), (3160, 1000), (5000, 80)])
    run = make_run(t_s, {"furnace": temp_c})
    found = verify(run, RECIPE)
    steps = tuple(replace(s, **facts) if isinstance(s, HoldResult) else s for s in found.steps)  # type: ignore[arg-type]
    lines = verify_lines(run, RECIPE, replace(found, steps=steps), unit="C")
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize(
    ("verdict", "as_read", "true", "says"),
    [
        ("pass", "pass", "pass", "pass, as read and at true temperature."),
        ("fail", "pass", "fail", "pass as read, fail at true temperature."),
        ("not proven", "pass", "pass", "not proven (pass as read and at true temperature)."),
        ("not proven", "pass", "fail", "not proven (pass as read, fail at true temperature)."),
    ],
)
def test_both_verdicts_and_the_one_that_holds(verdict: Verdict, as_read: Verdict, true: Verdict, says: str) -> None:
    assert says in line_of(verdict=verdict, as_read=as_read, at_true_temperature=true)


@pytest.mark.parametrize(("overshoot_c", "told"), [(2.0, True), (-9.0, True), (-11.0, False), (-901.0, False)])
def test_the_highest_is_told_where_it_came_near(overshoot_c: float, told: bool) -> None:
    # Within twice the tolerance of 5 K below the target.
    assert ("the target" in line_of(overshoot_c=overshoot_c)) is told


def test_a_piece_that_was_judged_by_another_sensor_says_so() -> None:
    alike = PieceResult("B1", None, Bounds(900, 900, 900), "pass", "pass", "pass", temperature_from="packet estimate")
    other = replace(alike, piece="B2", soak_s=Bounds(1200, 1200, 1200), temperature_from="control")
    line = line_of(pieces=(alike, other), temperature_from="packet estimate")
    assert "B1: soak 15 min, pass." in line
    assert "B2: soak 20 min at the control sensor, pass." in line
