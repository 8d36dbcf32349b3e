"""Which cause explains how the figures moved together: less power, more losses, a heavier charge, one sensor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from soakwitness.analysis.condition.combined_figures import Kind
from soakwitness.analysis.condition.trends import Trend
from soakwitness.analysis.record.run import FloatArray

Cause = Literal["power", "losses", "charge", "sensor"]

# What a cause of size one does to each figure, as natural logarithm: from a balance of heat for a small furnace whose
# bricks take about half of the power at the top, and are hotter after a slow climb; engineering guesses, of which only
# signs and rough sizes are used.
EFFECTS: dict[Cause, dict[Kind, float]] = {
    "power": {"climb": -1.4, "top": -0.08, "output": 0.85, "cooling": -0.3},
    "losses": {"climb": -0.5, "top": -0.25, "output": 1.0, "cooling": 0.9},
    "charge": {"climb": -1.0, "top": -0.15, "output": 0.0, "cooling": -0.1},
    "sensor": {"climb": 0.0, "top": 0.0, "output": 1.0, "cooling": 0.0},
}
LEADING: tuple[Kind, ...] = ("output", "climb", "cooling")
ROUGH = 0.3  # how far an effect may be from its size above, as a share
FLOOR = 0.008
SIZES = np.linspace(0.02, 0.8, 79)


@dataclass(frozen=True)
class ExplainedShift:
    """A cause with its size, and by how much (in chi-square) it is ahead of each other one.

    ``misfit`` is its chi-square a figure; ``lead`` is the trend that shows it best, ``sizes`` what each figure did
    along with it, with its standard error.
    """

    cause: Cause
    size: float
    misfit: float
    ahead_of: Mapping[Cause, float]
    lead: Trend
    sizes: Mapping[Kind, tuple[float, float]]


def explained(trends: Sequence[Trend], *, gain: float, charge_known: bool) -> ExplainedShift | None:
    """Find the cause that explains what the surest figure and the others did along with it.

    ``gain``: how sure the leading figure must be. ``charge_known``: whether what was in is taken out already. A heavier
    charge is thought of where it is not, and where the output can tell it from less power. Returns None where none of
    them moved, or moved the other way.
    """
    by_kind = {t.kind: t for t in trends}
    moved = [t for kind in LEADING if (t := by_kind.get(kind)) is not None and t.moved and t.shift.gain >= gain]
    if not moved:
        return None
    lead = max(moved, key=lambda t: t.shift.gain)
    sizes = {kind: _along(lead, by_kind[kind]) for kind in EFFECTS["power"] if kind in by_kind}
    thought_of = [c for c in EFFECTS if c != "charge" or (not charge_known and "output" in sizes)]
    fits = {cause: _fit(EFFECTS[cause], sizes) for cause in thought_of}
    best = min(fits, key=lambda c: fits[c][0])
    if EFFECTS[best][lead.kind] * lead.shift.change <= 0:
        return None
    ahead: dict[Cause, float] = {c: fits[c][0] - fits[best][0] for c in fits if c != best}
    return ExplainedShift(best, fits[best][1], fits[best][0] / len(sizes), ahead, lead, sizes)


def _along(lead: Trend, other: Trend) -> tuple[float, float]:
    level = lead.shift.level
    course = np.where(np.arange(level.size) < lead.fresh, 0.0, (level - level[lead.fresh]) / lead.shift.change)
    shape = np.interp(np.array(other.figure.index, dtype=float), np.array(lead.figure.index, dtype=float), course)
    if np.ptp(shape) < 0.3:
        return 0.0, 1.0
    return other.shift.laid_on(np.asarray(shape))


def _fit(effects: Mapping[Kind, float], sizes: Mapping[Kind, tuple[float, float]]) -> tuple[float, float]:
    """Least chi-square over the sizes that a cause may have, and that size."""
    total: FloatArray = np.zeros(SIZES.size)
    for kind, (size, error) in sizes.items():
        expected = effects[kind] * SIZES
        total = total + (size - expected) ** 2 / (error**2 + (ROUGH * expected) ** 2 + FLOOR**2)
    best = int(np.argmin(total))
    return float(total[best]), float(SIZES[best])
