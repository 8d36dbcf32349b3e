"""Points of nature as a reference: published temperatures, each point's budget, and what is not offered."""

from __future__ import annotations

import math

import pytest

from soakwitness.analysis.calibration.correcting.calibrating import calibrate_readings
from soakwitness.analysis.calibration.correcting.reference_differences import Comparing
from soakwitness.analysis.calibration.measured_pairs.fixed_points import (
    FixedPointError,
    boiling_c,
    boiling_water,
    check_reading,
    ice,
    metal,
    pressure_at_hpa,
    reference_of_points,
    refused,
)
from soakwitness.analysis.calibration.measured_pairs.paired_readings import PairReading


def test_boiling_water_by_the_published_check_value() -> None:
    # IAPWS-IF97 (2007), table 36: 0.1 MPa is 0.372755919e3 K
    assert boiling_c(1000.0) == pytest.approx(372.755919 - 273.15, abs=1e-5)
    # at one atmosphere 99.974 degC by ITS-90
    assert boiling_c(1013.25) == pytest.approx(99.974, abs=0.002)


def test_altitude_by_the_standard_atmosphere() -> None:
    # ISO 2533:1975, table 1: 1000 m 898.75 hPa, 2000 m 794.95 hPa
    assert pressure_at_hpa(1000.0) == pytest.approx(898.75, abs=0.05)
    assert pressure_at_hpa(2000.0) == pytest.approx(794.95, abs=0.05)
    # A rule of thumb: about 1 degC lower for every 300 m.
    assert boiling_water(altitude_m=1500.0).temp_c == pytest.approx(95.0, abs=0.2)


def test_weather_is_in_the_budget_where_only_the_altitude_is_known() -> None:
    by_altitude, by_gauge = boiling_water(altitude_m=0.0), boiling_water(pressure_hpa=1013.25)
    # dT/dp at 100 degC is 0.0276 K/hPa (Clausius-Clapeyron: 373.15 x 1.673 / 2.2565e6 x 100): 20 hPa are 0.55 K
    assert by_altitude.standard_c == pytest.approx(math.hypot(0.3, 0.55) / math.sqrt(3.0), abs=0.01)
    assert by_gauge.standard_c == pytest.approx(math.hypot(0.3, 0.055) / math.sqrt(3.0), abs=0.01)


def test_freezing_points_of_its_90() -> None:
    assert (metal("tin").temp_c, metal("zinc").temp_c) == (231.928, 419.527)
    assert "common practice" in metal("solder").marked
    assert "Zinc fume" in metal("zinc").beware


@pytest.mark.parametrize(("name", "why"), [("aluminium", "eats metal sheaths"), ("silver", "10 °C"), ("lead", "tin")])
def test_what_is_not_offered_says_why(name: str, why: str) -> None:
    assert why in str(refused(name))
    assert "There are: ice" in str(refused("gold"))


def test_each_point_has_its_own_budget_and_no_furnace_in_it() -> None:
    points = [ice(), metal("tin")]
    pairs = [PairReading(0.0, 0.6), PairReading(0.0, 0.5), PairReading(231.928, 231.0)]
    comparing = Comparing(sensor_resolution_c=0.1, reference_resolution_c=0.0, distance_mm=0.0)
    found = calibrate_readings(pairs, reference_of_points(points), comparing)
    assert [round(p.error_c, 3) for p in found.points] == [0.55, -0.928]
    sources = [[row.source for row in point.budget.rows] for point in found.points]
    assert sources[0][0] == "ice of tap water, as stirred"
    assert sources[1][0] == "tin as bought, as it sets"
    assert not any("furnace" in name or "reference" in name for names in sources for name in names)


def test_a_reading_that_is_none_of_its_point_is_refused() -> None:
    with pytest.raises(FixedPointError, match="another point"):
        check_reading(metal("tin"), 450.0)
    with pytest.raises(FixedPointError, match="pressure of the place"):
        boiling_water()
    with pytest.raises(FixedPointError, match="none that a workshop has"):
        boiling_water(pressure_hpa=29.9)  # inches of mercury
