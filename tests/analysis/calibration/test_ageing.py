"""How U grows, when that is too much, and what a second calibration makes of the assumption."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.ageing import (
    Need,
    Since,
    aged,
    assumed_drift,
    due_day,
    hours_left,
    measured_drift,
)
from soakwitness.analysis.calibration.correcting.checking import compare_with, kind_of
from soakwitness.analysis.calibration.correcting.correction import Correction


def correction(low: float, high: float, add: float, u: float = 2.0, day: str = "2026-03-02") -> Correction:
    table = ((low, high), (add, add), (u, u))
    return Correction("shed", "control", "constant", "", (), *table, done_on=day, due_on="2027-03-02")


def test_the_assumed_drift_by_wire_and_hours() -> None:
    """Half-width +-(2 + 2 h/100), thin or hot +-(2 + 6 h/100), h above 950 degC; all of the 2 within a year or 20 h."""
    year = Since(365, hours_800=40.0, hours_950=50.0)
    assert assumed_drift("K", 3.0, 1040.0).half_width_c(year) == pytest.approx(3.0)
    assert assumed_drift("K", 1.5, 1040.0).half_width_c(year) == pytest.approx(5.0)
    assert assumed_drift("N", None, 1085.0).half_width_c(year) == pytest.approx(5.0)
    assert assumed_drift("S", None, 1085.0).half_width_c(year) == pytest.approx(0.75)
    assert assumed_drift("K", None, None).half_width_c(Since(0)) == 0.0
    assert assumed_drift("K", None, None).half_width_c(Since(1, hours_800=10.0, hours_950=5.0)) == pytest.approx(1.1)
    assert assumed_drift("K", None, None, {"base_c": 1.0}).half_width_c(year) == pytest.approx(2.0)


def test_u_of_day_364_is_not_that_of_day_1() -> None:
    made, drift = correction(500.0, 1000.0, -3.0), assumed_drift("K", None, None)
    first, last = (aged(made, drift, Since(days, 0.1 * days, 0.05 * days)) for days in (1, 364))
    assert float(first.expanded_c(800.0)) == pytest.approx(2.0, abs=0.01)
    # by hand: 2 + 2 x 18.2/100 = 2.364; 2 hypot(1, 2.364/sqrt 3)
    assert float(last.expanded_c(800.0)) == pytest.approx(2 * np.hypot(1.0, 2.364 / 3**0.5))
    assert str(last.ageing) == "±2.4 °C assumed for drift in 364 d and 18.2 h above 950 °C"
    assert float(last.correction_c(800.0)) == -3.0


def test_hours_hot_end_it() -> None:
    made, drift = correction(500.0, 1000.0, -3.0), assumed_drift("K", 1.0, None)
    assert hours_left(drift, Since(100, 40.0, 30.0)) == 20.0
    assert ", 9 h left until it ends" in str(aged(made, drift, Since(100, 50.0, 41.0)).ageing)
    ended = aged(made, drift, Since(100, 60.0, 51.0))
    assert ended.overdue_on("2026-06-10")  # 100 days after 2026-03-02
    assert ended.lapse == "worn out: 51 h above 950 °C, of 50 h"
    assert not aged(made, drift, Since(100, 60.0, 49.0)).overdue_on("2026-06-10")


def test_a_second_calibration_measures_the_drift() -> None:
    before, after = correction(500.0, 1000.0, -3.0, 1.0), correction(500.0, 1000.0, -4.0, 1.0, day="2026-09-02")
    assumed = assumed_drift("K", None, None)
    drift = measured_drift(before, after, Since(184, 30.0, 15.0), assumed)
    assert drift is not None
    # by hand: moved by 1, its u hypot(1, 1)/2 = 0.707: hypot 1.2247 in 184 days or 30 h; twice that in twice the hours
    assert drift.half_width_c(Since(100, 30.0, 15.0)) == pytest.approx(1.2247, abs=1e-3)
    assert drift.half_width_c(Since(100, 60.0, 30.0)) == pytest.approx(2.4495, abs=1e-3)
    assert measured_drift(before, after, Since(5, 1.0, 0.5), assumed) is None


def test_it_falls_due_when_u_reaches_what_a_recipe_needs() -> None:
    made, drift = correction(500.0, 1000.0, -3.0, 2.0), assumed_drift("K", None, None)
    ask = {"last": "2027-03-02", "months": 12}
    assert due_day(made, drift, (), **ask).day == "2027-03-02"
    # a hold of +-4 leaves 3: half-width sqrt(1.5^2 - 1) sqrt 3 = 1.9365 of 2 in 365 days: the day after 353.4
    due = due_day(made, drift, (Need(780.0, 4.0, "harden"), Need(1060.0, 2.0, "other")), **ask)
    assert (due.day, due.need and due.need.recipe) == ("2027-02-19", "harden")
    assert [need.recipe for need in due.outside] == ["other"]
    hot = due_day(made, drift, (), hours_a_day=(1.0, 0.5), **ask)
    assert hot.day == "2026-09-19"  # 100 h at half an hour a day: the day after 200
    assert [n.target_c for n in due_day(made, drift, (Need(780.0, 2.0, "fine"),), **ask).unmet] == [780.0]


def test_a_narrow_one_is_a_check_of_a_wide_one() -> None:
    wide = correction(477.0, 1053.0, -3.0)
    narrow = correction(770.0, 790.0, -9.0)
    assert kind_of(narrow, wide, "2026-06-01") == "check"
    assert kind_of(narrow, None, "2026-06-01") == "calibration"
    assert kind_of(narrow, wide, "2027-06-01") == "calibration"  # the wide one is overdue
    assert kind_of(correction(490.0, 1040.0, -3.0), wide, "2026-06-01") == "calibration"
    assert kind_of(correction(700.0, 1090.0, -3.0), wide, "2026-06-01") == "calibration"
    foot = correction(-1.0, 421.0, 0.5)
    hot = correction(780.0, 1050.0, -3.0)
    assert kind_of(foot, hot, "2026-06-01") == "check"  # wider, and knows nothing of where steel is hardened
    assert kind_of(hot, foot, "2026-06-01") == "calibration"
    assert kind_of(correction(1040.0, 1060.0, -3.0), foot, "2026-06-01") == "calibration"  # nothing there to check
    found = compare_with(narrow, wide)
    assert found is not None
    assert found.contradicts  # 6 apart, hypot(2, 2) = 2.8 allowed
    assert "6 °C apart, 2.8 °C allowed" in str(found.says(wide))
    assert not compare_with(correction(770.0, 790.0, -5.0), wide).contradicts  # type: ignore[union-attr]
