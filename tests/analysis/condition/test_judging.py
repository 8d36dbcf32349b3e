"""What condition says of a furnace whose parts change in a known way (figures made by rules written out here)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.condition.judging import Accuracy, Condition, judge
from soakwitness.analysis.condition.trends import all_series, trend
from soakwitness.analysis.evidence.run_figures import ConditionFigures

WINDOWS = (100, 200, 300, 400, 500, 600, 700)
POWER_W, LOSS_W_PER_K, HEAT_J_PER_K = 3000.0, 1.2, 6000.0


def figures(
    number: int,
    rng: np.random.Generator,
    *,
    power: float = 1.0,
    insulation: float = 1.0,
    differs_c: float = 0.0,
    other: bool = True,
    charged: bool | None = True,
    door: int = 0,
) -> ConditionFigures:
    """One run of a furnace that climbs by (power - loss) / heat and holds where power x output = loss."""
    noise = rng.normal(1.0, 0.008, 3)
    loss = {w: insulation * LOSS_W_PER_K * (w + 30.0) for w in (*WINDOWS, 1040)}
    rates = {str(w): (POWER_W * power * noise[0] - loss[w]) / HEAT_J_PER_K * 3600.0 for w in WINDOWS}
    output = 100.0 * loss[1040] / (POWER_W * power) * noise[1]
    return ConditionFigures(
        run=f"run {number:03d}",
        furnace="shed",
        started_utc=f"2026-{1 + number // 28:02d}-{1 + number % 28:02d}T07:00:00Z",
        sensor_key="K-1",
        charged=charged,
        door=door,
        full_power=rates,
        output={"1040": output},
        overshoot={"1040": 3.0 + rng.normal(0, 0.4)},
        difference={"1040": -1.0 + differs_c + rng.normal(0, 0.4)} if other else None,
        cooling={"900": 150.0 * insulation * noise[2]},
        missed_share=0.0,
        noise_c=0.2 + rng.normal(0, 0.01),
    )


def over_runs(change: Callable[[int], dict[str, object]], count: int = 40, seed: int = 1, **same: object) -> Condition:
    """A furnace of which something changes after the twentieth run."""
    rng = np.random.default_rng(seed)
    runs = [figures(i, rng, **{**same, **(change(i) if i >= 20 else {})}) for i in range(count)]  # type: ignore[arg-type]
    return judge("shed", runs)


def parts(condition: Condition) -> list[str]:
    return [part.part for part in condition.parts]


@pytest.mark.parametrize("seed", range(12))
def test_a_furnace_that_stays_as_it_is_is_left_alone(seed: int) -> None:
    found = over_runs(lambda i: {}, seed=seed)
    assert parts(found) == []
    assert found.says == "shed: nothing has moved over 40 runs."


def test_power_that_falls_slowly_is_the_element() -> None:
    found = over_runs(lambda i: {"power": 1.0 - 0.008 * (i - 20)})
    assert parts(found) == ["aged element rather than mains"]
    # it began to fall with run 20, 2026-01-21; the charts need some runs to see it
    says = str(found.parts[0].says)
    assert "2026-01-2" in says or "2026-02-0" in says
    assert "cold resistance" in found.parts[0].measure


def test_power_that_goes_up_and_down_is_the_mains() -> None:
    source = np.random.default_rng(7)
    found = over_runs(lambda i: {"power": float(source.choice([0.8, 0.86, 0.9, 0.97]))})
    assert parts(found) == ["low mains rather than element"]


def test_power_that_fell_at_once_may_be_either() -> None:
    found = over_runs(lambda i: {"power": 0.85})
    assert parts(found) == ["less power: mains or element"]
    assert "one tells mains, both together the element" in found.parts[0].measure


def test_insulation_leaves_the_lowest_windows_alone() -> None:
    found = over_runs(lambda i: {"insulation": 1.25})
    assert parts(found) == ["insulation or door seal"]


def test_two_sensors_that_part_do_not_tell_which_and_accuracy_tests_do() -> None:
    def drifting(i: int) -> dict[str, object]:
        return {"differs_c": -0.4 * (i - 20)}

    assert parts(over_runs(drifting)) == ["one of two thermocouples"]
    rng = np.random.default_rng(1)
    runs = [figures(i, rng, **(drifting(i) if i >= 20 else {})) for i in range(40)]  # type: ignore[arg-type]
    low = [Accuracy("2026-01-05", 0.5), Accuracy("2026-02-10", -6.5)]
    same = [Accuracy("2026-01-05", 0.5), Accuracy("2026-02-10", 0.4)]
    assert parts(judge("shed", runs, accuracy=low)) == ["control thermocouple"]
    assert parts(judge("shed", runs, accuracy=same)) == ["the other thermocouple"]


def test_one_sensor_alone_does_not_tell_insulation_from_itself() -> None:
    rng = np.random.default_rng(1)
    runs = [figures(i, rng, other=False) for i in range(40)]
    more = [
        replace(r, output={"1040": (r.output or {})["1040"] * (1.12 if i >= 20 else 1.0)}) for i, r in enumerate(runs)
    ]
    found = judge("shed", more)
    assert parts(found) == ["insulation or thermocouple, which one sensor alone cannot tell"]
    assert "accuracy" in found.parts[0].measure
    assert "output to hold 1040 °C, all else" in found.parts[0].says.text("C")
    assert "output to hold 1904 °F, all else" in found.parts[0].says.text("F")  # 1040 x 1.8 + 32
    assert found.trends[0].series.name.text("F") == found.trends[0].series.name.text("C").replace(
        f"{found.trends[0].series.where} °C", f"{float(found.trends[0].series.where) * 1.8 + 32:g} °F"
    )


def test_lost_readings_and_noise_are_told_of() -> None:
    rng = np.random.default_rng(1)
    runs = [figures(i, rng) for i in range(40)]
    poor = [replace(r, missed_share=0.04, noise_c=0.9, lost=2) if i >= 25 else r for i, r in enumerate(runs)]
    assert parts(judge("shed", poor)) == ["link to the instrument", "noise on the sensor's lead"]


def test_runs_with_the_door_open_empty_and_charged_are_kept_apart() -> None:
    rng = np.random.default_rng(1)
    runs = [figures(i, rng) for i in range(20)]
    runs += [figures(20 + i, rng, charged=False, power=1.3) for i in range(10)]
    runs += [figures(30 + i, rng, door=1, power=0.6) for i in range(10)]
    found = judge("shed", runs)
    assert dict(found.groups) == {"charged": 20, "empty": 10, "door opened": 10}
    assert parts(found) == []


def test_a_new_sensor_life_begins_the_differences_anew() -> None:
    rng = np.random.default_rng(1)
    runs = [figures(i, rng, differs_c=0.0 if i < 20 else 8.0) for i in range(40)]
    renewed = [replace(r, sensor_key="K-1" if i < 20 else "K-2") for i, r in enumerate(runs)]
    assert parts(judge("shed", runs)) == ["one of two thermocouples"]
    assert parts(judge("shed", renewed)) == []
    (difference,) = (s for s in all_series(renewed) if s.kind == "difference")
    assert difference.values.size == 20


def test_few_runs_are_said_to_be_too_few() -> None:
    rng = np.random.default_rng(1)
    found = judge("shed", [figures(i, rng) for i in range(5)])
    assert found.says == "shed: 5 runs on record, too few to see a trend; eight of one kind are needed."
    assert judge("shed", []).says.startswith("shed: 0 runs")
    assert judge("shed", [figures(0, rng)]).says.startswith("shed: 1 run on record")


def test_a_trend_says_since_when() -> None:
    values = np.concatenate([np.full(20, 3.0) + np.random.default_rng(2).normal(0, 0.2, 20), np.full(12, 7.0)])
    rng = np.random.default_rng(1)
    runs = [replace(figures(i, rng), overshoot={"1040": float(v)}) for i, v in enumerate(values)]
    (series,) = (s for s in all_series(runs) if s.kind == "overshoot")
    found = trend(series)
    assert found is not None
    assert found.moved
    assert found.since == "2026-01-21"  # run 20, the first with 7 K
    assert found.change == pytest.approx(4.0, abs=0.2)
