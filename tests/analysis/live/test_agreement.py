"""The soak clock, reading by reading, against the verification of the whole run: the same definition of a soak."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.clock_agreement import fed_whole, soaks_of
from tests.synthetic import Case, assignment_case, soak_case
from tests.verification_runs import make_run, run_of, sensor


def counted(run: Run, recipe: Recipe) -> dict[int, float]:
    """Soak of the one charge in each hold, holds from 0 [s]."""
    return {number - 1: min(soaks.values()) for number, soaks in soaks_of(fed_whole(run, recipe)).items()}


def check(case: Case, tolerance_s: float) -> None:
    verified = verify(run_of(case), case.recipe)
    seen = counted(run_of(case), case.recipe)
    compared = [number for number, hold in enumerate(verified.holds) if hold.found]
    assert compared
    for number, hold in enumerate(verified.holds):
        if hold.found and hold.soak_s is not None:
            assert seen.get(number, 0.0) == pytest.approx(hold.soak_s.best, abs=tolerance_s), (case.kind, number)


@pytest.mark.parametrize("seed", range(8))
def test_random_soaks(seed: int) -> None:
    case = soak_case(seed)
    check(case, max(3 * case.period_s, 20.0))


@pytest.mark.parametrize(
    "kind", ["plain", "late start", "20 apart", "restart in hold", "door", "60 s", "dropouts", "spikes", "full power"]
)
@pytest.mark.parametrize("seed", [201])
def test_runs_with_their_troubles(kind: str, seed: int) -> None:
    case = assignment_case(seed, kind)
    check(case, max(3 * case.period_s, 40.0))


RECIPE = Recipe("hot", "C", (), packet=PacketSpec())
LEVEL = ((0.0, 20.0), (1900.0, 780.0), (3400.0, 780.0), (5740.0, 1040.0), (8000.0, 1040.0), (8600.0, 600.0))


def two_holds(**more: object) -> tuple[Recipe, np.ndarray, np.ndarray]:
    case = soak_case(0)
    hold = case.recipe.holds[0]
    holds = (
        replace(hold, number=1, target_c=780.0, below_c=8.0, above_c=8.0, required_s=600.0),
        replace(hold, number=2, target_c=1040.0, below_c=6.0, above_c=6.0, required_s=1500.0),
    )
    t = np.arange(0.0, 8600.0, 2.0)
    noise = np.random.default_rng(5).normal(0, 0.2, t.size)
    return replace(RECIPE, steps=holds, **more), t, np.interp(t, *zip(*LEVEL, strict=True)) + noise  # type: ignore[arg-type]


@pytest.mark.parametrize("thickness_mm", [2.0, 5.0])
def test_packet_estimates(thickness_mm: float) -> None:
    recipe, t, c = two_holds(packet=PacketSpec(thickness_mm=thickness_mm))
    made = make_run(t, {"furnace": c})
    verified = verify(made, recipe)
    assert verified.temperature_from == "packet estimate"
    seen = counted(made, recipe)
    for number, hold in enumerate(verified.holds):
        assert hold.soak_s is not None
        assert seen[number] == pytest.approx(hold.soak_s.best, abs=15.0)


def test_a_packet_loaded_hot_and_pulled_by_mark() -> None:
    recipe, _, _ = two_holds(load="hot")
    recipe = replace(recipe, steps=recipe.steps[1:])
    t = np.arange(0.0, 4000.0, 1.0)
    c = np.full(t.size, 1040.0) + np.random.default_rng(6).normal(0, 0.2, t.size)
    c[t < 300] = 1000.0 + t[t < 300] / 7.5
    marks = (Mark(600.0, "load", ("A",)), Mark(3000.0, "pull", ("A",)))
    made = make_run(t, {"furnace": c}, marks=marks)
    verified = verify(made, recipe)
    (hold,) = verified.holds
    assert hold.soak_s is not None
    assert counted(made, recipe)[0] == pytest.approx(hold.soak_s.best, abs=15.0)


def test_a_load_sensor_that_lags() -> None:
    recipe, t, c = two_holds()
    load = np.interp(t - 200.0, t, c)
    columns = [sensor("furnace"), sensor("blade", role="load")]
    made = make_run(t, {"furnace": c, "blade": load}, columns=columns)
    verified = verify(made, recipe)
    assert verified.temperature_from == "load"
    seen = counted(made, recipe)
    for number, hold in enumerate(verified.holds):
        assert hold.soak_s is not None
        assert seen[number] == pytest.approx(hold.soak_s.best, abs=15.0)
