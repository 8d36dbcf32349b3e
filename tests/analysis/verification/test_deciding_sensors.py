"""Each hold decides on what is known of its own deciding sensor, whatever else is in the furnace."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.recipes.model import Recipe
from soakwitness.analysis.verification.model import Verification
from soakwitness.analysis.verification.verifying import verify
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

# 20 min at 700, 20 min at 1000, both bands +-5: each stands an error of 5 either way, less what noise hides (0.05 K).
COURSE = [(0, 20), (1360, 700), (2560, 700), (3160, 1000), (4360, 1000), (6200, 80)]
TWO = simple_recipe((700, 10, 5), (1000, 10, 5))


def recipe(*soak_from: str) -> Recipe:
    sources = iter(soak_from)
    steps = tuple(s if s not in TWO.holds else replace(s, soak_from=next(sources)) for s in TWO.steps)  # type: ignore[arg-type,operator]
    return replace(TWO, steps=steps)


def judged(by: Recipe, *, control_u: float | None, load_u: float | None) -> Verification:
    """Control and load sensor read alike; U (k = 2) of each is stated, or nothing is."""
    t_s, temp_c = drawn(COURSE)
    columns = [sensor(expanded_uncertainty=control_u), sensor("blade", "load", expanded_uncertainty=load_u)]
    return verify(make_run(t_s, {"furnace": temp_c, "blade": temp_c}, columns=columns), by)


@pytest.mark.parametrize(
    ("control_u", "load_u", "verdict"),
    # U of 2 is within the 5 K that the holds stand, U of 8 is not.
    [(2.0, 8.0, "pass"), (8.0, 2.0, "not proven")],
)
def test_a_hold_by_the_control_sensor_has_the_control_sensor_s_u(control_u: float, load_u: float, verdict: str) -> None:
    found = judged(recipe("control", "control"), control_u=control_u, load_u=load_u)
    assert [h.measured_by for h in found.holds] == ["furnace", "furnace"]
    assert [h.known.expanded_c for h in found.holds] == [control_u, control_u]
    assert (found.verdict, found.decided_on) == (verdict, "true temperature")


def test_a_load_sensor_that_no_hold_uses_gives_no_basis() -> None:
    found = judged(recipe("control", "control"), control_u=None, load_u=2.0)
    assert (found.verdict, found.decided_on) == ("pass", "reading")
    assert "no calibration" in {f.code for f in found.findings}
    found = judged(recipe("control", "control"), control_u=2.0, load_u=None)
    assert (found.verdict, found.decided_on) == ("pass", "true temperature")
    assert found.findings == ()


def test_holds_of_one_run_rest_on_different_sensors_and_the_run_on_the_worse() -> None:
    found = judged(recipe("control", "work"), control_u=2.0, load_u=8.0)
    assert [h.measured_by for h in found.holds] == ["furnace", "blade"]
    assert [h.known.expanded_c for h in found.holds] == [2.0, 8.0]
    assert [h.verdict for h in found.holds] == ["pass", "not proven"]
    assert found.verdict == "not proven"
    assert found.known.expanded_c == 8.0
    # Of two that pass, the run's basis is the weaker one: as read.
    found = judged(recipe("control", "work"), control_u=2.0, load_u=None)
    assert [h.known.basis for h in found.holds] == ["true temperature", "reading"]
    assert (found.verdict, found.decided_on) == ("pass", "reading")
