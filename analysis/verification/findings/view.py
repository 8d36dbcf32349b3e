"""What every finding looks at, and how it writes numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.recipes.words import Unit, difference, temperature
from soakwitness.analysis.recipes.words import duration as exact_duration
from soakwitness.analysis.verification.model import Bounds, Finding, HoldResult, RampResult, Severity, Verdict
from soakwitness.analysis.verification.scene import Scene


@dataclass(frozen=True)
class View:
    """One verification as findings see it. ``unit`` is that of the sentences."""

    scene: Scene
    holds: tuple[HoldResult, ...]
    ramps: Mapping[int, RampResult]
    unit: Unit = "C"

    def temp(self, temp_c: float) -> str:
        """A temperature in words."""
        return temperature(temp_c, self.unit)

    def diff(self, kelvin: float) -> str:
        """A difference of temperatures in words."""
        return difference(kelvin, self.unit)

    def hold_words(self, hold: Hold | HoldResult) -> str:
        """How a hold is called: ``hold at 1040 °C``."""
        return f"hold at {self.temp(hold.target_c)}"


def sorted_findings(findings: list[Finding]) -> tuple[Finding, ...]:
    """Fails first, then warnings, then notes; each in the order of the recipe's steps."""
    order = {"fail": 0, "warn": 1, "note": 2}
    return tuple(sorted(findings, key=lambda f: (order[f.severity], f.step or 0)))


def severity_of(verdict: Verdict, *, judged: bool = True) -> Severity:
    """Severity of what a verdict says: fail, else a warning; nothing beyond a note where it is not judged."""
    if not judged:
        return "note"
    return "fail" if verdict == "fail" else "warn"


def duration(time_s: float) -> str:
    """A duration in words, seconds whole."""
    return exact_duration(float(round(time_s)))


def range_words(bounds: Bounds) -> str:
    """A time with what is not known of it: ``18.2 min (17.9 to 18.5)``."""
    best, low, high = (duration(x) for x in (bounds.best, bounds.low, bounds.high))
    return best if low == high else f"{best} ({low} to {high})"
