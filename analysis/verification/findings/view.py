"""What every finding looks at, and how it is called."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.inputs.readings import gaps
from soakwitness.analysis.verification.judging.judging_run import JudgedRun
from soakwitness.analysis.verification.results.verification import (
    Bounds,
    Finding,
    HoldResult,
    RampResult,
    Severity,
    Verdict,
)
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration_range

WHERE = {"load": "at the load sensor", "packet estimate": "by the packet estimate", "control": "at the control sensor"}


@dataclass(frozen=True)
class View:
    """One verification as findings see it."""

    judged: JudgedRun
    holds: tuple[HoldResult, ...]

    @property
    def run(self) -> GatheredRun:
        """The run, as it was gathered."""
        return self.judged.measured.gathered

    @property
    def ramps(self) -> Mapping[int, RampResult]:
        """Every ramp by its step."""
        return self.judged.ramps

    def recipe_hold(self, hold: HoldResult) -> Hold:
        """The recipe's hold that a result is of."""
        return next(h for h in self.run.recipe.holds if h.number == hold.step)

    def number(self, hold: HoldResult) -> int:
        """Its index among the recipe's holds."""
        return self.run.recipe.holds.index(self.recipe_hold(hold))

    def has_gap(self, hold: HoldResult) -> bool:
        """Whether readings are missing in a hold, on the sensor that its figures are of."""
        sensor = next((s for s in self.run.sensors if s.name == hold.measured_by), self.run.chamber)
        if hold.enter_s is None or hold.leave_s is None:
            return False
        return bool(gaps(sensor.readings, hold.enter_s, hold.leave_s))


def where_words(view: View, hold: HoldResult) -> str:
    """Where a hold was measured; of several load sensors which."""
    names = {load.name for load in view.run.loads}
    if hold.temperature_from == "load" and len(names) > 1:
        return f"at load sensor {hold.measured_by}"
    return WHERE[hold.temperature_from or "control"]


def hold_words(hold: Hold | HoldResult) -> Says:
    """How a hold is called: ``hold at 1040 °C``."""
    return Says.of("hold at {target}", target=Temp(hold.target_c))


def sorted_findings(findings: list[Finding]) -> tuple[Finding, ...]:
    """Fails first, then warnings, then notes; each in the order of the recipe's steps."""
    order = {"fail": 0, "warn": 1, "note": 2}
    return tuple(sorted(findings, key=lambda f: (order[f.severity], f.step or 0)))


def severity_of(verdict: Verdict, *, judged: bool = True) -> Severity:
    """Severity of what a verdict says: fail, else a warning; nothing beyond a note where it is not judged."""
    if not judged:
        return "note"
    return "fail" if verdict == "fail" else "warn"


def range_words(bounds: Bounds) -> str:
    """A time [s] with what is not known of it: ``18.2 min (17.9 to 18.5)``."""
    return duration_range(bounds.best, bounds.low, bounds.high)


def level_above(hold: HoldResult) -> bool:
    """Whether the level of a hold lies above its band: that is told by itself."""
    return hold.level_c is not None and hold.level_c > hold.band_c[1]
