"""The step itself against closed forms and a textbook's worked examples."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.packet import stepping
from soakwitness.analysis.packet.stepping import Bundle, Drive, State, advance

SIGMA = 5.670374419e-8
ALL, NONE = np.array([0]), np.array([], dtype=int)


def one(value: float) -> np.ndarray:
    return np.full((1, 1), value, dtype=np.float32)


def bare(kg_m2: float, eps: float = 0.0) -> Bundle:
    ones = np.ones(1, dtype=np.float32)
    return Bundle(eps * SIGMA * ones, 0 * ones, ones, 0 * ones, 0 * ones, 0 * ones, kg_m2 * ones, 0.0)


def march(bundle: Bundle, start_k: float, chamber_k: Callable[[float], float], step_s: float, stop: float) -> float:
    """Time at which the blade crosses ``stop`` [K], linear within the last step."""
    state, t = State(one(start_k), one(start_k)), 0.0
    upward = stop > start_k
    for _ in range(100_000):
        before = float(state.blade_k[0, 0])
        here, there = chamber_k(t), chamber_k(t + step_s)
        state = advance(state, Drive(one((here + there) / 2), one((there - here) / step_s), one(step_s)), bundle, ALL)
        now = float(state.blade_k[0, 0])
        t += step_s
        if (now >= stop) == upward:
            return t - step_s * (now - stop) / (now - before)
    raise AssertionError("never got there")


@pytest.fixture
def constant_heat(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    def use(cp: float) -> None:
        monkeypatch.setattr(stepping, "enthalpy", lambda temp_k, bundle: np.float32(cp) * temp_k)

    return use


@pytest.mark.parametrize(
    ("start_k", "stop_k", "seconds"),
    # Incropera equation (5.18), computed in CHECKS section 4: eps 0.5, 3 mm heated on both faces, rho 7850, c 650
    [(293.15, 1333.15, 174.8980), (1063.15, 1338.15, 121.4776)],
)
def test_radiation_only_closed_form(
    constant_heat: Callable[[float], None], start_k: float, stop_k: float, seconds: float
) -> None:
    constant_heat(650.0)
    found = march(bare(7850 * 0.0015, 0.5), start_k, lambda t: 1343.15, 0.5, stop_k)
    assert found == pytest.approx(seconds, abs=0.05)


def test_first_order_lag_of_a_ramp(constant_heat: Callable[[float], None], monkeypatch: pytest.MonkeyPatch) -> None:
    # CHECKS section 4: tau 140 s, 10 degC/min: lag at t = tau 14.7495, steady 23.3333; the step may be any length
    constant_heat(500.0)
    monkeypatch.setattr(stepping, "outer_conductance", lambda chamber, surface, bundle: np.float32(50.0))
    bundle = bare(140.0 * 50.0 / 500.0)
    rate = 10 / 60
    for step_s in (2.0, 20.0, 140.0):
        state = State(one(300.0), one(300.0))
        lags = {}
        for number in range(round(2800 / step_s)):
            middle = 300.0 + rate * (number + 0.5) * step_s
            state = advance(state, Drive(one(middle), one(rate), one(step_s)), bundle, NONE)
            lags[(number + 1) * step_s] = 300.0 + rate * (number + 1) * step_s - float(state.blade_k[0, 0])
        assert lags[140.0] == pytest.approx(14.7495, abs=2e-3)
        assert lags[2800.0] == pytest.approx(23.3333, abs=5e-3)  # single precision


def test_time_to_within_five_after_the_ramp(
    constant_heat: Callable[[float], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    # CHECKS section 4: tau ln(r tau / 5) = 215.66 s from the steady lag of 23.3333
    constant_heat(500.0)
    monkeypatch.setattr(stepping, "outer_conductance", lambda chamber, surface, bundle: np.float32(50.0))
    found = march(bare(140.0 * 50.0 / 500.0), 1000.0 - 23.3333, lambda t: 1000.0, 1.0, 995.0)
    assert found == pytest.approx(215.66, abs=0.05)


def test_incropera_5_1_thermocouple_bead(
    constant_heat: Callable[[float], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Incropera 6th edition, example 5.1 (S): time constant 1 s at h 400, rho 8500, c 400 -> 7.06e-4 m and 5.16 s from
    # 25 to 199 degC in gas of 200 degC (example's data from memory). A sphere's volume over its area is D / 6.
    diameter = 6 * 400.0 * 1.0 / (8500.0 * 400.0)
    assert diameter == pytest.approx(7.06e-4, abs=1e-6)
    constant_heat(400.0)
    monkeypatch.setattr(stepping, "outer_conductance", lambda chamber, surface, bundle: np.float32(400.0))
    found = march(bare(8500.0 * diameter / 6), 298.15, lambda t: 473.15, 0.02, 472.15)
    assert found == pytest.approx(5.16, abs=0.01)


def test_incropera_5_3_coated_sheet(constant_heat: Callable[[float], None], monkeypatch: pytest.MonkeyPatch) -> None:
    # Incropera 6th edition, example 5.3 (S): 3 mm aluminium, both faces, convection, radiation: 150 degC after 123 s,
    # 300 s more in the oven (423 s), cool to 37 degC at 987 s (example's data from memory: rho 2770, c 875, eps 0.8,
    # oven 175 degC with h 40, room 25 degC with h 10).
    constant_heat(875.0)
    film = 40.0

    def outer(chamber: np.ndarray, surface: np.ndarray, bundle: Bundle) -> np.ndarray:
        radiated = (chamber * chamber + surface * surface) * (chamber + surface)
        return np.asarray(np.float32(film) + bundle.eps_sigma * radiated, dtype=np.float32)

    monkeypatch.setattr(stepping, "outer_conductance", outer)
    bundle = bare(2770 * 0.0015, 0.8)
    cure_s = march(bundle, 298.15, lambda t: 448.15, 0.5, 423.15)
    assert cure_s == pytest.approx(123, abs=1.5)
    state = State(one(298.15), one(298.15))
    for _ in range(846):
        state = advance(state, Drive(one(448.15), one(0.0), one(0.5)), bundle, ALL)
    film = 10.0
    cool_s = march(bundle, float(state.blade_k[0, 0]), lambda t: 298.15, 0.5, 310.15)
    assert 423 + cool_s == pytest.approx(987, abs=5)


def test_a_light_foil_leaves_two_resistances_in_series(
    constant_heat: Callable[[float], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Without mass in the foil the blade sees 1/(1/G1 + 1/G2): here 40 and 60 W/m2K, 24 together, tau 200 s
    constant_heat(500.0)
    monkeypatch.setattr(stepping, "outer_conductance", lambda c, s, b: np.full((1, 1), 40.0, dtype=np.float32))
    monkeypatch.setattr(stepping, "inner_conductance", lambda f, s, b: np.full((1, 1), 60.0, dtype=np.float32))
    ones = np.ones(1, dtype=np.float32)
    bundle = Bundle(ones, ones, ones, ones, ones, ones, 200 * 24 / 500 * ones, 1e-4)
    state = State(one(300.0), one(300.0))
    for _ in range(10):
        state = advance(state, Drive(one(1300.0), one(0.0), one(20.0)), bundle, NONE)
    assert float(state.blade_k[0, 0]) == pytest.approx(1300 - 1000 * math.exp(-1.0), abs=0.1)


def test_a_search_that_went_astray_gets_an_answer() -> None:
    """A peak placed 700 K too low, and a foil far above all tables: some number, so that the search can come back."""
    astray = replace(bare(7850 * 0.0015, 0.5), peak_shift_k=one(-700.0)[0], foil_kg_m2=0.4, peak_factor=one(1.0)[0])
    state = State(one(2600.0), one(1700.0), one(30.0), one(5.0))
    after = advance(state, Drive(one(1773.0), one(0.0), one(20.0)), astray, ALL)
    assert np.isfinite(after.foil_k).all()
    assert np.isfinite(after.blade_k).all()
