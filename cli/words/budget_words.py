"""A budget of uncertainty as rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soakwitness.firmware_bridge.common.units import Unit, from_kelvin

if TYPE_CHECKING:
    from soakwitness.analysis.calibration.uncertainty.budget import Budget


def _small(kelvin: float, unit: Unit, digits: int) -> str:
    """A difference of a budget, whose shares are small: with more decimals than anywhere else, and without its unit."""
    return f"{from_kelvin(kelvin, unit):.{digits}f}"


def rows_of_budget(budget: Budget, unit: Unit) -> list[list[str]]:
    """Any budget, a line a source."""
    rows = [["source", "value", "divided by", "times", f"share °{unit}"]]
    for row in budget.rows:
        value = row.value if row.unit != "K" else from_kelvin(row.value, unit)
        rows.append(
            [
                row.source,
                f"{value:.3g} {f'°{unit}' if row.unit == 'K' else row.unit}",
                f"{row.divisor:.3g} ({row.distribution})",
                f"{row.sensitivity:.3g}",
                _small(row.contribution_c, unit, 3),
            ]
        )
    rows.append(["combined", "", "", "", _small(budget.combined_c, unit, 3)])
    words = f"U, k = {budget.coverage_factor:.2f}"
    rows.append([words, "", "", "", _small(budget.expanded_c, unit, 2)])
    return rows
