"""Straight lines and low polynomials through points, with the uncertainty of what they say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import NotEnoughData

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LineFit:
    """Line y = intercept + slope (x - origin); ``scatter`` is the standard deviation of the residuals."""

    origin: float
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    scatter: float
    dof: int
    r_squared: float

    def value(self, x: npt.ArrayLike) -> FloatArray:
        """Line at ``x``."""
        return np.asarray(self.intercept + self.slope * (np.asarray(x, dtype=np.float64) - self.origin))

    def u(self, x: npt.ArrayLike) -> FloatArray:
        """Standard uncertainty of the line at ``x`` (of the line, not of one further point)."""
        d = np.asarray(x, dtype=np.float64) - self.origin
        covariance = self.correlation * self.u_intercept * self.u_slope
        return np.sqrt(self.u_intercept**2 + (d * self.u_slope) ** 2 + 2 * d * covariance)


def fit_line(x: npt.ArrayLike, y: npt.ArrayLike, *, origin: float = 0.0) -> LineFit:
    """Fit a straight line by least squares.

    Parameters
    ----------
    x, y : array
        Points, shape (n,), n of 3 or more.
    origin : float
        Value of x at which the intercept is stated.

    Returns
    -------
    LineFit
        Intercept and slope with standard uncertainties and their correlation.

    Raises
    ------
    NotEnoughData
        With fewer than three points, or all at one x.

    Notes
    -----
    Sums are taken about the mean of x, so that a large common offset costs no digits.

    References
    ----------
    JCGM 100:2008 (GUM), H.3.2, equations H.13a to H.13f.
    """
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    n = xs.size
    if n < 3 or np.ptp(xs) == 0.0:
        raise NotEnoughData(f"a line needs three points at different places; there are {n}.")
    x_mean, y_mean = xs.mean(), ys.mean()
    dx, dy = xs - x_mean, ys - y_mean
    sxx = float(dx @ dx)
    slope = float(dx @ dy) / sxx
    residuals = dy - slope * dx
    squares = float(residuals @ residuals)
    scatter = float(np.sqrt(squares / (n - 2)))
    away = origin - x_mean
    u_intercept = scatter * float(np.sqrt(1.0 / n + away**2 / sxx))
    u_slope = scatter / float(np.sqrt(sxx))
    total = float(dy @ dy)
    return LineFit(
        origin=origin,
        intercept=float(y_mean + slope * away),
        slope=slope,
        u_intercept=u_intercept,
        u_slope=u_slope,
        correlation=float(away / np.sqrt(sxx / n + away**2)),
        scatter=scatter,
        dof=n - 2,
        r_squared=1.0 - squares / total if total > 0 else 1.0,
    )


@dataclass(frozen=True)
class PolynomialFit:
    """Polynomial in z = (x - centre)/scale with the covariance of its coefficients, lowest power first."""

    centre: float
    scale: float
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    chi_squared: float
    dof: int

    def _powers(self, x: npt.ArrayLike) -> FloatArray:
        z = (np.asarray(x, dtype=np.float64) - self.centre) / self.scale
        return np.asarray(np.vander(np.atleast_1d(z), len(self.coefficients), increasing=True))

    def value(self, x: npt.ArrayLike) -> FloatArray:
        """Polynomial at ``x``, shape (n,)."""
        return np.asarray(self._powers(x) @ np.array(self.coefficients))

    def u(self, x: npt.ArrayLike) -> FloatArray:
        """Standard uncertainty at ``x`` from that of the points, shape (n,)."""
        powers = self._powers(x)
        return np.asarray(np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", powers, np.array(self.covariance), powers), 0.0)))


def fit_polynomial(x: npt.ArrayLike, y: npt.ArrayLike, u: npt.ArrayLike, *, degree: int) -> PolynomialFit:
    """Fit a polynomial to points with known, independent standard uncertainties.

    Parameters
    ----------
    x, y, u : array
        Points and the standard uncertainty of each y, shape (n,).
    degree : int
        Highest power; n must exceed it.

    Returns
    -------
    PolynomialFit
        With the covariance that follows from ``u`` alone and chi squared of the residuals.

    Raises
    ------
    NotEnoughData
        With no more points than the degree.

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2 (propagation through the normal equations).
    """
    xs, ys, us = (np.asarray(part, dtype=np.float64) for part in (x, y, u))
    if xs.size <= degree:
        raise NotEnoughData(f"a polynomial of degree {degree} needs {degree + 1} points; there are {xs.size}.")
    centre = float(xs.mean())
    scale = float(np.abs(xs - centre).max()) or 1.0
    design = np.vander((xs - centre) / scale, degree + 1, increasing=True) / us[:, None]
    inverse = np.linalg.pinv(design)
    coefficients = inverse @ (ys / us)
    residuals = ys / us - design @ coefficients
    covariance = inverse @ inverse.T
    return PolynomialFit(
        centre=centre,
        scale=scale,
        coefficients=tuple(float(c) for c in coefficients),
        covariance=tuple(tuple(float(c) for c in row) for row in covariance),
        chi_squared=float(residuals @ residuals),
        dof=xs.size - degree - 1,
    )
