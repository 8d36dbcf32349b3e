"""What a run gives for a calibration: sensors by name or role, differences in kelvin, guidance while it goes on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from soakwitness.analysis.calibration.from_run import (
    SensorChoiceError,
    comparing_of,
    pair_in_run,
    reference_of,
    sensor_of,
)
from soakwitness.analysis.calibration.guiding import guide
from soakwitness.analysis.calibration.measured_pairs.reference import CertifiedPoint, certified
from soakwitness.analysis.calibration.measured_pairs.stretches import StretchLimits
from soakwitness.analysis.calibration.survey_sensors import survey_sensor
from soakwitness.analysis.record.run import Run, open_run
from soakwitness.firmware_bridge.runfolder.contents import Column
from tests.calibration_runs import make_run, true_c


def fahrenheit(t_s: float) -> float:
    return 1.8 * true_c(t_s) + 32.0


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """An instrument that shows degF; its differences are in degF too."""
    reference = Column(
        "ref", "sensor", "F", role="reference", thermocouple="N", resolution=0.18, expanded_uncertainty=3.6,
        instrument_uncertainty=0.9,
    )  # fmt: skip
    sensors = {
        reference: fahrenheit,
        Column("left", "sensor", "F", role="survey", thermocouple="K", position="left"): fahrenheit,
        Column("right", "sensor", "F", role="survey", tolerance_class="1", thermocouple="K"): fahrenheit,
    }
    return open_run(make_run(tmp_path, sensors, every_s=30).path)


def test_sensors_by_name_or_by_a_role_that_one_holds(run: Run) -> None:
    assert sensor_of(run, "reference")[0].name == "ref"
    assert sensor_of(run, "left")[0].name == "left"
    with pytest.raises(
        SensorChoiceError, match=r"2 sensors have this role in run .* left \(survey\), right \(survey\)"
    ):
        sensor_of(run, "survey")
    with pytest.raises(SensorChoiceError, match="same sensor"):
        pair_in_run(run, reference="ref", sensor="reference")


def test_differences_of_a_fahrenheit_instrument(run: Run) -> None:
    # x1.8, never +32: 3.6 degF is 2 K (U, k = 2: contributes 1 K), 0.9 degF is 0.5 K, 0.18 degF is 0.1 K
    pair = pair_in_run(run, reference="ref", sensor="left")
    assert reference_of(pair.reference).rows(800.0)[0].contribution_c == pytest.approx(1.0)
    comparing = comparing_of(pair, distance_mm=5.0)
    assert comparing.reference_resolution_c == pytest.approx(0.1)
    assert comparing.readout_expanded_c == pytest.approx(0.5)
    assert comparing.distance_mm == 5.0
    assert np.nanmax(pair.reference_c) == pytest.approx(1050.0, abs=0.2)


def test_a_reference_of_which_nothing_is_known(run: Run) -> None:
    with pytest.raises(SensorChoiceError, match="nothing is known of how far the reference 'left' may be off"):
        reference_of(sensor_of(run, "left")[0])


def test_survey_sensors_with_the_best_knowledge(run: Run) -> None:
    known = certified((CertifiedPoint(900.0, -1.0, 1.0), CertifiedPoint(1100.0, -2.0, 1.0)), "reel 4")
    left = survey_sensor(run, "left", certificate=known)
    stated = survey_sensor(run, "left", certificate=known, logger_c=3.0)
    hot = int(np.nanargmax(left.temp_c))
    assert (left.true_c - left.temp_c)[hot] == pytest.approx(-1.75, abs=0.01)  # by hand at 1050: -1 - 0.75
    # u: wire 1/2, logger of which nothing is stated (0.5 + 0.1 % of 1050)/sqrt 3, cold junction 0.5/sqrt 3 x 1.04
    # (40.5 uV/K of type K at 25 degC, 38.9 at 1050), resolution 0.05/sqrt 3: hypot 1.069
    assert left.expanded_c == pytest.approx(2.14, abs=0.02)
    assert stated.expanded_c == pytest.approx((1.0 + 9.0) ** 0.5, abs=0.01)  # the logger's U has its junction in it
    assert survey_sensor(run, "left").expanded_c is None
    # IEC class 1 of type K ends at 1000 degC: at 1050 nothing is known of the wire
    assert survey_sensor(run, "right").expanded_c is None


def test_guidance_step_by_step() -> None:
    t_s = np.arange(0.0, 10_800.0, 10.0)
    temp = np.array([true_c(t) for t in t_s])
    limits = StretchLimits()

    def at(until_s: float) -> tuple[str, float | None]:
        so_far = t_s <= until_s
        now = guide(t_s[so_far], temp[so_far], temp[so_far] + 2.0, limits, wanted_c=(780.0, 1050.0))
        return now.state, now.next_c

    assert guide(t_s[:0], temp[:0], temp[:0], limits).state == "nothing yet"
    assert at(1800) == ("waiting", 780.0)
    assert at(3600 + 360) == ("quiet", 780.0)
    # 12.5 min of rest are needed: ten of the window, half a minute and two that are cut off
    assert at(3600 + 700)[0] == "quiet"
    assert at(3600 + 840) == ("stable", 1050.0)
    assert at(6000) == ("waiting", 1050.0)
    assert at(7200 + 900) == ("stable", 780.0)  # again: that the reference stood still
    # held at 780 again at the end, everything is done
    t_s = np.arange(0.0, 14_400.0, 10.0)
    back = np.where(t_s > 9000, np.interp(t_s, [9000, 10_800, 14_400], [1050, 780, 780]), [true_c(t) for t in t_s])
    done = guide(t_s, back, back + 2.0, limits, wanted_c=(780.0, 1050.0))
    assert (done.state, done.next_c, done.closing) == ("stable", None, False)
