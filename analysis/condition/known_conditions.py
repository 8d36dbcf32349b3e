"""The known conditions of runs as columns for the comparison: room, charge, mains, recipe, and repairs between them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from soakwitness.analysis.condition.combined_figures import RELATIVE, Combined, Kind
from soakwitness.analysis.condition.shifts import KnownColumns
from soakwitness.analysis.evidence.run_figures import ConditionFigures
from soakwitness.analysis.record.run import FloatArray

KNOWN_FROM = 0.6  # share of the runs that must have a condition on record for it to be used
OTHER_RECIPE: dict[bool, float] = {True: 0.15, False: 4.0}
REPAIRED: dict[bool, float] = {True: 0.5, False: 15.0}
SEASON_C = 10.0
LEVEL: dict[bool, float] = {True: 0.5, False: 20.0}


@dataclass(frozen=True)
class Effect:
    """What a condition does to a figure: the usual size of it, and how far it may be from that."""

    size: float = 0.0
    spread: float = 1e-4


def _room(figure: Combined) -> Effect:
    """By kelvin of the room. Losses go by the difference between furnace and room; a warm one starts nearer."""
    at_c = figure.at_c or 0.0
    if figure.kind in ("output", "cooling"):
        below = 1.0 / max(at_c - 70.0, 60.0)
        return Effect(-below, 0.5 * below)
    return {"climb": Effect(0.001, 0.001), "top": Effect(0.0, 0.0005)}.get(figure.kind, Effect(0.0, 0.03))


# by the charge over the usual one, of which little is felt: the bricks take most of the heat
CHARGE: dict[Kind, Effect] = {
    "climb": Effect(-0.06, 0.12),
    "top": Effect(-0.05, 0.1),
    "output": Effect(0.0, 0.03),
    "cooling": Effect(-0.03, 0.06),
}
# by the power that the mains gives over the usual one
MAINS: dict[Kind, Effect] = {
    "climb": Effect(1.2, 0.3),
    "output": Effect(-1.0, 0.3),
    "top": Effect(0.0, 0.2),
}


@dataclass(frozen=True)
class Conditions:
    """Known conditions of the runs, shape (n,) each, NaN where not known; ``season`` is the day as an angle."""

    room_c: FloatArray
    charge: FloatArray
    power: FloatArray
    groups: tuple[str, ...]
    warm: FloatArray
    season: FloatArray

    @property
    def charge_known(self) -> bool:
        """Whether what was in is known of most runs."""
        return _known_of_most(self.charge)

    @property
    def mains_known(self) -> bool:
        """Whether the mains voltage is known of most runs."""
        return _known_of_most(self.power)


def _known_of_most(values: FloatArray) -> bool:
    return values.size > 0 and bool(np.isfinite(values).mean() >= KNOWN_FROM)


def conditions_of(runs: Sequence[ConditionFigures]) -> Conditions:
    """Gather them; a charge counts against the usual one, in kg where that is known oftener than the steel in mm."""
    kg, mm = _column(r.charge_kg for r in runs), _column(r.charge_mm for r in runs)
    charge = kg if np.isfinite(kg).sum() >= np.isfinite(mm).sum() else mm
    volts = _column(r.mains_v for r in runs)
    return Conditions(
        room_c=_column(r.room_c for r in runs),
        charge=charge,
        power=volts,
        groups=tuple(f"{r.recipe} {r.charged}" for r in runs),
        warm=np.array([float(r.warm) for r in runs]),
        season=np.array(
            [2.0 * np.pi * date.fromisoformat(r.started_utc[:10]).timetuple().tm_yday / 365.25 for r in runs]
        ),
    )


def _column(values: Iterable[float | None]) -> FloatArray:
    return np.array([np.nan if v is None else v for v in values], dtype=float)


def known_for(figure: Combined, conditions: Conditions, repairs: Sequence[int]) -> tuple[FloatArray, KnownColumns]:
    """What the usual effects leave of a figure's values, and the columns for what they may be off.

    ``repairs``: indices into the figure's values from which a repair counts.
    """
    index, relative = np.array(figure.index, dtype=int), figure.kind in RELATIVE
    values, columns, spreads = figure.values.copy(), [], []

    def take(column: FloatArray, effect: Effect) -> None:
        nonlocal values
        filled = np.nan_to_num(column - np.nanmedian(column)) if np.isfinite(column).any() else np.zeros(column.size)
        values = values - effect.size * filled
        columns.append(filled)
        spreads.append(effect.spread)

    if figure.kind == "room":
        for wave in (np.sin(conditions.season[index]), np.cos(conditions.season[index])):
            take(wave, Effect(0.0, SEASON_C))
        return values, _with_levels(columns, spreads, relative, repairs)
    take(conditions.room_c[index], _room(figure))
    if conditions.charge_known:
        charge = conditions.charge[index]
        usual = np.nanmedian(charge[charge > 0]) if (charge > 0).any() else 1.0
        take(charge / usual, CHARGE.get(figure.kind, Effect(0.0, 0.02 if relative else 0.3)))
    if conditions.mains_known:
        take(2.0 * np.log(conditions.power[index]), MAINS.get(figure.kind, Effect(0.0, 0.05 if relative else 5.0)))
    if conditions.warm[index].any() and relative:
        take(conditions.warm[index], Effect(0.0, 0.3))
    groups = [conditions.groups[i] for i in index]
    for group in sorted(set(groups))[1:]:
        take(np.array([float(g == group) for g in groups]), Effect(0.0, OTHER_RECIPE[relative]))
    return values, _with_levels(columns, spreads, relative, repairs)


def _with_levels(
    columns: list[FloatArray], spreads: list[float], relative: bool, repairs: Sequence[int]
) -> KnownColumns:
    """Conditions and, after them, the levels: what was before a repair may have been on its way down."""
    conditions_end, at = len(columns), np.arange(columns[0].size)
    for first, begins in zip((0, *repairs), repairs, strict=False):
        columns += [(at >= begins).astype(float), np.where(at < begins, np.clip(at - first, 0, None), 0) / begins]
        spreads += [REPAIRED[relative]] * 2
    columns.append(np.ones(at.size))
    spreads.append(LEVEL[relative])
    return KnownColumns(np.column_stack(columns), np.array(spreads), len(columns) - conditions_end)
