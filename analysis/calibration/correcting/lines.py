"""Lines and low polynomials through points, with the uncertainty of what they say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.errors import NotEnoughData

FloatArray = npt.NDArray[np.float64]


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

    ``x``, ``y``, ``u``: points and the standard uncertainty of each y, shape (n,). Returns with the covariance that
    follows from ``u`` alone and chi squared of the residuals.

    Raises NotEnoughData with no more points than the degree. Source: JCGM 100:2008 (GUM), 5.1.2 (propagation through
    the normal equations).
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
