"""Figures of simulated days of which all that happened is known (``tests/furnace_days.py`` says what)."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.condition import health, levels
from soakwitness.analysis.condition.health import condition_figures
from soakwitness.analysis.condition.measuring import Measured, control_trace, header_sensor, run_figures
from soakwitness.analysis.evidence.run_figures import RunFigures, condition_from, run_figures_from, to_plain
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.run import Run, Trace
from soakwitness.analysis.verification.results.verification import PieceInfo, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.furnace_days import HARDEN, Blade, Day, Fitting, Lived, live, run_of

# no [packet]: the control sensor decides, which is quick
RECIPE = parse_recipe(HARDEN.replace("[packet]\nthickness_mm = 3.0\nfoil = true\n", ""), "harden")
BLADES = tuple(Blade(f"B-{i}", pull_after_s=60.0 * i) for i in range(3))


def measured(day: Day, fitting: Fitting | None = None) -> tuple[Lived, Run, Verification, RunFigures]:
    lived = live(replace(day, blades=day.blades or BLADES))
    run = run_of(lived, fitting or Fitting(), "x")
    found = verify(run, RECIPE, pieces=[PieceInfo(b.name) for b in lived.day.blades])
    return lived, run, found, run_figures(run, RECIPE, found)


@pytest.fixture(scope="module")
def usual() -> tuple[Lived, Run, Verification, RunFigures]:
    return measured(Day(), Fitting(recording=True))


def test_a_hold_is_measured_as_it_was_lived(usual: tuple[Lived, Run, Verification, RunFigures]) -> None:
    lived, _, _, figures = usual
    hold = next(h for h in figures.holds if h.step == 4)
    true = lived.chamber_c[(lived.t_s > lived.last_hold_s + 300) & (lived.t_s < lived.end_s)]
    assert hold.control_c == pytest.approx(float(np.median(true)), abs=1.5)
    assert (hold.setpoint_c, hold.program_c, hold.program_s) == (1040.0, 1040.0, 1500.0)
    # the program holds for 1500 s and 180 s more, then the blades are pulled, one a minute
    assert hold.chamber_s is not None
    assert 1680 <= hold.chamber_s <= 1680 + 3 * 60 + 200
    late = (lived.t_s > lived.end_s - 600) & (lived.t_s < lived.end_s)
    assert hold.output_pct == pytest.approx(float(np.median(lived.output_pct[late])), abs=3.0)


def test_pieces_have_their_way_to_the_plates(usual: tuple[Lived, Run, Verification, RunFigures]) -> None:
    *_, figures = usual
    assert [p.piece for p in figures.pieces] == ["B-0", "B-1", "B-2"]
    assert all(p.quench_delay_s == pytest.approx(9.0, abs=0.01) for p in figures.pieces)
    assert figures.quench_within_s == 30.0


def test_differences_are_read_cold_and_level(usual: tuple[Lived, Run, Verification, RunFigures]) -> None:
    *_, figures = usual
    assert [d.step for d in figures.differences] == [None, 2, 4]
    assert figures.differences[0].difference_c == pytest.approx(0.0, abs=0.3)
    assert figures.cold_c == pytest.approx(20.0, abs=0.5)
    *_, shifted = measured(Day(sensor_error={"offset": 12.0}), Fitting(recording=True))
    moved = [a.difference_c - b.difference_c for a, b in zip(shifted.differences, figures.differences, strict=True)]
    assert moved == pytest.approx([12.0, 12.0, 12.0], abs=0.7)


def test_a_blade_that_has_not_caught_up_says_nothing_of_the_sensors() -> None:
    thick = tuple(replace(b, thickness_mm=14.0) for b in BLADES)
    *_, figures = measured(Day(blades=thick), Fitting(load=True))
    assert 2 not in [d.step for d in figures.differences if d.role == "load"]


@pytest.mark.parametrize("seconds", [20.0, 45.0])
def test_an_opened_door_falls_within_seconds(seconds: float) -> None:
    *_, figures = measured(Day(doors=((400.0, seconds),)))
    pulls = [p.pull_s or 0.0 for p in figures.pieces]
    (dip,) = (d for d in figures.dips if d.start_s < min(pulls) - 60)
    assert dip.quick
    assert dip.fall_s <= seconds + 30.0
    assert dip.depth_c > 20.0


def test_a_power_cut_sags_slowly_and_is_no_door() -> None:
    lived, _, _, figures = measured(Day(cut=(300.0, 500.0)))
    pulls = [p.pull_s or 0.0 for p in figures.pieces]
    (dip,) = (d for d in figures.dips if d.start_s < min(pulls) - 60)
    assert not dip.quick
    assert dip.start_s == pytest.approx(lived.last_hold_s + 300.0, abs=60.0)
    true = lived.chamber_c[(lived.t_s > dip.start_s) & (lived.t_s < dip.start_s + dip.seconds)]
    assert dip.depth_c == pytest.approx(1041.0 - true.min(), abs=6.0)


def test_a_hold_that_was_missed_is_measured_where_it_stood_instead() -> None:
    *_, found, figures = measured(Day(program=((None, 780.0, 600.0), (400.0, 1005.0, 1500.0))))
    hold = next(h for h in figures.holds if h.step == 4)
    assert not hold.found
    assert hold.control_c == pytest.approx(1005.0, abs=2.0)
    assert hold.setpoint_c == 1005.0


def test_two_sensors_that_disagree_are_compared_though_the_hold_is_outside_its_band_by_one() -> None:
    # the load decides; the control reads 25 K low, so that the furnace stands 25 K above the band by the load
    usual_load = measured(Day(), Fitting(load=True))[3]
    *_, low = measured(Day(sensor_error={"offset": -25.0}), Fitting(load=True))
    moved = {
        a.step: a.difference_c - b.difference_c
        for a in low.differences
        for b in usual_load.differences
        if a.step == b.step
    }
    assert moved[4] == pytest.approx(-25.0, abs=1.5)


def test_a_power_cut_out_of_which_the_last_hold_never_came_back_is_found_by_the_pull_marks() -> None:
    late = tuple(replace(b, pull_after_s=0.0) for b in BLADES)
    lived, _, _, figures = measured(Day(blades=late, cut=(200.0, 1200.0), extra_hold_s=0.0))
    sags = [d for d in figures.dips if not d.quick and d.depth_c > 30.0]
    # its begin is where it fell past what it came back to, within the cut
    (start_s,) = (d.start_s for d in sags)
    assert lived.last_hold_s + 200.0 < start_s < lived.last_hold_s + 1400.0


def test_marks_that_change_nothing_measure_nothing(usual: tuple[Lived, Run, Verification, RunFigures]) -> None:
    """A second load mark of a piece that is in, and a pull mark that names what never went in."""
    lived, run, _, _ = usual
    marks = (Mark(600.0, "load", ("B-0",)), Mark(lived.last_hold_s, "pull", ("B-0",)))
    more = (Mark(1200.0, "load", ("B-0",)), Mark(float(run.t_s[-1]), "pull", ("B-9",)))
    plain, marked = (run_figures(replace(run, marks=each), RECIPE, None) for each in (marks, marks + more))
    assert (marked.loaded_at_c, marked.recovery_s, marked.dips) == (
        plain.loaded_at_c,
        plain.recovery_s,
        plain.dips,
    )
    assert Measured(replace(run, marks=marks + more), RECIPE, None, run.traces[0]).in_use_until_s == lived.last_hold_s


def test_a_furnace_that_starts_warm_is_no_cold_comparison() -> None:
    t = np.arange(0.0, 300.0, 10.0)
    assert levels._cold_difference(t, np.full(30, 20.0), np.full(30, 21.0)) == (20.0, -1.0)
    assert levels._cold_difference(t, np.full(30, 480.0), np.full(30, 21.0)) is None


def test_an_oven_that_swings_is_level_all_the_same() -> None:
    # a swing of +-5 K in ten minutes is 188 K/h at its steepest; its mean does not move for two hours
    t = np.arange(0.0, 9000.0, 10.0)
    temp = np.where(t < 1500, 20.0 + 73.0 * t / 1500, 93.0 + 5.0 * np.sin((t - 1500) * 2 * np.pi / 600))
    begin, end = levels.level_near(t, temp, 200.0, least_s=1800.0, hold_s=7200.0)
    assert begin is not None
    assert end is not None
    assert end - begin > 0.8 * 7500.0
    # five minutes see it rise and fall only
    assert levels.level_near(t, temp, 200.0, least_s=1800.0) == (None, None)


def test_full_power_is_where_the_output_was_full(usual: tuple[Lived, Run, Verification, RunFigures]) -> None:
    lived, run, found, figures = usual
    condition = condition_figures(run, RECIPE, found, figures)
    rates = condition.full_power or {}
    assert {"100", "200", "300", "400", "500"} <= set(rates) <= {str(w) for w in range(100, 800, 100)}
    # by hand: from the first reading past 300 to the first past 400 degC
    begin, end = (float(lived.t_s[np.argmax(lived.control_c > edge)]) for edge in (300.0, 400.0))
    assert rates["300"] == pytest.approx(100.0 / (end - begin) * 3600.0, rel=0.06)
    weak = measured(Day(mains=0.8))
    slower = condition_figures(*weak[1:2], RECIPE, *weak[2:]).full_power or {}
    # eight tenths of the power, less what the bricks take as before: slower by more than a fifth when hot
    assert slower["100"] / rates["100"] < 0.82
    assert slower["500"] / rates["500"] < slower["100"] / rates["100"]


def test_without_an_output_only_ramps_meant_to_be_at_full_power_count() -> None:
    _, run, found, figures = measured(Day(), Fitting(signals=False))
    rates = condition_figures(run, RECIPE, found, figures).full_power or {}
    assert "300" in rates
    assert "900" not in rates  # the second ramp is asked for at 400 degC an hour


def test_without_output_and_full_power_the_way_to_the_first_hold_counts() -> None:
    """A memory logger's own trace: a program that can no more be followed shows there."""
    lived = live(Day(cooling=False))
    run = run_of(lived, Fitting(signals=False), "x")
    slow = parse_recipe(HARDEN.replace('ramp = "full power"', "ramp = 900"), "slow")
    found = verify(run, slow)
    rates = condition_figures(run, slow, found, run_figures(run, slow, found)).full_power or {}
    assert {"100", "200", "300"} <= set(rates)
    assert "900" not in rates  # beyond the first hold


def test_swing_and_climb_with_nothing_on() -> None:
    t = np.arange(0.0, 3600.0, 10.0)
    steady = Trace("control", "control", t, 1040.0 + 4.0 * np.sin(t / 60.0), 0.1, 10.0)
    # nine tenths of a sine lie within sin(0.9 x 90 degrees) = 0.988 of its size
    assert health.swing(steady, 0.0, 3600.0) == pytest.approx(2 * 4.0 * 0.988, rel=0.03)
    lived = live(Day(cooling=False))
    run = run_of(lived, Fitting(), "x")
    output = np.where((run.t_s >= 1000.0) & (run.t_s < 1600.0), 0.0, 50.0)
    stuck = replace(run, values={**run.values, "output": output})
    control = replace(run.traces[0], temp_c=np.interp(run.t_s, [0.0, 1000.0, 1600.0, 1e5], [20.0, 620.0, 680.0, 680.0]))
    # 60 K in ten minutes, of which the first minute is not counted
    assert health.afterheat(stuck, control) == pytest.approx(54.0, abs=1.5)
    assert health.afterheat(run_of(lived, Fitting(signals=False), "x"), control) is None


def test_an_output_that_is_on_or_off_has_a_mean() -> None:
    run = run_of(live(Day(cooling=False)), Fitting(), "x")
    pulses = replace(run, values={**run.values, "output": np.where(np.arange(run.t_s.size) % 10 < 3, 100.0, 0.0)})
    assert health.mean_output(pulses, float(run.t_s[100]), float(run.t_s[199])) == pytest.approx(30.0)


def test_lost_readings_are_counted_and_noise_is_that_of_the_reading() -> None:
    rng = np.random.default_rng(1)
    t = np.arange(0.0, 3000.0)
    ramp = 20.0 + 0.3 * t + rng.normal(0, 0.25, t.size)
    assert health.noise(ramp) == pytest.approx(0.25, rel=0.08)
    ramp[100:400] = np.nan
    assert health.missed_share(t, ramp, 1.0) == pytest.approx(0.1, abs=0.001)
    assert health.noise(ramp[:5]) is None
    assert health.missed_share(t[:1], ramp[:1], 1.0) is None


def test_cooling_is_measured_while_the_output_is_off(usual: tuple[Lived, Run, Verification, RunFigures]) -> None:
    lived, run, *_ = usual
    control = control_trace(run)
    assert control is not None
    rates = health.cooling_rates(run, control)
    after = lived.t_s > lived.end_s + 300
    begin, end = (float(lived.t_s[after][np.argmax(lived.control_c[after] < edge)]) for edge in (900.0, 800.0))
    assert rates["900"] == pytest.approx(100.0 / (end - begin) * 3600.0, rel=0.02)


def test_a_run_without_a_recipe_still_has_its_furnace_figures(
    usual: tuple[Lived, Run, Verification, RunFigures],
) -> None:
    _, run, *_ = usual
    figures = run_figures(run, None, None)
    assert figures.verdict is None
    assert figures.holds == ()
    assert (condition_figures(run, None, None, figures).full_power or {}).keys() >= {"200", "300"}


def test_figures_come_back_from_json_as_they_were(usual: tuple[Lived, Run, Verification, RunFigures]) -> None:
    _, run, found, figures = usual
    back = run_figures_from(json.loads(json.dumps(to_plain(figures))))
    assert back == figures
    condition = condition_figures(run, RECIPE, found, figures)
    assert condition_from({**json.loads(json.dumps(to_plain(condition))), "from a newer program": 1}) == condition


def test_the_header_tells_of_the_sensor_and_its_offset_in_kelvin() -> None:
    lived = live(Day(blades=BLADES, cooling=False))
    run = run_of(lived, Fitting(serial="K-9", input_offset=2.0), "x")
    sensor = header_sensor(run, "control")
    assert (sensor.serial, sensor.input_offset_c, sensor.thermocouple) == ("K-9", 2.0, "K")
    columns = tuple(replace(c, unit="F") for c in run.columns)
    in_fahrenheit = replace(run, header=replace(run.header, columns=columns))
    # 2 degrees Fahrenheit are 2 / 1.8 K
    assert header_sensor(in_fahrenheit, "control").input_offset_c == pytest.approx(2.0 / 1.8)
    assert header_sensor(run, "none").serial is None


def test_levels_and_stays() -> None:
    t = np.arange(0.0, 7200.0, 10.0)
    temp = np.interp(t, [0, 1800, 5400, 7200], [20, 1000, 1000, 300])
    # level from 1800 to 5400 s; a window of 300 s cuts half of it off either end
    begin, end = levels.level_near(t, temp, 1040.0, least_s=600.0)
    assert begin is not None
    assert end is not None
    assert begin == pytest.approx(1800.0, abs=160.0)
    assert end == pytest.approx(5400.0, abs=160.0)
    assert levels.level_near(t, temp, 700.0, least_s=600.0) == (None, None)
    assert levels.level_near(t, temp, 1040.0, least_s=6000.0) == (None, None)
    assert levels.longest_stay(t, temp == 1000.0, 3000.0) == 3600.0
    assert levels.longest_stay(t, temp == 1000.0, 100.0) is None
    assert levels.mean_between(t, temp, 2000.0, 3000.0) == 1000.0
    assert levels.mean_between(t, np.full(t.size, np.nan), 2000.0, 3000.0) is None
