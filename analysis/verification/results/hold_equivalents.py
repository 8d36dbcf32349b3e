"""What the holds of a run amount to, for comparison only: no verdict rests on these figures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from soakwitness.analysis.metallurgy.equivalents import (
    LABEL,
    TEMPER_CONSTANT,
    ComparisonRefused,
    HoldComparison,
    compare_hold,
    comparison_sentence,
)
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.results.verification import Verification
from soakwitness.firmware_bridge.common.units import Unit


@dataclass(frozen=True)
class Amount:
    """What one hold amounts to, as its sensor read."""

    step: int
    sensor: str
    compared: HoldComparison

    def says(self, unit: Unit = "C") -> str:
        """One labelled sentence that names step and sensor."""
        return f"Step {self.step}, sensor {self.sensor}. {comparison_sentence(self.compared, unit)}"

    def as_dict(self) -> dict[str, Any]:
        """Plain data; times [s] and [h], temperatures [degC]."""
        temper = None
        if self.compared.parameter is not None:
            temper = {
                "hollomon_jaffe": self.compared.parameter,
                "constant": TEMPER_CONSTANT,
                "equal_h": self.compared.equal_h,
            }
        return {
            "step": self.step,
            "sensor": self.sensor,
            "target_c": self.compared.target_c,
            "temper": temper,
            "equivalent_soak": [
                {"activation_j_per_mol": soak.activation_j_per_mol, "time_s": soak.time_s}
                for soak in self.compared.soaks
            ],
            "bridged_s": self.compared.bridged_s,
            "label": LABEL,
            "says": self.says(),
        }


def equivalents_of_holds(run: Run, verification: Verification) -> tuple[Amount, ...]:
    """Comparison figures of every hold that was found, from the sensor that its edges were found on, as read.

    Returns the Hollomon-Jaffe parameter of each temper, the Arrhenius-weighted equivalent soak of each hotter hold.
    Holds with fewer than two readings are left out.
    """
    found: list[Amount] = []
    for hold in verification.holds:
        trace = run.trace(hold.measured_by) if hold.measured_by else None
        if trace is None or hold.enter_s is None or hold.leave_s is None:
            continue
        first, last = np.searchsorted(trace.t_s, [hold.enter_s, hold.leave_s])
        part = slice(int(first), int(last) + 1)
        try:
            compared = compare_hold(trace.t_s[part], trace.temp_c[part], target_c=hold.target_c)
        except ComparisonRefused:
            continue
        found.append(Amount(hold.step, trace.name, compared))
    return tuple(found)
