"""The choice of a correction's model, and its uncertainty between the points."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.correction_models import Point, fit_correction
from soakwitness.analysis.errors import NotEnoughData


def points(x: list[float], y: list[float], u: float = 0.2, common: float = 0.5) -> list[Point]:
    return [Point(a, b, u, common) for a, b in zip(x, y, strict=True)]


@pytest.mark.parametrize(
    ("x", "y", "model", "why"),
    [
        ([1050.0], [-2.0], "constant", "one point only"),
        ([500.0, 1050.0], [-2.0, -2.1], "constant", "agrees with all 2 points"),
        ([500.0, 1050.0], [-1.0, -3.0], "line", "two points, and they differ"),
        ([200.0, 600.0, 1050.0], [-1.0, -3.1, -5.0], "line", "constant refused"),
        ([200.0, 500.0, 800.0, 1100.0], [0.0, -2.0, -2.0, 0.0], "quadratic", "constant and line refused"),
        ([200.0, 500.0, 800.0, 1100.0], [0.0, -4.0, 4.0, 0.0], "piecewise", "constant and line and quadratic"),
        ([200.0, 600.0, 1050.0], [0.0, 4.0, 0.0], "piecewise", "constant and line contradict"),
    ],
)
def test_the_simplest_model_that_is_not_contradicted(x: list[float], y: list[float], model: str, why: str) -> None:
    fit = fit_correction(points(x, y))
    assert fit.model == model
    assert why in fit.why
    if model in ("line", "piecewise") and len(x) < 4:
        assert fit.correction_c(np.array(x)) == pytest.approx(y, abs=0.25)


def test_uncertainty_at_one_point_by_hand() -> None:
    # at the point: own 0.2 and common 0.5, no bulge, no richer model: k x 0.5385
    fit = fit_correction(points([1050.0], [-2.0]))
    reading, correction, u = fit.table()
    assert (reading[0], reading[-1]) == (1040.0, 1060.0)
    assert correction == pytest.approx(-2.0)
    assert u[reading == 1050.0] == pytest.approx(2.0 * np.hypot(0.2, 0.5))
    # 10 degC away: half-width 0.1 K per 100 K is 0.01, its third root of three
    assert u[0] == pytest.approx(2.0 * np.sqrt(0.2**2 + 0.5**2 + 0.01**2 / 3.0))


def test_uncertainty_is_largest_between_far_points() -> None:
    # piecewise, by hand at the middle: own parts halve in quadrature, bulge 0.1 x 212.5/100 = 0.2125
    fit = fit_correction(points([200.0, 625.0, 1050.0], [0.0, 4.0, 0.0]), bulge_c_per_100c=0.1)
    own = 0.2 * np.sqrt(0.5)
    least = np.sqrt(own**2 + 0.5**2 + 0.2125**2 / 3.0)
    assert float(fit.u_c(np.array([412.5]))[0]) > least  # what a smooth curve says otherwise comes on top
    assert float(fit.u_c(np.array([625.0]))[0]) == pytest.approx(np.hypot(0.2, 0.5))


def test_points_at_one_place_are_one_point() -> None:
    # equal weights: mean -2, own uncertainty from their scatter, s/sqrt(n) = 0.5
    fit = fit_correction(points([1049.0, 1051.0], [-1.5, -2.5]))
    assert fit.model == "constant"
    assert float(fit.correction_c(np.array([1050.0]))[0]) == pytest.approx(-2.0)
    assert float(fit.u_c(np.array([1050.0]))[0]) == pytest.approx(np.hypot(0.5, 0.5))


def test_no_point() -> None:
    with pytest.raises(NotEnoughData, match="no calibrated point"):
        fit_correction([])
