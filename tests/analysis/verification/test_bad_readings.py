"""A reading that stands still: stuck, at the end of its range, or simply a good hold of a coarse instrument."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.runs import FloatArray, Run
from soakwitness.analysis.verification.bad_readings import bad_readings
from soakwitness.firmware_bridge.runfolder.model import Column
from tests.verification_runs import drawn, make_run, sensor

HOLD = [(0, 20), (1960, 1000), (3760, 1000), (5600, 80)]


def run_with(temp_c: FloatArray, step_c: float = 0.1, **signals: FloatArray) -> Run:
    units = {"output": "%", "setpoint": "C"}
    columns = [sensor(resolution=step_c), *(Column(name, "signal", units[name]) for name in signals)]
    return make_run(np.arange(float(temp_c.size)), {"furnace": temp_c, **signals}, columns=columns)


def test_a_coarse_level_hold_is_no_stuck_reading():
    t_s, temp_c = drawn(HOLD, step_c=1.0)
    output = 30 + 3 * np.sin(t_s / 100)
    assert bad_readings(run_with(temp_c, 1.0, output=output)) == ()


def test_stuck_while_the_output_moves():
    t_s, temp_c = drawn(HOLD, noise_c=0.3)
    temp_c[2200:3200] = 1000.0
    output = np.where((t_s > 2500) & (t_s < 3100), 100.0, 30.0)
    (found,) = bad_readings(run_with(temp_c, output=output))
    assert (found.start_s, found.end_s, found.at_c) == (2200, 3199, 1000)
    assert "output moved by 70 %" in str(found.why)
    assert found.kind == "stuck"


def test_stuck_while_the_setpoint_climbs():
    t_s, temp_c = drawn(HOLD, noise_c=0.3)
    temp_c[1000:1600] = 520.0
    (found,) = bad_readings(run_with(temp_c, setpoint=np.minimum(20 + t_s / 2, 1000.0)))
    assert "setpoint" in str(found.why)


def test_the_end_of_the_range_shows_by_noise_that_ceases():
    _, temp_c = drawn(HOLD, noise_c=0.5)
    (found,) = bad_readings(run_with(np.minimum(temp_c, 990.0)))
    assert found.kind == "end of range"
    assert found.at_c == 990.0


def test_a_short_standstill_is_nothing():
    t_s, temp_c = drawn(HOLD, noise_c=0.3)
    temp_c[2200:2400] = 1000.0
    output = np.where(t_s > 2300, 100.0, 30.0)
    assert bad_readings(run_with(temp_c, output=output)) == ()


def test_cold_readings_may_stand_still():
    t_s, temp_c = drawn([(0, 20), (2000, 20), (4000, 1000)], step_c=1.0)
    assert bad_readings(run_with(temp_c, output=np.where(t_s > 500, 100.0, 0.0))) == ()


def test_a_contact_that_opened_twice_in_a_row_is_one_and_comes_back():
    _, temp_c = drawn(HOLD, noise_c=0.2)
    # A minute of 25, then 55 s of 0, and back where it was.
    temp_c[2600:2660], temp_c[2660:2715] = 25.0, 0.0
    (found,) = bad_readings(run_with(temp_c))
    assert (found.kind, found.start_s, found.end_s) == ("contact", 2600.0, 2714.0)


@pytest.mark.parametrize("open_s", [5, 15, 60])
def test_a_level_to_the_digit_is_not_broken_because_a_contact_opened_before_it(open_s: int):
    # The display shows whole degrees: 1000 before, and the same again for minutes after.
    _, temp_c = drawn(HOLD, step_c=1.0)
    temp_c[2600 : 2600 + open_s] = 25.0
    (found,) = bad_readings(run_with(temp_c, 1.0))
    assert (found.kind, found.start_s, found.end_s) == ("contact", 2600.0, 2599.0 + open_s)


def test_a_slow_logger_that_stood_still_and_then_jumped_was_stuck():
    # A reading a minute; eight of one number in a climb of 10 K a minute, then 91 K in one step.
    t_s = np.arange(0.0, 6000.0, 60.0)
    temp_c = np.interp(t_s, [0, 4500, 4550, 5500, 6000], [20, 745, 751, 930, 930])
    temp_c[78:86] = 773.2
    (found,) = bad_readings(make_run(t_s, {"furnace": np.round(temp_c, 1)}, columns=[sensor()]))
    assert (found.kind, found.start_s, found.end_s) == ("stuck", 78 * 60.0, 85 * 60.0)


def test_of_two_stands_the_one_that_goes_on_smoothly_is_the_furnace():
    # Whole degrees every ten seconds, no noise: stuck at 765 in the climb, freed at 821 in the hold, which then sinks.
    t_s = np.arange(0.0, 5000.0, 10.0)
    temp_c = np.interp(t_s, [0, 2235, 2300, 3240, 3580, 5000], [20, 765, 821, 821, 820, 400])
    temp_c[223:298] = 765.0
    (found,) = bad_readings(make_run(t_s, {"furnace": np.round(temp_c)}, columns=[sensor(resolution=1.0)]))
    assert (found.kind, found.start_s, found.end_s) == ("stuck", 2230.0, 2970.0)


def test_a_level_without_noise_is_not_stuck_because_the_sensor_breaks_after_it():
    _, temp_c = drawn(HOLD)
    temp_c[2600:] = 1372.0
    (found,) = bad_readings(run_with(temp_c))
    assert (found.kind, found.start_s) == ("broken", 2600.0)


def test_a_number_jumped_to_without_the_noise_it_had_is_a_broken_sensor():
    _, temp_c = drawn([(0, 20), (1000, 240), (3000, 240), (6000, 60), (9000, 50)], noise_c=0.3)
    temp_c[6500:] = 25.0
    (found,) = bad_readings(run_with(temp_c))
    assert (found.kind, found.start_s, found.end_s) == ("broken", 6500.0, 9000.0)


@pytest.mark.parametrize("rate_c_per_h", [450.0, 540.0, 543.0, 600.0, 900.0])
@pytest.mark.parametrize("every_s", [10.0, 30.0, 60.0])
def test_the_steps_of_a_whole_degree_on_a_ramp_are_no_noise(rate_c_per_h: float, every_s: float):
    # A ramp whose readings lie half-way between steps goes 13, 14, 13, ...; then the hold shows one number for long.
    t_s = np.arange(0.0, 12_000.0, every_s)
    arrives_s = 1020.0 / rate_c_per_h * 3600.0
    temp_c = np.interp(t_s, [0, arrives_s, arrives_s + 1800, 12_000], [20, 1040, 1040, 700])
    run = make_run(t_s, {"furnace": np.round(temp_c)}, columns=[sensor(resolution=1.0)])
    assert bad_readings(run) == ()
