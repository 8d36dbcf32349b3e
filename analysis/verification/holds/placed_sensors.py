"""Place: the holds of a recipe on the readings of every sensor that can decide them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.verification.holds.assignment import ArrayBlocks, block_medians
from soakwitness.analysis.verification.holds.placing import Placed, place_again, place_holds
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.inputs.run_as_read import RunAsRead, SensorAsRead
from soakwitness.analysis.verification.inputs.sensor_errors import SensorErrors
from soakwitness.analysis.verification.results.verification import Source
from soakwitness.analysis.verification.rules.placed_edges import Placements
from soakwitness.analysis.verification.rules.places import filled

SAME_C = 0.005


@dataclass(frozen=True)
class DecidingSensor:
    """One sensor that can decide a hold, as it reads: nothing added.

    ``placed`` are the holds on its readings; ``placed_true`` the same where what its calibration says is added, and
    ``placed_lapsed`` with what an overdue one said. ``last_s`` is its last reading [s]. A load sensor is one for each
    of its visits in the furnace, from ``in_s`` to ``out_s`` [s]; ``until_out``: the same with its last reading there.
    """

    name: str
    source: Source
    readings: Readings
    blocks: ArrayBlocks
    errors: SensorErrors
    placed: Placements
    placed_true: Placements
    placed_lapsed: Placements
    thickness_mm: float | None = None
    visit: int = 0
    in_s: float = -np.inf
    out_s: float | None = None
    until_out: Callable[[], DecidingSensor] | None = None

    @property
    def key(self) -> tuple[str, int, bool]:
        """Which sensor, which of its visits in the furnace, and whether its readings end where it came out."""
        return self.name, self.visit, self.until_out is None and self.out_s is not None

    @property
    def first_s(self) -> float:
        """Its first reading [s]."""
        return float(self.readings.t_s[0])

    @property
    def last_s(self) -> float:
        """Its last reading [s]."""
        return float(self.readings.t_s[-1])


@dataclass(frozen=True)
class PlacedRun:
    """A run with the recipe's holds on its sensors."""

    read: RunAsRead
    recipe: Recipe
    chamber: DecidingSensor
    loads: tuple[DecidingSensor, ...]


def place(read: RunAsRead, recipe: Recipe) -> PlacedRun:
    """Find the recipe's holds on the chamber's sensor, and on each load sensor within those."""
    chamber = _chamber(read.chamber, recipe)
    loads: Sequence[DecidingSensor] = [_load(load, recipe, chamber) for load in read.loads]
    for load in loads:
        chamber = _with_holds_of(chamber, load)
    loads = [_with_cut(_placed_again(load, recipe, chamber), recipe, chamber) for load in loads]
    return PlacedRun(read, recipe, chamber, tuple(loads))


def shifted(recipe: Recipe, shift_of: Callable[[Hold], float]) -> Recipe:
    """The recipe as a sensor should show it: each hold's temperatures less what is added to the reading there [K]."""
    return replace(
        recipe,
        steps=tuple(replace(s, target_c=s.target_c - shift_of(s)) if isinstance(s, Hold) else s for s in recipe.steps),
    )


def _shifts(recipe: Recipe, errors: SensorErrors, *, lapsed: bool) -> dict[int, float]:
    """What a calibration in force (or an overdue one) adds at each hold [K], by its step's number."""
    found = {}
    for hold in recipe.holds:
        known = errors.known_at(hold)
        found[hold.number] = (known.lapsed.correction_c if known.lapsed else 0.0) if lapsed else known.correction_c
    return found


def _as_shown(
    recipe: Recipe, errors: SensorErrors, place: Callable[[Recipe], Placements], read: Placements
) -> tuple[Placements, Placements]:
    """The holds placed once more with what the calibration says, in force and overdue, where that says anything."""
    placed = []
    for lapsed in (False, True):
        shifts = _shifts(recipe, errors, lapsed=lapsed)
        far = any(abs(shift) >= SAME_C for shift in shifts.values())
        placed.append(place(shifted(recipe, lambda hold: shifts[hold.number])) if far else read)  # noqa: B023
    return placed[0], placed[1]


def _chamber(read: SensorAsRead, recipe: Recipe) -> DecidingSensor:
    readings, errors = read.readings, read.errors
    blocks = block_medians(readings.t_s, readings.temp_c, readings.period_s)

    def place(shown: Recipe) -> Placements:
        return place_holds(readings, shown, reach_c=errors.reach_c(recipe.holds), blocks=blocks)

    placed = place(recipe)
    true, lapsed = _as_shown(recipe, errors, place, placed)
    return DecidingSensor(read.name, read.source, readings, blocks, errors, placed, true, lapsed)


def _with_cut(load: DecidingSensor, recipe: Recipe, chamber: DecidingSensor) -> DecidingSensor:
    """A load sensor that can be had with its readings up to where it came out, too."""
    if load.out_s is None:
        return load
    made: list[DecidingSensor] = []

    def until_out() -> DecidingSensor:
        if not made:
            part = load.readings.part(-np.inf, load.out_s or np.inf)
            blocks = block_medians(part.t_s, part.temp_c, part.period_s)
            made.append(_placed_again(replace(load, readings=part, blocks=blocks), recipe, chamber))
        return made[0]

    return replace(load, until_out=until_out)


def _load(read: SensorAsRead, recipe: Recipe, chamber: DecidingSensor) -> DecidingSensor:
    """A load sensor, with the holds that it shows by itself only where the chamber misses one."""
    readings = read.readings
    blocks: ArrayBlocks = block_medians(readings.t_s, readings.temp_c, readings.period_s)
    alone: Placements = (None,) * len(recipe.holds)
    if any(p is None or p.edges is None for p in chamber.placed):
        alone = place_holds(readings, recipe, blocks=blocks)
    load = DecidingSensor(read.name, "load", readings, blocks, read.errors, alone, alone, alone, read.thickness_mm)
    visit = read.visit
    return load if visit is None else replace(load, visit=read.number, in_s=visit.in_s, out_s=visit.out_s)


def _with_holds_of(chamber: DecidingSensor, load: DecidingSensor) -> DecidingSensor:
    """The chamber with the holds that only a load sensor shows, where their order in time stays right."""
    return replace(
        chamber,
        placed=filled(chamber.placed, load.placed),
        placed_true=filled(chamber.placed_true, load.placed),
        placed_lapsed=filled(chamber.placed_lapsed, load.placed),
    )


def _placed_again(load: DecidingSensor, recipe: Recipe, chamber: DecidingSensor) -> DecidingSensor:
    """A load sensor with its edges in the holds of the chamber."""
    true_holds = _best_of(chamber)

    def place(shown: Recipe) -> Placements:
        return place_again(load.readings, shown, true_holds, chamber.last_s)

    read = place(recipe)
    true, lapsed = _as_shown(recipe, load.errors, place, read)
    return replace(load, placed=read, placed_true=true, placed_lapsed=lapsed)


def _best_of(chamber: DecidingSensor) -> Placements:
    """Where the chamber's holds are as well as is known: with its calibration where it speaks, else as read."""
    pairs = zip(chamber.placed_true, chamber.placed, strict=True)
    return tuple(true if true is not None else read for true, read in pairs)


def placed_for(sensor: DecidingSensor, *, corrected: bool, lapsed: bool = False) -> tuple[Placed | None, ...]:
    """The holds on a sensor as read, with its calibration, or with an overdue one."""
    return sensor.placed_lapsed if lapsed else sensor.placed_true if corrected else sensor.placed
