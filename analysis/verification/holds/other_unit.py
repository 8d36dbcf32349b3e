"""Whether the chamber's readings are in the other unit: more of the recipe's holds stand at their numbers there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
from soakwitness.analysis.record.traces import COLDEST_C, HOTTEST_C
from soakwitness.analysis.verification.holds.placed_sensors import PlacedRun
from soakwitness.analysis.verification.holds.placing import Placed, place_holds
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.firmware_bridge.common.units import from_celsius, from_kelvin, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import Says, Temp, joined

STAYED = 0.5  # of what is asked, in the other unit: less may be chance
ROOM_FROM_C, ROOM_TO_C = 3.0, 45.0
FIRST_S = 60.0


def in_other_unit(run: PlacedRun) -> Says | None:
    """What the holds look like at their numbers in the other unit, where more of them stand there; None if not.

    A reading in degF taken for degC stands at 1.8 T + 32 of the target T (1050 degC looks like 1922), one in degC taken
    for degF at (T - 32) / 1.8; rates and tolerances differ by 1.8. A record that begins at room temperature as it is,
    and would not in the other unit, is in its own.
    """
    now = sum(p is not None and p.edges is not None for p in run.chamber.placed)
    trace = _as_written(run)
    first = trace.temp_c[: max(3, trace.between(trace.t_s[0], trace.t_s[0] + FIRST_S)[1])]
    begins_c = float(np.median(first))
    for unit, words in (
        ("F", "the trace stands where degrees F would"),
        ("C", "the trace stands where degrees C read as F would"),
    ):
        meant_c = to_celsius(begins_c, "F") if unit == "F" else from_celsius(begins_c, "F")
        if _is_room(begins_c) and not _is_room(meant_c):
            continue
        recipe = _in_unit(run.recipe, unit)
        placed = place_holds(trace, recipe)
        there = [p for p in placed if p is not None and p.edges is not None and _stayed(p)]
        if len(there) > now and len(there) >= max(1, len(placed) // 2):
            pairs = [
                Says.of("{shown} for {meant}", shown=Temp(shown.target_c), meant=Temp(meant.target_c))
                for p, shown, meant in zip(placed, recipe.holds, run.recipe.holds, strict=True)
                if p is not None
            ]
            return Says.of("{words} ({pairs})", words=words, pairs=joined(pairs, ", "))
    return None


def _is_room(temp_c: float) -> bool:
    return ROOM_FROM_C <= temp_c <= ROOM_TO_C


def _stayed(placed: Placed) -> bool:
    """Whether a hold was held for a good part of what is asked."""
    return sum(s.end_s - s.start_s for s in placed.stays) >= STAYED * placed.hold.required_s


def _as_written(run: PlacedRun) -> Readings:
    """The chamber's readings, those kept too that no thermocouple can make in degC: 1922 is 1050 degC in degF."""
    value = run.read.run.values.get(run.chamber.name)
    trace = run.chamber.readings
    if value is None or np.nanmax(value) <= HOTTEST_C:
        return trace
    possible = np.isfinite(value) & (value >= COLDEST_C) & (value <= from_celsius(HOTTEST_C, "F"))
    return replace(trace, t_s=run.read.run.t_s[possible], temp_c=value[possible])


def _in_unit(recipe: Recipe, unit: str) -> Recipe:
    """The recipe with its numbers as they look in degF (``F``), or as degC read for degF (``C``)."""
    temp, size = (from_celsius, from_kelvin) if unit == "F" else (to_celsius, to_kelvin)

    def step(s: Ramp | Hold) -> Ramp | Hold:
        if isinstance(s, Ramp):
            rate = None if s.rate_c_per_h is None else size(s.rate_c_per_h, "F")
            return replace(s, to_c=temp(s.to_c, "F"), rate_c_per_h=rate)
        return replace(s, target_c=temp(s.target_c, "F"), below_c=size(s.below_c, "F"), above_c=size(s.above_c, "F"))

    return replace(recipe, steps=tuple(step(s) for s in recipe.steps))
