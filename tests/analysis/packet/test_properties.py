"""Properties against published tables and independent libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from soakwitness.firmware_bridge.common import heat_transfer_properties as p


@pytest.mark.parametrize(
    ("temp_c", "cp"),
    # EN 1993-1-2:2005, 3.4.1.2, as CHECKS section 4 has them (formula S, values C)
    [(20, 439.8), (200, 529.8), (480, 652.2), (600, 760.2), (700, 1008.2), (790, 847.0), (1000, 650.0)],
)
def test_steel_specific_heat_of_en_1993(temp_c: float, cp: float) -> None:
    assert p.steel_cp(temp_c) == pytest.approx(cp, abs=0.05)


def test_both_middle_branches_meet_at_735() -> None:
    assert p.steel_cp(735.0 - 1e-9) == pytest.approx(5000.0, abs=1e-3)  # EN 1993-1-2, CHECKS section 4
    assert p.steel_cp(735.0) == pytest.approx(5000.0, abs=1e-9)


def test_foil_specific_heat_of_annex_c() -> None:
    # EN 1993-1-2:2005, C.3.2, worked by hand at 500 degC: 450 + 140 - 72.75 + 16.75
    assert p.foil_cp(500.0) == pytest.approx(534.0, abs=1e-9)


@pytest.mark.parametrize("temp_c", [-10.0, 150.0, 599.0, 650.0, 734.9, 735.1, 800.0, 899.0, 1100.0])
def test_enthalpy_is_the_integral_of_the_specific_heat(temp_c: float) -> None:
    marks = [x for x in (600.0, 735.0, 900.0) if x < temp_c]
    whole, _ = quad(p.steel_cp, 0.0, temp_c, points=marks or None, epsabs=1e-6, limit=300)
    assert p.steel_enthalpy_base(temp_c) + p.steel_enthalpy_peak(temp_c) == pytest.approx(whole, rel=1e-8)


def test_the_peak_is_only_what_stands_above_its_base() -> None:
    temps = np.arange(0.0, 1200.0, 0.5)
    assert all(p.steel_cp(t) >= p.steel_cp_base(t) - 1e-3 for t in temps)
    assert p.steel_enthalpy_peak(600.0) == 0.0
    assert p.steel_enthalpy_peak(900.0) == p.steel_enthalpy_peak(1150.0)


@pytest.mark.parametrize(
    ("temp_k", "conductivity"),
    # US Standard Atmosphere 1976, CHECKS section 4
    [(300.0, 0.02625), (473.15, 0.03865), (1063.15, 0.07044), (1343.15, 0.08226)],
)
def test_air_conductivity_of_the_standard_atmosphere(temp_k: float, conductivity: float) -> None:
    assert p.air_conductivity(temp_k) == pytest.approx(conductivity, abs=5e-6)


def test_air_against_fluids() -> None:
    fluids = pytest.importorskip("fluids")
    for temp_k in np.arange(250.0, 1350.0, 50.0):
        assert p.air_conductivity(temp_k) == pytest.approx(
            fluids.ATMOSPHERE_1976.thermal_conductivity(temp_k), rel=1e-4
        )
        viscosity = fluids.ATMOSPHERE_1976.viscosity(temp_k)
        density = fluids.ATMOSPHERE_1976.density(temp_k, 101325.0)
        assert p.air_viscosity(temp_k) == pytest.approx(viscosity / density, rel=1e-4)


def test_vertical_plate_against_ht() -> None:
    ht = pytest.importorskip("ht")
    for rayleigh in (1e2, 1e4, 1e6, 1e9, 1e11):
        theirs = ht.conv_free_immersed.Nu_vertical_plate_Churchill(0.7, rayleigh / 0.7)
        assert p.vertical_plate_nusselt(rayleigh, 0.7) == pytest.approx(theirs, rel=1e-9)


def test_incropera_9_2_vertical_plate() -> None:
    # Incropera 6th edition, example 9.2 (S): Ra 1.813e9, Pr 0.690 -> Nu 147.16
    assert p.vertical_plate_nusselt(1.813e9, 0.690) == pytest.approx(147.16, rel=2e-3)


def test_convection_terms_give_the_plate_correlation() -> None:
    film, height, difference = 470.0, 0.04, 37.0
    term_p, term_q = p.convection_terms(film, height)
    rayleigh = 9.80665 * difference * height**3 / film / p.air_viscosity(film) ** 2 * 0.7
    expected = p.vertical_plate_nusselt(rayleigh, 0.7) * p.air_conductivity(film) / height
    assert (term_p + term_q * difference ** (1 / 6)) ** 2 == pytest.approx(expected, rel=1e-9)


def test_incropera_13_5_radiation_shield() -> None:
    # Incropera 6th edition, example 13.5 (S, 0.50 W/m without the shield; data of the example from memory): tubes of
    # 20 and 50 mm, emissivities 0.02 and 0.05, at 77 and 300 K; with a shield of 35 mm and 0.02 it is 0.25 W/m.
    bare = p.exchange_factor(0.02, 0.05, 20 / 50)
    heat = p.radiation_conductance(bare, 300.0, 77.0) * (300.0 - 77.0) * math.pi * 0.020
    assert heat == pytest.approx(0.50, abs=0.005)
    inside, outside = p.exchange_factor(0.02, 0.02, 20 / 35) * 20, p.exchange_factor(0.02, 0.05, 35 / 50) * 35
    series = 1 / (1 / inside + 1 / outside) / 20
    heat = p.radiation_conductance(series, 300.0, 77.0) * (300.0 - 77.0) * math.pi * 0.020
    assert heat == pytest.approx(0.25, abs=0.01)


def test_incropera_13_4_open_furnace() -> None:
    # Incropera 6th edition (S, CHECKS: 13.4, 1830 W; data from memory): black cylinder 75 x 150 mm, sides 1350 and
    # bottom 1650 degC, open to 27 degC. View factor of equal discs by its closed form.
    radius, length = 0.0375, 0.150
    s = 2 + (length / radius) ** 2
    discs = (s - math.sqrt(s * s - 4)) / 2
    area = math.pi * radius**2
    heat = area * (1 - discs) * p.radiation_conductance(1.0, 1623.15, 300.15) * (1623.15 - 300.15)
    heat += area * discs * p.radiation_conductance(1.0, 1923.15, 300.15) * (1923.15 - 300.15)
    assert heat == pytest.approx(1830, rel=0.01)
