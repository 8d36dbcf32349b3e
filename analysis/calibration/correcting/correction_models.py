"""Fitting a correction through calibrated points: constant, straight line, quadratic or piecewise, and why."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.calibration.correcting.correction import Model
from soakwitness.analysis.calibration.correcting.lines import PolynomialFit, fit_polynomial
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.firmware_bridge.common.wording import counted

FloatArray = npt.NDArray[np.float64]

REACH_C = 10.0  # readings this near an outermost point count as at it: a hold wanders by some kelvin
BULGE_C_PER_100C = 0.1  # half-width of what may hide between points, per 100 K to the nearest one; no source
MIX_C = 15.0  # points nearer than this are one place
REFUSED_BELOW = 0.05  # probability of chi squared at which a simpler model is refused
STEP_C = 10.0
NAMES: tuple[Model, ...] = ("constant", "line", "quadratic")


@dataclass(frozen=True)
class Point:
    """Error found at one place: what to add to the reading, with the point's own and the shared uncertainty [K]."""

    reading_c: float
    correction_c: float
    u_own_c: float
    u_common_c: float
    k: float = 2.0


@dataclass(frozen=True)
class FittedModel:
    """Chosen model as functions of the reading [degC]: correction [K] and its standard uncertainty [K]."""

    model: Model
    why: str
    low_c: float
    high_c: float
    correction_c: Callable[[FloatArray], FloatArray]
    u_c: Callable[[FloatArray], FloatArray]
    k: float
    knots_c: tuple[float, ...]

    def table(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Readings [degC], corrections [K] and U for k = 2 [K] every few degrees, shape (n,) each."""
        count = max(2, int(np.ceil((self.high_c - self.low_c) / STEP_C)) + 1)
        grid = np.union1d(np.linspace(self.low_c, self.high_c, count), self.knots_c)
        return grid, self.correction_c(grid), self.k * self.u_c(grid)


def fit_correction(
    points: Sequence[Point], *, reach_c: float = REACH_C, bulge_c_per_100c: float = BULGE_C_PER_100C
) -> FittedModel:
    """Choose and fit the simplest model that the points do not contradict.

    A model is refused where chi squared of its residuals, with the points' own uncertainties, has a probability below 5
    %. u(T)^2 = u_fit^2 + u_common^2 + (what the next richer model says otherwise)^2/3 + bulge^2/3: the choice itself
    and the empty stretch between points are part of the uncertainty.

    ``reach_c``: how far beyond the outermost points the uncertainty is stated [K]. ``bulge_c_per_100c``: half-width of
    what may hide between two points, per 100 K to the nearest one [K]. Returns correction and its uncertainty between
    the points; the reason in words.

    Raises NotEnoughData without a point.
    """
    if not points:
        raise NotEnoughData("no calibrated point: there is nothing to fit a correction through.")
    places = _merged(points)
    x = np.array([p.reading_c for p in places])
    y = np.array([p.correction_c for p in places])
    u = np.array([p.u_own_c for p in places])
    common = np.array([p.u_common_c for p in places])
    model, why, value, u_fit, other = _choose(x, y, u)

    def u_all(t: FloatArray) -> FloatArray:
        away = np.abs(t[:, None] - x[None, :]).min(axis=1)
        bulge = bulge_c_per_100c * away / 100.0
        shared = np.interp(t, x, common)
        choice = other(t) - value(t)
        return np.asarray(np.sqrt(u_fit(t) ** 2 + shared**2 + choice**2 / 3.0 + bulge**2 / 3.0))

    return FittedModel(
        model=model,
        why=why,
        low_c=float(x[0] - reach_c),
        high_c=float(x[-1] + reach_c),
        correction_c=value,
        u_c=u_all,
        k=max(p.k for p in places),
        knots_c=tuple(float(reading) for reading in x),
    )


def _merged(points: Sequence[Point]) -> list[Point]:
    """Points in rising order; those at one place become their weighted mean, with their scatter where it is larger."""
    groups: list[list[Point]] = []
    for point in sorted(points, key=lambda p: p.reading_c):
        if groups and point.reading_c - groups[-1][0].reading_c < MIX_C:
            groups[-1].append(point)
        else:
            groups.append([point])
    return [_mean_point(group) for group in groups]


def _mean_point(group: list[Point]) -> Point:
    """Weighted mean of points at one place."""
    weights = np.array([p.u_own_c**-2.0 for p in group])
    values = np.array([p.correction_c for p in group])
    mean = float(np.average(values, weights=weights))
    inner = float(weights.sum() ** -0.5)
    n = len(group)
    outer = float(np.sqrt(weights @ (values - mean) ** 2 / (weights.sum() * (n - 1)))) if n > 1 else 0.0
    return Point(
        reading_c=float(np.average([p.reading_c for p in group], weights=weights)),
        correction_c=mean,
        u_own_c=max(inner, outer),
        u_common_c=max(p.u_common_c for p in group),
        k=max(p.k for p in group),
    )


Chosen = tuple[
    Model,
    str,
    Callable[[FloatArray], FloatArray],
    Callable[[FloatArray], FloatArray],
    Callable[[FloatArray], FloatArray],
]


def _choose(x: FloatArray, y: FloatArray, u: FloatArray) -> Chosen:
    """Name, reason, value, uncertainty, and what the next richer model would say."""
    n = x.size
    if n == 1:
        fit = fit_polynomial(x, y, u, degree=0)
        return "constant", "constant: there is one point only", fit.value, fit.u, fit.value
    refused: list[str] = []
    for degree, name in enumerate(NAMES):
        if degree > n - 2 and not (degree == 1 and n == 2):
            break
        fit = fit_polynomial(x, y, u, degree=degree)
        chance = _chance(fit)
        if chance >= REFUSED_BELOW:
            return name, _why(name, n, fit, chance, refused), fit.value, fit.u, _richer(x, y, u, degree)
        refused.append(name)
    why = f"piecewise between {n} points: {' and '.join(refused)} contradict them"
    return "piecewise", why, _between(x, y), _u_between(x, u), _curved(x, y)


def _chance(fit: PolynomialFit) -> float:
    """Probability of a chi squared at least this large; 1 for a fit without freedom."""
    from scipy.special import chdtrc

    return float(chdtrc(fit.dof, fit.chi_squared)) if fit.dof > 0 else 1.0


def _why(name: str, n: int, fit: PolynomialFit, chance: float, refused: list[str]) -> str:
    """Say why this model."""
    if fit.dof == 0:
        return f"line: two points, and they differ by more than their uncertainty ({refused[0]} refused)"
    first = f"{' and '.join(refused)} refused; " if refused else ""
    return f"{name}: {first}the simplest that agrees with all {n} points (chi squared {fit.chi_squared:.2g}, " + (
        f"{counted(fit.dof, 'degree')} of freedom, probability {chance:.2g})"
    )


def _richer(x: FloatArray, y: FloatArray, u: FloatArray, degree: int) -> Callable[[FloatArray], FloatArray]:
    """Next richer model that the number of points allows, else the model itself."""
    if degree + 2 <= x.size:
        return fit_polynomial(x, y, u, degree=degree + 1).value
    return fit_polynomial(x, y, u, degree=degree).value


def _between(x: FloatArray, y: FloatArray) -> Callable[[FloatArray], FloatArray]:
    return lambda t: np.asarray(np.interp(t, x, y))


def _u_between(x: FloatArray, u: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """Uncertainty of a straight piece between two independent points: weights (1 - w) and w."""

    def u_at(t: FloatArray) -> FloatArray:
        right = np.clip(np.searchsorted(x, t), 1, x.size - 1)
        w = np.clip((t - x[right - 1]) / (x[right] - x[right - 1]), 0.0, 1.0)
        return np.sqrt(((1 - w) * u[right - 1]) ** 2 + (w * u[right]) ** 2)

    return u_at


def _curved(x: FloatArray, y: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """Smooth curve through the same points without overshoot, to compare the straight pieces with."""
    from scipy.interpolate import PchipInterpolator

    curve = PchipInterpolator(x, y)
    return lambda t: np.asarray(curve(np.clip(t, x[0], x[-1])))
