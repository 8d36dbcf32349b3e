"""Line fits against published results and an independent program."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from GTC import type_a, ureal
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.calibration.correcting.lines import fit_line, fit_polynomial
from soakwitness.analysis.errors import NotEnoughData

DATA = Path(__file__).resolve().parents[1] / "data"
# JCGM 100:2008 (GUM), example H.3, table H.6 (four public copies agree)
T_C = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
B_C = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_gum_h3_to_all_printed_digits() -> None:
    # GUM H.3.3: y1 -0.1712, s 0.0029; y2 0.00218, s 0.00067; r -0.930; s 0.0035; b(30) -0.1494, u 0.0041, nu 9
    fit = fit_line(T_C, B_C, origin=20.0)
    assert round(fit.intercept, 4) == -0.1712
    assert round(fit.u_intercept, 4) == 0.0029
    assert round(fit.slope, 5) == 0.00218
    assert round(fit.u_slope, 5) == 0.00067
    assert round(fit.correlation, 3) == -0.930
    assert round(fit.scatter, 4) == 0.0035
    assert fit.dof == 9
    assert round(float(fit.value(30.0)), 4) == -0.1494
    assert round(float(fit.u(30.0)), 4) == 0.0041
    # CHECKS section 2, full precision, computed from the published definition
    assert fit.intercept == pytest.approx(-0.1712038, abs=5e-8)
    assert fit.u_slope == pytest.approx(0.00066794, abs=5e-9)
    assert float(fit.u(30.0)) == pytest.approx(0.0041386, abs=5e-8)


def test_gum_h3_against_gtc() -> None:
    fit = fit_line(T_C, B_C, origin=20.0)
    oracle = type_a.line_fit([t - 20.0 for t in T_C], B_C)
    a, b = oracle.a_b
    assert fit.intercept == pytest.approx(a.x, rel=1e-11)
    assert fit.u_intercept == pytest.approx(a.u, rel=1e-9)
    assert fit.slope == pytest.approx(b.x, rel=1e-11)
    assert fit.u_slope == pytest.approx(b.u, rel=1e-9)
    at_30 = a + b * ureal(10.0, 0.0)
    assert float(fit.value(30.0)) == pytest.approx(at_30.x, rel=1e-11)
    assert float(fit.u(30.0)) == pytest.approx(at_30.u, rel=1e-9)


def test_norris_to_ten_digits() -> None:
    # NIST StRD, Norris: certified values
    y, x = np.loadtxt(DATA / "nist_strd_norris.csv", delimiter=",", unpack=True)
    fit = fit_line(x, y)
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert fit.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert fit.u_slope == pytest.approx(0.000429796848199937, rel=1e-10)
    assert fit.u_intercept == pytest.approx(0.232818234301152, rel=1e-10)
    assert fit.scatter == pytest.approx(0.884796396144373, rel=1e-10)
    assert fit.r_squared == pytest.approx(0.999993745883712, rel=1e-10)


@given(origin=st.floats(-1e3, 1e3), shift=st.floats(-1e4, 1e4), factor=st.floats(0.01, 100.0))
def test_a_line_moves_with_its_points(origin: float, shift: float, factor: float) -> None:
    base = fit_line(T_C, B_C, origin=origin)
    moved = fit_line(np.array(T_C) + shift, factor * np.array(B_C) + 3.0, origin=origin + shift)
    assert moved.slope == pytest.approx(factor * base.slope, rel=1e-7)
    assert moved.intercept == pytest.approx(factor * base.intercept + 3.0, rel=1e-7, abs=1e-7)
    assert moved.u_slope == pytest.approx(factor * base.u_slope, rel=1e-6)


def test_weighted_polynomial_propagates_the_points_uncertainty() -> None:
    # equal weights u: the line's uncertainty is u/s of the unweighted line's (both follow from the same matrix)
    line = fit_line(T_C, B_C)
    fit = fit_polynomial(T_C, B_C, np.full(11, 0.01), degree=1)
    at = np.array([20.0, 24.0, 30.0])
    assert fit.value(at) == pytest.approx(line.value(at), abs=1e-12)
    assert fit.u(at) == pytest.approx(line.u(at) * 0.01 / line.scatter, rel=1e-9)
    assert fit.chi_squared == pytest.approx(9 * (line.scatter / 0.01) ** 2, rel=1e-9)


def test_too_few_points() -> None:
    with pytest.raises(NotEnoughData, match="three points"):
        fit_line([1.0, 2.0], [1.0, 2.0])
    with pytest.raises(NotEnoughData, match="three points at different places"):
        fit_line([1.0, 1.0, 1.0], [1.0, 2.0, 3.0])
    with pytest.raises(NotEnoughData, match="degree 2 needs 3 points"):
        fit_polynomial([1.0, 2.0], [1.0, 2.0], [1.0, 1.0], degree=2)
