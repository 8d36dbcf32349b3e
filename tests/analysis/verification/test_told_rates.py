"""What is told of ramps and of the setpoint that the controller followed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.recipes.recipe import Ramp, Recipe
from soakwitness.analysis.verification.findings.rates import Stand, stands_of
from soakwitness.analysis.verification.results.verification import Finding, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Column
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

# 100 s idle, up at 1800 K/h (0.5 K/s) to 1000, 20 min there, cooling.
COURSE = [(0.0, 20.0), (100.0, 20.0), (2060.0, 1000.0), (3260.0, 1000.0), (5100.0, 80.0)]
SETPOINT, OUTPUT = Column("setpoint", "signal", "C"), Column("output", "signal", "%")
Corners = Sequence[tuple[float, float]]


def recipe(minutes: float = 20.0, **ramp: float) -> Recipe:
    plain = simple_recipe((1000, minutes, 5))
    return replace(plain, steps=(replace(plain.steps[0], **ramp), plain.steps[1]))  # type: ignore[arg-type]


def checked(
    by: Recipe, setpoint: Corners | None = None, output: float | None = None, course: Corners = COURSE
) -> Verification:
    t_s, temp_c = drawn(course)
    columns, values = [sensor(expanded_uncertainty=0.1)], {"furnace": temp_c}
    if setpoint is not None:
        columns.append(SETPOINT)
        values["setpoint"] = np.round(np.interp(t_s, *np.transpose(setpoint)), 1)
    if output is not None:
        columns.append(OUTPUT)
        values["output"] = np.full(t_s.size, output)
    return verify(make_run(t_s, values, columns=columns), by)


def only(found: Verification, code: str) -> Finding:
    (one,) = [f for f in found.findings if f.code == code]
    return one


@pytest.mark.parametrize(
    ("limits", "code", "severity", "says"),
    [
        ({"min_rate_c_per_h": 1900.0}, "slow ramp", "fail", "ran at 1800 °C/h, at least 1900 °C/h is asked."),
        ({"max_rate_c_per_h": 1700.0}, "fast ramp", "fail", "ran at 1800 °C/h, at most 1700 °C/h is asked."),
        ({"min_rate_c_per_h": 1700.0, "max_rate_c_per_h": 1900.0}, None, "", ""),
        # A fifth of what is written is told, and decides nothing.
        ({"rate_c_per_h": 2260.0}, "slow ramp", "note", "ran at 1800 °C/h where 2260 °C/h is written."),
        ({"rate_c_per_h": 2240.0}, None, "", ""),
        ({"rate_c_per_h": 1490.0}, "fast ramp", "note", "ran at 1800 °C/h where 1490 °C/h is written."),
        ({"rate_c_per_h": 1510.0}, None, "", ""),
    ],
)
def test_the_rate_of_a_ramp(limits: dict[str, float], code: str | None, severity: str, says: str) -> None:
    found = checked(recipe(**limits))
    if code is None:
        assert found.findings == ()
        return
    told = only(found, code)
    assert (told.severity, told.step) == (severity, 1)
    assert str(told.says) == f"The ramp to 1000 °C {says}"
    # Begun: within 2 % of 980 K of its first reading, 39 s late; ended where the target is reached.
    assert told.at_s == pytest.approx(100.0 + 39.2, abs=2.0)
    assert told.until_s == pytest.approx(2060.0, abs=2.0)
    assert ("typed into the controller" in str(told.next)) is (code == "fast ramp")
    assert ("the mains voltage" in str(told.next)) is (severity == "fail" and code == "slow ramp")
    assert ("waits for the furnace" in str(told.next)) is (severity == "note" and code == "slow ramp")


def test_a_falling_ramp_has_its_own_rate() -> None:
    down = simple_recipe((1000, 10, 5), (700, 10, 5))
    down = replace(down, steps=(*down.steps[:2], Ramp(3, 700.0, min_rate_c_per_h=400.0), down.steps[3]))
    # 300 K in 3600 s.
    course = [(0.0, 20.0), (1960.0, 1000.0), (2800.0, 1000.0), (6400.0, 700.0), (7300.0, 700.0), (9000.0, 80.0)]
    told = only(checked(down, course=course), "slow ramp")
    assert str(told.says) == "The ramp to 700 °C ran at 300 °C/h, at least 400 °C/h is asked."


AS_IT_RAN = [(0, 20), (100, 20), (2060, 1000), (3260, 1000), (3261, 20)]
JUMPED = [(0, 1000), (3260, 1000), (3261, 20)]


@pytest.mark.parametrize(
    ("setpoint", "output", "says", "advice"),
    [
        (JUMPED, 100.0, "ran at 1800 °C/h with the output full, at least 1900 °C/h is asked.", "It could do no more"),
        (
            AS_IT_RAN,
            60.0,
            "ran at 1800 °C/h, as its setpoint did, at least 1900 °C/h is asked.",
            "typed into the contr",
        ),
        # A setpoint that jumped has no rate, and without an output nothing tells what held the furnace back.
        (JUMPED, 60.0, "ran at 1800 °C/h, at least 1900 °C/h is asked.", "Check the rate in the controller, the mains"),
        (None, None, "ran at 1800 °C/h, at least 1900 °C/h is asked.", "Check the rate in the controller, the mains"),
    ],
)
def test_what_held_a_ramp_back_is_told_where_it_is_on_record(
    setpoint: Corners | None, output: float | None, says: str, advice: str
) -> None:
    found = checked(recipe(min_rate_c_per_h=1900.0), setpoint, output)
    assert str(only(found, "slow ramp").says) == f"The ramp to 1000 °C {says}"
    assert str(found.in_short.says) == f"Too slow: ramp to 1000 °C {says}"
    assert advice in str(found.in_short.next)
    assert found.in_short.shows_cause == ("output full" in says or "as its setpoint did" in says)


def test_a_ramp_that_ran_too_fast_as_it_was_told_says_so() -> None:
    found = checked(recipe(max_rate_c_per_h=1700.0), AS_IT_RAN, 100.0)
    assert str(found.in_short.says) == (
        "Too fast: ramp to 1000 °C ran at 1800 °C/h, as its setpoint did, at most 1700 °C/h is asked."
    )


WELL = [(0, 20), (100, 20), (2060, 1000), (3260, 1000), (3261, 20)]


@pytest.mark.parametrize(
    ("setpoint", "says", "placed"),
    [
        (WELL, None, None),
        # A kelvin and a half beside is the same setpoint.
        ([(0, 20), (100, 20), (2060, 998.5), (3260, 998.5), (3261, 20)], None, None),
        (
            [(0, 20), (100, 20), (2060, 998.4), (3260, 998.4), (3261, 20)],
            "the setpoint never stood at 1000 °C for that hold; nearest 998.4 °C, 20 min.",
            (None, None),
        ),
        # 20 min are asked: a minute less is the same, 61 s is not.
        ([(0, 20), (100, 20), (2060, 1000), (3200, 1000), (3201, 20)], None, None),
        (
            [(0, 20), (100, 20), (2060, 1000), (3199, 1000), (3200, 20)],
            "the setpoint stood for 19 min where the program says 20 min.",
            (2060.0, 3199.0),
        ),
        # 980 K from the end of the stand at 20, at 100 s: 15 % beside 1800 K/h are 2070 and 1530.
        ([(0, 20), (100, 20), (1810, 1000), (3260, 1000), (3261, 20)], None, None),
        (
            [(0, 20), (100, 20), (1790, 1000), (3260, 1000), (3261, 20)],
            "the setpoint went at 2088 °C/h, 1800 °C/h in the program.",
            (1790.0, 3260.0),
        ),
        (
            [(0, 20), (100, 20), (2460, 1000), (3700, 1000), (3701, 20)],
            "the setpoint went at 1495 °C/h, 1800 °C/h in the program.",
            (2460.0, 3700.0),
        ),
    ],
)
def test_the_setpoint_against_the_program(
    setpoint: Corners, says: str | None, placed: tuple[float | None, float | None] | None
) -> None:
    found = checked(recipe(rate_c_per_h=1800.0), setpoint)
    if says is None:
        assert "program differs" not in {f.code for f in found.findings}
        return
    told = only(found, "program differs")
    assert str(told.says) == f"What the controller followed is not the recipe's program: {says}"
    assert (told.severity, told.step, (told.at_s, told.until_s)) == ("warn", 2, placed)


def test_of_a_long_stand_a_twentieth_may_be_missing() -> None:
    # 60 min are asked for: 3 min are a twentieth of it.
    long = [*COURSE[:3], (5700.0, 1000.0), (7500.0, 80.0)]
    for until_s, told in ((5490.0, False), (5470.0, True)):
        setpoint = [(0, 20), (100, 20), (2060, 1000), (until_s, 1000), (until_s + 1, 20)]
        found = checked(recipe(60.0, rate_c_per_h=1800.0), setpoint, course=long)
        assert ("program differs" in {f.code for f in found.findings}) is told


def test_a_stand_that_went_on_for_minutes_more_is_told() -> None:
    # 4 min over 20 are more than 3 min; counted from when the furnace is there (1950 s, before the setpoint is).
    long = [(0, 20), (100, 20), (2060, 1000), (3510, 1000), (3511, 20)]
    told = only(checked(recipe(rate_c_per_h=1800.0), long), "program differs")
    assert "the setpoint stood for 24.2 min where the program says 20 min" in str(told.says)
    less = [(0, 20), (100, 20), (2060, 1000), (3430, 1000), (3431, 20)]
    assert "program differs" not in {f.code for f in checked(recipe(rate_c_per_h=1800.0), less).findings}


def test_a_stand_that_the_record_s_end_cuts_is_not_short() -> None:
    course = [*COURSE[:3], (2700.0, 1000.0)]
    found = checked(recipe(10.0, rate_c_per_h=1800.0), [(0, 20), (100, 20), (2060, 1000), (2700, 1000)], course=course)
    assert "program differs" not in {f.code for f in found.findings}
    found = checked(recipe(rate_c_per_h=1800.0), [(0, 20), (100, 20), (2060, 1000), (2700, 1000)], course=course)
    assert "program differs" not in {f.code for f in found.findings}


def test_a_controller_at_full_power_waited() -> None:
    slow = [(0, 20), (100, 20), (2460, 1000), (3700, 1000), (3701, 20)]
    by = recipe(rate_c_per_h=1800.0)
    assert "program differs" in {f.code for f in checked(by, slow, output=94.0).findings}
    assert "program differs" not in {f.code for f in checked(by, slow, output=95.0).findings}
    # Nobody waits by going faster.
    fast = [(0, 20), (100, 20), (1600, 1000), (3260, 1000), (3261, 20)]
    assert "program differs" in {f.code for f in checked(by, fast, output=100.0).findings}


def test_holds_are_matched_in_order() -> None:
    two = simple_recipe((700, 10, 5), (1000, 10, 5))
    course = [(0, 20), (1360, 700), (2060, 700), (2660, 1000), (3360, 1000), (5200, 80)]
    right = [(0, 20), (1360, 700), (2060, 700), (2660, 1000), (3360, 1000), (3361, 20)]
    assert "program differs" not in {f.code for f in checked(two, right, course=course).findings}
    # 1000 first and 700 after it: the second hold is looked for after the first one's stand alone.
    turned = [(0, 20), (1360, 1000), (2060, 1000), (2660, 700), (3360, 700), (3361, 20)]
    told = only(checked(two, turned, course=course), "program differs")
    assert told.step == 4
    assert "never stood at 1000 °C for that hold; nearest 20 °C" in str(told.says)


def test_an_offset_that_a_calibration_asks_for_is_no_difference() -> None:
    # The sensor reads 6 high, so the controller stands at 1006 to be truly at 1000.
    correction = Correction(
        "shed", "furnace", "shift", "", (), (700.0, 1100.0), (-6.0, -6.0), (0.1, 0.1), done_on="2026-05-01", due_on=None
    )
    t_s, temp_c = drawn([(0, 20), (100, 20), (2072, 1006), (3272, 1006), (5100, 80)])
    at = [(0, 20), (100, 20), (2072, 1006), (3272, 1006), (3273, 20)]
    values = {"furnace": temp_c, "setpoint": np.round(np.interp(t_s, *np.transpose(at)), 1)}
    run = make_run(t_s, values, columns=[sensor(), SETPOINT])
    by = recipe(rate_c_per_h=1800.0)
    assert "program differs" in {f.code for f in verify(run, by).findings}
    assert "program differs" not in {f.code for f in verify(run, by, corrections={"furnace": correction}).findings}


def test_stands_of_a_setpoint() -> None:
    t_s = np.arange(0.0, 1001.0, 10.0)
    at = np.interp(t_s, [0, 100, 300, 400, 450, 500, 1000], [20, 20, 120, 120, 200, 200, 200])
    # 100 s at 20, 100 s at 120, 500 s and more at 200; 100 K in 200 s are 1800 K/h, 80 K in 50 s are too quick to tell.
    assert stands_of(t_s, at) == (
        Stand(0.0, 100.0, 20.0, None, None),
        Stand(300.0, 400.0, 120.0, pytest.approx(1800.0), 100.0),
        Stand(450.0, 1000.0, 200.0, None, None),
    )
    assert stands_of(t_s, np.where(t_s % 50 == 0, np.nan, at))[-1].end_s == 990.0
    assert stands_of(t_s[:1], at[:1]) == ()
    # A minute is a stand, less is none.
    assert [s.at_c for s in stands_of(t_s, np.where(t_s <= 60, 5.0, t_s))] == [5.0]
    assert stands_of(t_s, np.where(t_s <= 50, 5.0, t_s)) == ()


def test_the_setpoint_is_the_signal_of_that_name_or_in_a_unit_of_temperature() -> None:
    t_s = np.arange(10.0)
    values = {"furnace": t_s, "output": t_s + 1, "target": t_s + 2}

    def found(*columns: Column) -> float | None:
        shown = make_run(t_s, values, columns=[sensor(), *columns]).signal("setpoint")
        return None if shown is None else float(shown[0])

    assert found(OUTPUT) is None
    assert found(OUTPUT, Column("target", "signal", "C")) == 2.0
    assert found(Column("target", "signal", "V")) is None
