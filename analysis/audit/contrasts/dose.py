"""How much hardness a cause can have cost, as a range with what that rests on, and how much of a loss it explains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

GUESS = "engineering guess"
MEASURED = "measured here"

Stage = Literal["hardening", "cold", "temper", "after", "all"]
"""Where a cause acts: until the quench, in the cold treatment, in the tempers, or on all that the tester shows."""


@dataclass(frozen=True)
class Dose:
    """By how much a cause can have changed hardness [HRC], from ``low`` to ``high``; negative is softer.

    ``basis``: the source of the figures, else ``engineering guess``.
    """

    low: float
    high: float
    basis: str = GUESS

    def and_with(self, other: Dose) -> Dose:
        """Both together, their ranges added."""
        basis = self.basis if other.low == other.high == 0.0 or self.basis == other.basis else GUESS
        return Dose(self.low + other.low, self.high + other.high, basis)

    def or_else(self, other: Dose) -> Dose:
        """One of the two, nobody knows which."""
        return Dose(min(self.low, other.low), max(self.high, other.high), self.basis)

    def turned(self) -> Dose:
        """The same to the other side."""
        return Dose(-self.high, -self.low, self.basis)


@dataclass(frozen=True)
class Explained:
    """How many of ``points`` [HRC] that were lost (or gained, where negative) a cause can explain."""

    least: float
    most: float
    points: float
    basis: str

    @property
    def reach(self) -> float:
        """Share that it can explain at most, 0 to 1."""
        return min(1.0, self.most / abs(self.points)) if self.points else 0.0

    @property
    def says(self) -> str:
        """In words."""
        lost = "lost" if self.points > 0 else "that they are too hard"
        whole = f"{abs(self.points):.1f}"
        if self.least >= abs(self.points):
            return f"can explain all of the {whole} points {lost} ({self.basis})"
        most = min(self.most, abs(self.points))
        least = f"{self.least:.1f}" if self.least >= 0.05 else "0"
        amount = "none" if most < 0.05 else f"{least} to {most:.1f}"
        return f"can explain {amount} of the {whole} points {lost} ({self.basis})"


def explained(dose: Dose, change: float) -> Explained:
    """How much of a change of hardness [HRC], negative for softer, a dose can explain."""
    if change < 0:
        return Explained(max(0.0, -dose.high), max(0.0, -dose.low), -change, dose.basis)
    return Explained(max(0.0, dose.low), max(0.0, dose.high), -change, dose.basis)


def between(at: float, rows: Sequence[tuple[float, float, float]], basis: str = GUESS) -> Dose:
    """A dose by straight lines between rows of (figure, low, high), the ends held."""
    if at <= rows[0][0]:
        return Dose(rows[0][1], rows[0][2], basis)
    for (a, low, high), (b, next_low, next_high) in zip(rows, rows[1:], strict=False):
        if at <= b:
            share = (at - a) / (b - a)
            return Dose(low + share * (next_low - low), high + share * (next_high - high), basis)
    return Dose(rows[-1][1], rows[-1][2], basis)
