"""Uncertainty budgets: one row a source, combined into an expanded uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

Distribution = Literal["normal", "rectangular", "triangular", "u-shaped"]

DIVISORS: dict[Distribution, float] = {
    "normal": 1.0,
    "rectangular": math.sqrt(3.0),
    "triangular": math.sqrt(6.0),
    "u-shaped": math.sqrt(2.0),
}
COVERAGE = math.erf(math.sqrt(2.0))  # 0.9545: what k = 2 covers of a normal distribution
DOMINANT_SHARE = 0.7  # of the variance, in one rectangular row: then k = 2 covers more than 95 %
ALONE_BELOW = 0.3  # all else, as a part of one rectangular row, up to which no normal distribution is assumed


@dataclass(frozen=True)
class BudgetRow:
    """One source.

    ``value`` is a standard uncertainty (normal with ``divisor`` 1), an expanded one (``divisor`` its k) or a
    half-width, in ``unit``; ``sensitivity`` in K per ``unit`` turns it into a contribution [K]. ``common`` rows are
    the same at every point of one calibration and do not average out.
    """

    source: str
    value: float
    distribution: Distribution = "normal"
    divisor: float = 1.0
    sensitivity: float = 1.0
    unit: str = "K"
    dof: float = math.inf
    common: bool = False
    origin: str = ""

    @property
    def standard(self) -> float:
        """Standard uncertainty in ``unit``."""
        return self.value / self.divisor

    @property
    def contribution_c(self) -> float:
        """Contribution to the result [K]."""
        return abs(self.sensitivity) * self.standard


@dataclass(frozen=True)
class Budget:
    """All rows of one result."""

    rows: tuple[BudgetRow, ...]

    @property
    def combined_c(self) -> float:
        """Combined standard uncertainty [K]."""
        return combined(row.contribution_c for row in self.rows)

    @property
    def own_c(self) -> float:
        """Part that is this point's own [K]."""
        return combined(row.contribution_c for row in self.rows if not row.common)

    @property
    def common_c(self) -> float:
        """Part shared by all points of the calibration [K]."""
        return combined(row.contribution_c for row in self.rows if row.common)

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch-Satterthwaite, GUM equation G.2b)."""
        below = sum(row.contribution_c**4 / row.dof for row in self.rows if row.dof < math.inf)
        return self.combined_c**4 / below if below > 0 else math.inf

    @property
    def coverage_factor(self) -> float:
        """Factor k for 95.45 %: 2, Student's t with few degrees of freedom, less where one rectangular row is alone."""
        part = self.beside_dominant
        return rectangular_factor(part) if part <= ALONE_BELOW else coverage_factor(self.dof)

    @property
    def expanded_c(self) -> float:
        """Expanded uncertainty U = k u [K]."""
        return self.coverage_factor * self.combined_c

    @property
    def dominant(self) -> BudgetRow | None:
        """Rectangular row that makes up most of the variance, where there is one."""
        total = self.combined_c**2
        return next(
            (
                row
                for row in self.rows
                if row.distribution == "rectangular" and total > 0 and row.contribution_c**2 > DOMINANT_SHARE * total
            ),
            None,
        )

    @property
    def beside_dominant(self) -> float:
        """Standard uncertainty of all other rows as a part of the dominant one; infinite where none dominates."""
        row = self.dominant
        if row is None:
            return math.inf
        return combined(other.contribution_c for other in self.rows if other is not row) / row.contribution_c

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON; infinite degrees of freedom are None."""
        return {
            "rows": [
                {
                    "source": row.source,
                    "value": row.value,
                    "unit": row.unit,
                    "distribution": row.distribution,
                    "divisor": row.divisor,
                    "sensitivity": row.sensitivity,
                    "contribution_c": row.contribution_c,
                    "dof": None if math.isinf(row.dof) else row.dof,
                    "common": row.common,
                    "origin": row.origin,
                }
                for row in self.rows
            ],
            "combined_c": self.combined_c,
            "dof": None if math.isinf(self.dof) else self.dof,
            "coverage_factor": self.coverage_factor,
            "expanded_c": self.expanded_c,
        }


def rectangular(source: str, half_width: float, *, sensitivity: float = 1.0, **more: Any) -> BudgetRow:
    """Row of a half-width within which every value is as likely.

    ``half_width``: half-width [K, or the ``unit`` given].
    """
    return BudgetRow(
        source,
        abs(half_width),
        distribution="rectangular",
        divisor=DIVISORS["rectangular"],
        sensitivity=sensitivity,
        **more,
    )


def expanded(source: str, expanded_c: float, *, k: float = 2.0, **more: Any) -> BudgetRow:
    """Row of an expanded uncertainty as a certificate states it."""
    return BudgetRow(source, abs(expanded_c), divisor=k, **more)


def combined(contributions: Iterable[float]) -> float:
    """Root of the sum of squares.

    ``contributions``: standard uncertainties of independent sources [K]. Returns combined standard uncertainty [K].
    """
    return math.sqrt(math.fsum(c * c for c in contributions))


def coverage_factor(dof: float, coverage: float = COVERAGE) -> float:
    """Coverage factor for a number of degrees of freedom.

    Returns student's t; 2.00 for 95.45 % and many degrees of freedom.

    Source: JCGM 100:2008 (GUM), G.4 and table G.2; EA-4/02 M:2022, appendix E.
    """
    from scipy.special import ndtri, stdtrit

    share = 0.5 + coverage / 2.0
    return float(ndtri(share)) if math.isinf(dof) else float(stdtrit(max(dof, 1.0), share))


def rectangular_factor(beside: float, coverage: float = COVERAGE) -> float:
    """Coverage factor where one rectangular distribution makes up nearly all.

    For half-width a and a normal rest of standard deviation s, P(|X| <= x) = (s/a) (G((x + a)/s) - G((x - a)/s)) - 1
    with G(z) = z Phi(z) + phi(z), the integral of Phi. k = x/u with u^2 = a^2/3 + s^2. With k = 2 nearly everything
    would be covered, and U could exceed what the bound itself allows.

    ``beside``: standard uncertainty of all the rest, normal, as a part of that of the rectangular one. Returns 1.65 for
    a rectangular distribution alone, growing towards 2 with the rest.

    Source: EA-4/02 M:2022, example S9 (rectangular, k = 1.65) and its criterion of 0.3 (from memory); JCGM 100:2008
    (GUM), G.1.4 (convolution of the distributions).
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr

    a, s = math.sqrt(3.0), max(beside, 1e-6)
    u = math.hypot(1.0, s)

    def primitive(z: float) -> float:
        return z * float(ndtr(z)) + math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)

    def covered(k: float) -> float:
        return s / a * (primitive((k * u + a) / s) - primitive((k * u - a) / s)) - 1.0

    return float(brentq(lambda k: covered(k) - coverage, 0.5, 4.0))
