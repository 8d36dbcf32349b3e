"""How two sensors were compared, and what of that goes into the budget of the difference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from soakwitness.analysis.calibration.measured_pairs.reference import Reference
from soakwitness.analysis.calibration.uncertainty.budget import BudgetRow, rectangular
from soakwitness.analysis.thermocouples.reference_functions import seebeck_uv_per_c

ROOM_C = 25.0


@dataclass(frozen=True)
class Comparing:
    """How the two sensors were compared; every figure a setting, shown with the result.

    Steps of the readings [K], types of the thermocouples, distance between the tips [mm] and steepest gradient of the
    furnace [K/mm], half-width of the cold-junction error of each instrument [K], how differently the two may lag [s].
    The reference's readout: its U (k = 2) [K], or its accuracy as half-width [K] and percent of the reading; both have
    its cold junction in them.
    """

    sensor_resolution_c: float = 0.1
    reference_resolution_c: float = 0.1
    sensor_type: str | None = None
    reference_type: str | None = None
    distance_mm: float = 10.0
    gradient_c_per_mm: float = 0.1
    cold_junction_c: float = 0.5
    lag_difference_s: float = 60.0
    readout_expanded_c: float = 0.0
    meter_c: float = 0.0
    meter_percent: float = 0.0

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON, with where the figures come from."""
        return {
            "sensor_resolution_c": self.sensor_resolution_c,
            "reference_resolution_c": self.reference_resolution_c,
            "sensor_type": self.sensor_type,
            "reference_type": self.reference_type,
            "distance_mm": self.distance_mm,
            "gradient_c_per_mm": self.gradient_c_per_mm,
            "cold_junction_c": self.cold_junction_c,
            "lag_difference_s": self.lag_difference_s,
            "readout_expanded_c": self.readout_expanded_c,
            "meter_c": self.meter_c,
            "meter_percent": self.meter_percent,
            "origin": "settings; the default distance x gradient is ±1 °C, as in EA-4/02 example S5",
        }


def budget_rows(
    temp_c: float, reference: Reference, comparing: Comparing, own: tuple[BudgetRow, ...]
) -> tuple[BudgetRow, ...]:
    """Budget of one comparison, in the order of EA-4/02 S5: reference, readouts, cold junctions, furnace, scatter.

    A U that holds for the reference's readings, or is stated for its readout, has the cold junction in it already: no
    source is to be counted twice (JCGM 100:2008, 4.3.10).

    Source: EA-4/02 M:2022, example S5.
    """
    rows = [*reference.rows(temp_c)]
    if comparing.readout_expanded_c > 0:
        rows.append(BudgetRow("reference readout", comparing.readout_expanded_c, divisor=2.0, common=True))
    meter_c = comparing.meter_c + comparing.meter_percent / 100.0 * abs(temp_c)
    if meter_c > 0:
        rows.append(rectangular("reference readout, accuracy", meter_c, common=True, origin="its data sheet"))
    if comparing.reference_resolution_c > 0:
        rows.append(rectangular("resolution of the reference", comparing.reference_resolution_c / 2.0))
    rows.append(rectangular("resolution of the sensor", comparing.sensor_resolution_c / 2.0))
    kinds = [("reference", comparing.reference_type or reference.thermocouple), ("sensor", comparing.sensor_type)]
    if reference.of_readings or comparing.readout_expanded_c > 0 or meter_c > 0:
        del kinds[0]
    for name, kind in kinds:
        rows.append(
            rectangular(
                f"cold junction of the {name}",
                comparing.cold_junction_c,
                sensitivity=cold_sensitivity(kind, temp_c),
                common=True,
                origin=f"type {kind}" if kind else "type not known: sensitivity 1",
            )
        )
    if comparing.distance_mm > 0:
        rows.append(
            rectangular(
                "distance and gradient in the furnace",
                comparing.distance_mm,
                sensitivity=comparing.gradient_c_per_mm,
                unit="mm",
                common=True,
            )
        )
    return (*(row for row in rows if row.value > 0.0), *own)


def cold_sensitivity(kind: str | None, temp_c: float) -> float:
    """Error at the measuring junction for one kelvin at the cold one: ratio of the Seebeck coefficients."""
    if kind is None:
        return 1.0
    ratio = float(seebeck_uv_per_c(ROOM_C, kind) / seebeck_uv_per_c(temp_c, kind))
    return ratio if np.isfinite(ratio) else 1.0
