"""Line fits against published results and an independent program."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from GTC import type_a, ureal
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.calibration.correcting.lines import PolynomialFit, fit_polynomial
from soakwitness.analysis.errors import NotEnoughData

DATA = Path(__file__).resolve().parents[1] / "data"
# JCGM 100:2008 (GUM), example H.3, table H.6 (four public copies agree)
T_C = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
B_C = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def scatter(fit: PolynomialFit) -> float:
    """Standard deviation of the residuals of points that were given an uncertainty of 1."""
    return float(np.sqrt(fit.chi_squared / fit.dof))


def at(fit: PolynomialFit, x: float) -> float:
    return float(fit.value(x)[0])


def u_at(fit: PolynomialFit, x: float) -> float:
    """Standard uncertainty of the line from its own scatter."""
    return float(fit.u(x)[0]) * scatter(fit)


def test_gum_h3_to_all_printed_digits() -> None:
    # GUM H.3.3: y1 -0.1712, s 0.0029; y2 0.00218; s 0.0035; b(30) -0.1494, u 0.0041, nu 9
    fit = fit_polynomial(T_C, B_C, np.ones(11), degree=1)
    assert round(at(fit, 20.0), 4) == -0.1712
    assert round(u_at(fit, 20.0), 4) == 0.0029
    assert round(at(fit, 21.0) - at(fit, 20.0), 5) == 0.00218
    assert round(scatter(fit), 4) == 0.0035
    assert fit.dof == 9
    assert round(at(fit, 30.0), 4) == -0.1494
    assert round(u_at(fit, 30.0), 4) == 0.0041
    # CHECKS section 2, full precision, computed from the published definition
    assert at(fit, 20.0) == pytest.approx(-0.1712038, abs=5e-8)
    assert u_at(fit, 30.0) == pytest.approx(0.0041386, abs=5e-8)


def test_gum_h3_against_gtc() -> None:
    fit = fit_polynomial(T_C, B_C, np.ones(11), degree=1)
    a, b = type_a.line_fit([t - 20.0 for t in T_C], B_C).a_b
    for x in (20.0, 24.0, 30.0):
        theirs = a + b * ureal(x - 20.0, 0.0)
        assert at(fit, x) == pytest.approx(theirs.x, rel=1e-11)
        assert u_at(fit, x) == pytest.approx(theirs.u, rel=1e-9)


def test_norris_to_ten_digits() -> None:
    # NIST StRD, Norris: certified values
    y, x = np.loadtxt(DATA / "nist_strd_norris.csv", delimiter=",", unpack=True)
    fit = fit_polynomial(x, y, np.ones(x.size), degree=1)
    assert at(fit, 1.0) - at(fit, 0.0) == pytest.approx(1.00211681802045, rel=1e-10)
    assert at(fit, 0.0) == pytest.approx(-0.262323073774029, rel=1e-10)
    assert u_at(fit, 0.0) == pytest.approx(0.232818234301152, rel=1e-10)
    assert scatter(fit) == pytest.approx(0.884796396144373, rel=1e-10)


@given(shift=st.floats(-1e4, 1e4), factor=st.floats(0.01, 100.0))
def test_a_line_moves_with_its_points(shift: float, factor: float) -> None:
    base = fit_polynomial(T_C, B_C, np.ones(11), degree=1)
    moved = fit_polynomial(np.array(T_C) + shift, factor * np.array(B_C) + 3.0, np.full(11, factor), degree=1)
    for x in (20.0, 30.0):
        assert at(moved, x + shift) == pytest.approx(factor * at(base, x) + 3.0, rel=1e-7, abs=1e-7)
        assert float(moved.u(x + shift)[0]) == pytest.approx(factor * float(base.u(x)[0]), rel=1e-6)


def test_too_few_points() -> None:
    with pytest.raises(NotEnoughData, match="degree 2 needs 3 points"):
        fit_polynomial([1.0, 2.0], [1.0, 2.0], [1.0, 1.0], degree=2)
