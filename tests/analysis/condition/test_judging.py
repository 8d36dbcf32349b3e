"""What condition says of a furnace whose parts change in a known way (figures made by rules written out here)."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from soakwitness.analysis.condition.judging import Condition, judge
from soakwitness.analysis.condition.naming import Accuracy
from soakwitness.analysis.condition.trends import Trend
from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.analysis.evidence.upkeep import Upkeep

WINDOWS = (100, 200, 300, 400, 500, 600, 700)
POWER_W, LOSS_W_PER_K, HEAT_J_PER_K = 3000.0, 1.2, 6000.0
CHARGE_J_PER_K_MM = 15.0  # steel of a packet's thickness


def day(number: int) -> str:
    return str(date(2026, 1, 3) + timedelta(days=8 * number))


def figures(
    number: int,
    rng: np.random.Generator,
    *,
    power: float = 1.0,
    insulation: float = 1.0,
    differs_c: float = 0.0,
    other: bool = True,
    output: bool = True,
    charge_mm: float | None = None,
    mass_known: bool = True,
    room_c: float | None = None,
    overshoots_c: float = 3.0,
    door: int = 0,
    mains_logged: bool = False,
) -> ConditionFigures:
    """One run of a furnace that climbs by (power - loss) / heat and holds where power x output = loss.

    The mains are within 1.2 % and go into the power squared; the room follows the season by 9 K.
    """
    volts = 1.0 + rng.uniform(-0.012, 0.012)
    noise = rng.normal(1.0, 0.006, 3)
    room = 20.0 + 9.0 * math.sin(2.0 * math.pi * (8 * number - 100) / 365.0) if room_c is None else room_c
    mass = float(rng.choice((3.0, 9.0, 18.0, 30.0))) if charge_mm is None else charge_mm
    watts = POWER_W * power * volts**2
    loss = {w: insulation * LOSS_W_PER_K * (w + 50.0 - room) for w in (*WINDOWS, 990)}
    heat = HEAT_J_PER_K + CHARGE_J_PER_K_MM * mass
    rates = {str(w): (watts * noise[0] - loss[w]) / heat * 3600.0 for w in WINDOWS}
    return ConditionFigures(
        run=f"run {number:03d}",
        furnace="shed",
        started_utc=f"{day(number)}T07:00:00Z",
        sensor_key="K-1",
        charged=True,
        door=door,
        full_power=rates,
        output={"1040": 100.0 * loss[990] / watts * noise[1]} if output else None,
        overshoot={"1040": overshoots_c + rng.normal(0, 0.4)},
        difference={"1040": -1.0 + differs_c + rng.normal(0, 0.4)} if other else None,
        cooling={"900": 150.0 * insulation * (850.0 - room) / 830.0 * noise[2]},
        swing={"1040": 1.0 + rng.normal(0, 0.1)},
        missed_share=0.0,
        noise_c=0.2 + rng.normal(0, 0.01),
        room_c=room,
        charge_mm=mass if mass_known else None,
        mains_v=230.0 * volts if mains_logged else None,
    )


def over_runs(
    change: Callable[[int], dict[str, Any]],
    count: int = 46,
    seed: int = 1,
    upkeep: tuple[Upkeep, ...] = (),
    **same: Any,
) -> Condition:
    """A furnace of which something changes after the twentieth run."""
    rng = np.random.default_rng(seed)
    runs = [figures(i, rng, **{**same, **(change(i) if i >= 20 else {})}) for i in range(count)]
    return judge("shed", runs, upkeep=upkeep)


def parts(condition: Condition) -> list[str]:
    return [part.part for part in condition.parts]


def the(kind: str, condition: Condition) -> Trend:
    return next(t for t in condition.trends if t.kind == kind)


def as_ever(i: int) -> dict[str, Any]:
    return {}


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("known", [True, False])
def test_a_furnace_that_stays_as_it_is_is_left_alone(seed: int, known: bool) -> None:
    found = over_runs(as_ever, seed=seed, mass_known=known)
    assert parts(found) == []
    assert str(found.says) == "shed: nothing has moved over 46 runs."


def test_half_a_year_that_grows_warm_is_no_change() -> None:
    """From January to July the room rises by 18 K; the output to hold 1040 falls by 18 of 1020 K, near 2 %."""
    for seed in range(6):
        assert over_runs(as_ever, count=23, seed=seed).moved == ()


def test_what_the_room_does_is_taken_out() -> None:
    """Losses by 956 instead of 1000 K are 4.4 % less, without a change of the furnace."""
    rng = np.random.default_rng(1)
    rooms = [-10.0 if i < 20 else 34.0 for i in range(40)]
    runs = [figures(i, rng, room_c=room) for i, room in enumerate(rooms)]
    assert judge("shed", runs).moved == ()
    unknown = [replace(r, room_c=None) for r in runs]
    assert {t.kind for t in judge("shed", unknown).moved} <= {"output", "cooling"} != set()


def test_power_that_falls_slowly_is_the_element() -> None:
    found = over_runs(lambda i: {"power": 1.0 - 0.16 * (i - 20) / 46.0})
    assert parts(found) == ["ageing elements"]
    assert str(found.says).startswith("shed: heats ")
    assert str(found.says).endswith("slower than in January 2026; elements age like this.")
    assert "cold resistance" in found.parts[0].measure
    assert "electrician" in found.parts[0].measure
    since = the("climb", found).since
    assert since is not None
    assert day(14) <= since <= day(27)  # it began with run 20; a slow beginning has no sharp day


def test_a_steady_decline_is_not_the_mains_going_up_and_down() -> None:
    """1.2 % a month over the whole year: its own steps are no scatter."""
    rng = np.random.default_rng(3)
    runs = [figures(i, rng, power=1.0 - 0.012 * i / 3.8) for i in range(46)]
    assert parts(judge("shed", runs)) == ["ageing elements"]


def test_an_element_lost_is_seen_with_the_second_run() -> None:
    for known in (True, False):
        found = over_runs(lambda i: {"power": 5.0 / 6.0}, count=22, mass_known=known, seed=2)
        assert parts(found) == ["an element or a phase gone"]
        assert the("output", found).since == day(20)
        assert "all elements glow" in found.parts[0].measure


def test_mains_five_percent_low_are_told_from_an_element_by_their_size() -> None:
    # 0.95 squared is 0.9025: a tenth of the power, less than one of six elements
    found = over_runs(lambda i: {"power": 0.95**2}, count=23, seed=2)
    assert parts(found) == ["low mains"]
    assert "electrician" in found.parts[0].measure


def test_mains_that_are_logged_are_no_fault_of_the_furnace() -> None:
    rng = np.random.default_rng(4)
    runs = []
    for i in range(40):
        volts = 1.0 if i < 20 else 0.95
        made = figures(i, rng, power=volts**2, mains_logged=True)
        runs.append(replace(made, mains_v=(made.mains_v or 0.0) * volts))
    assert parts(judge("shed", runs)) == []


def test_power_that_goes_up_and_down_is_the_mains() -> None:
    source = np.random.default_rng(7)
    found = over_runs(lambda i: {"power": float(1.0 + source.uniform(-0.14, 0.14))})
    assert parts(found) == ["mains that go up and down"]


def test_a_rise_that_came_before_a_fall_has_no_part_in_it() -> None:
    """Up at run 15, down at run 31: what stands now began with run 31."""
    rng = np.random.default_rng(5)
    levels = [1.0] * 15 + [1.07] * 16 + [0.9] * 15
    found = judge("shed", [figures(i, rng, power=level) for i, level in enumerate(levels)])
    climb = the("climb", found)
    assert climb.change < -0.08
    assert climb.since == day(31)


def test_insulation_takes_more_output_and_cools_faster() -> None:
    found = over_runs(lambda i: {"insulation": 1.12}, count=28)
    assert parts(found) == ["insulation or door seal"]
    assert "strip of paper" in found.parts[0].measure


def test_a_heavier_charge_is_not_less_power() -> None:
    """Not known to be heavier: it climbs slower, and holds with the same output."""
    found = over_runs(lambda i: {"charge_mm": 150.0}, charge_mm=9.0, mass_known=False)
    assert the("climb", found).moved
    assert parts(found) == []


def test_a_relay_that_sticks_overshoots() -> None:
    found = over_runs(lambda i: {"overshoots_c": 9.0}, count=26)
    assert parts(found) == ["relay or controller"]
    assert found.parts[0].says.text("C").startswith(f"Since {day(20)} it overshoots by 9")
    assert "electrician" in found.parts[0].measure


def test_without_an_output_the_climb_alone_tells() -> None:
    found = over_runs(lambda i: {"power": 0.75}, count=24, output=False, other=False)
    assert parts(found) == ["an element or a phase gone"]
    assert "if what is in it is as ever" not in str(found.parts[0].says)


def test_without_output_and_charge_it_is_said_that_a_charge_would_do_the_same() -> None:
    found = over_runs(lambda i: {"power": 0.72}, count=26, output=False, other=False, mass_known=False)
    assert parts(found) == ["an element or a phase gone"]
    assert "if what is in it is as ever" in str(found.parts[0].says)


def test_another_room_is_said_and_is_no_fault() -> None:
    rng = np.random.default_rng(1)
    runs = [figures(i, rng) for i in range(40)]
    moved = [figures(i, rng, room_c=(r.room_c or 0.0) - 14.0) if i >= 24 else r for i, r in enumerate(runs)]
    found = judge("shed", moved)
    assert parts(found) == ["a colder room, not the furnace"]
    assert the("room", found).since == day(24)


def test_new_elements_begin_another_baseline() -> None:
    new = Upkeep(1, "shed", "elements", f"{day(24)}T06:00:00Z", "both", f"{day(24)}T06:00:00Z", "Ana")
    rng = np.random.default_rng(6)
    runs = [figures(i, rng, power=1.0 - 0.2 * i / 46.0 if i < 24 else 1.02) for i in range(46)]
    entered = judge("shed", runs, upkeep=[new])
    assert (parts(entered), entered.moved) == ([], ())
    assert str(entered.says) == f"shed: nothing has moved over the 22 runs after the work of {day(24)} (elements)."
    assert the("climb", entered).fresh == 24
    assert the("difference", entered).fresh == 0  # elements do nothing to two sensors
    unsaid = judge("shed", [figures(i, rng, power=0.88 if i < 24 else 1.02) for i in range(46)])
    assert parts(unsaid) == []
    assert "faster" in str(unsaid.says)
    assert str(unsaid.says).endswith("enter it: soakwitness upkeep.")


def test_what_goes_wrong_after_new_elements_is_told_against_them() -> None:
    new = Upkeep(1, "shed", "elements", f"{day(10)}T06:00:00Z", "", "", "Ana")
    rng = np.random.default_rng(6)
    runs = [figures(i, rng, power=0.8 if i < 10 else 1.0 if i < 30 else 0.82) for i in range(36)]
    found = judge("shed", runs, upkeep=[new])
    assert parts(found) == ["an element or a phase gone"]
    assert f"than after the work of {day(10)} (elements)" in str(found.says)


def test_two_sensors_that_part_do_not_tell_which_and_accuracy_tests_do() -> None:
    def drifting(i: int) -> dict[str, Any]:
        return {"differs_c": -0.4 * (i - 20)}

    assert parts(over_runs(drifting)) == ["one of two thermocouples"]
    rng = np.random.default_rng(1)
    runs = [figures(i, rng, **(drifting(i) if i >= 20 else {})) for i in range(46)]
    low = [Accuracy("2026-01-05", 0.5), Accuracy("2026-02-10", -9.5)]
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


def test_lost_readings_and_noise_are_told_of() -> None:
    rng = np.random.default_rng(1)
    runs = [figures(i, rng) for i in range(40)]
    poor = [replace(r, missed_share=0.04, noise_c=0.9, lost=2) if i >= 25 else r for i, r in enumerate(runs)]
    assert parts(judge("shed", poor)) == ["link to the instrument", "noise on the sensor's lead"]


def test_groups_are_counted_and_an_opened_door_does_not_count_as_overshoot() -> None:
    rng = np.random.default_rng(1)
    runs = [figures(i, rng) for i in range(20)]
    runs += [replace(figures(20 + i, rng, charge_mm=0.0), charged=False) for i in range(10)]
    runs += [replace(figures(30 + i, rng, overshoots_c=20.0, door=1), charged=None) for i in range(10)]
    found = judge("shed", runs)
    assert dict(found.groups) == {"charged": 20, "empty": 10, "charge not known": 10}
    assert parts(found) == []


def test_a_new_sensor_life_begins_the_differences_anew() -> None:
    rng = np.random.default_rng(1)
    runs = [figures(i, rng, differs_c=0.0 if i < 20 else 8.0) for i in range(40)]
    renewed = [replace(r, sensor_key="K-1" if i < 20 else "K-2") for i, r in enumerate(runs)]
    assert parts(judge("shed", runs)) == ["one of two thermocouples"]
    found = judge("shed", renewed)
    assert parts(found) == []
    assert the("difference", found).begun_by == "thermocouple"


def test_few_runs_are_said_to_be_too_few() -> None:
    rng = np.random.default_rng(1)
    found = judge("shed", [figures(i, rng) for i in range(5)])
    assert str(found.says).startswith("shed: 5 runs on record, too few to see a trend; 8 with the same figure")
    assert str(judge("shed", []).says).startswith("shed: 0 runs")
    assert str(judge("shed", [figures(0, rng)]).says).startswith("shed: 1 run on record")
