"""How a plan did: what it said of the last hold beside what the run had."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from soakwitness.analysis.planning.learning import LagPair
from soakwitness.firmware_bridge.common.wording import duration, duration_span

MEASURED = "load"  # what a verification calls the work temperature of a load sensor


@dataclass(frozen=True)
class PlanAndRun:
    """The slowest piece of a plan beside the run [s]. ``measured``: a load sensor tells; else the packet estimate."""

    planned_lag: Mapping[str, float]
    planned_soak: Mapping[str, float]
    lag_s: float | None
    soak_s: float
    measured: bool

    def as_dict(self) -> dict[str, Any]:
        """The same for ``verify --json``."""
        return {
            "planned_lag_s": dict(self.planned_lag),
            "planned_soak_s": dict(self.planned_soak),
            "lag_s": self.lag_s,
            "soak_s": self.soak_s,
            "measured": self.measured,
        }


def plan_and_run(plan: Mapping[str, Any], answer: Mapping[str, Any]) -> PlanAndRun | None:
    """Put a plan beside a verification, both as plain data; None where the run has not the plan's last hold."""
    if not plan["holds"] or not plan["holds"][-1]["pieces"]:
        return None
    hold = plan["holds"][-1]
    slowest = max(hold["pieces"], key=lambda one: float(one["lag_s"]["best_s"]))
    step = next((one for one in answer["steps"] if one["step"] == hold["step"] and one.get("soak_s")), None)
    if step is None or not step.get("found") or answer.get("temperature_from") == "control":
        return None
    lag_s = (step.get("lag_s") or {}).get("best")
    measured = answer.get("temperature_from") == MEASURED
    shown = slowest.get("shown_lag_s", slowest["lag_s"])  # plans of before have one lag
    return PlanAndRun(shown, slowest["soak_s"], lag_s, step["soak_s"]["best"], measured)


def lag_pair(run: str, plan: Mapping[str, Any], answer: Mapping[str, Any]) -> LagPair | None:
    """The planned lag, without what was learned by then, beside the measured one; None where no load sensor tells."""
    found = plan_and_run(plan, answer)
    if found is None or not found.measured or not found.lag_s:
        return None
    learned = plan.get("learned")
    factor = learned["factor"] if learned and learned["used"] else 1.0
    return LagPair(run, found.planned_lag["best_s"] / factor, found.lag_s)


def how_it_did(found: PlanAndRun) -> str:
    """One line for ``verify``."""
    by = "measured" if found.measured else "by the estimate"
    lag = "" if found.lag_s is None else f"lag {duration(found.lag_s)} and "
    planned = duration_span(found.planned_lag["low_s"], found.planned_lag["high_s"])
    soak = duration_span(found.planned_soak["low_s"], found.planned_soak["high_s"])
    return (
        f"Planned: lag {duration(found.planned_lag['best_s'])} ({planned}), soak "
        f"{duration(found.planned_soak['best_s'])} ({soak}); {by}: {lag}soak {duration(found.soak_s)}."
    )
