"""A reading that stands still: stuck, at the end of its range, or simply a good hold of a coarse instrument."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.runs import FloatArray, Run
from soakwitness.analysis.verification.stuck import stuck_readings
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
    assert stuck_readings(run_with(temp_c, 1.0, output=output)) == ()


def test_stuck_while_the_output_moves():
    t_s, temp_c = drawn(HOLD, noise_c=0.3)
    temp_c[2200:3200] = 1000.0
    output = np.where((t_s > 2500) & (t_s < 3100), 100.0, 30.0)
    (found,) = stuck_readings(run_with(temp_c, output=output))
    assert (found.start_s, found.end_s, found.at_c) == (2200, 3199, 1000)
    assert "output moved by 70 %" in found.why
    assert not found.saturated


def test_stuck_while_the_setpoint_climbs():
    t_s, temp_c = drawn(HOLD, noise_c=0.3)
    temp_c[1000:1600] = 520.0
    (found,) = stuck_readings(run_with(temp_c, setpoint=np.minimum(20 + t_s / 2, 1000.0)))
    assert "setpoint" in found.why


def test_the_end_of_the_range_shows_by_noise_that_ceases():
    _, temp_c = drawn(HOLD, noise_c=0.5)
    (found,) = stuck_readings(run_with(np.minimum(temp_c, 990.0)))
    assert found.saturated
    assert found.at_c == 990.0


def test_a_short_standstill_is_nothing():
    t_s, temp_c = drawn(HOLD, noise_c=0.3)
    temp_c[2200:2400] = 1000.0
    output = np.where(t_s > 2300, 100.0, 30.0)
    assert stuck_readings(run_with(temp_c, output=output)) == ()


def test_cold_readings_may_stand_still():
    t_s, temp_c = drawn([(0, 20), (2000, 20), (4000, 1000)], step_c=1.0)
    assert stuck_readings(run_with(temp_c, output=np.where(t_s > 500, 100.0, 0.0))) == ()
