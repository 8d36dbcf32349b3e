"""From a trace to placed holds: searched with numpy, placed by the rules of ``places``."""

from __future__ import annotations

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.holds import assignment
from soakwitness.analysis.verification.holds.assignment import ArrayBlocks
from soakwitness.analysis.verification.inputs.readings import Readings
from soakwitness.analysis.verification.rules.places import Placed, Places, places_again, places_of, searched
from soakwitness.analysis.verification.rules.states import level_parts

__all__ = ["Placed", "level_parts", "place_again", "place_holds"]


def place_holds(
    readings: Readings, recipe: Recipe, *, reach_c: float = 0.0, blocks: ArrayBlocks | None = None
) -> Places:
    """Place every hold of a recipe on a trace, in the recipe's order; None where the run has no such hold.

    ``reach_c`` [K] is how far outside its band a level stretch may lie and still be taken for the hold, at least two
    bands; ``blocks`` the trace's block medians, where they are there already.
    """
    if not recipe.holds:
        return ()
    blocks = blocks or assignment.block_medians(readings.t_s, readings.temp_c, readings.period_s)
    assigned = assignment.assign(blocks, searched(recipe), resolution_c=readings.resolution_c)
    return places_of(readings, recipe, assigned, blocks, reach_c=reach_c)


def place_again(readings: Readings, recipe: Recipe, placed: Places, chamber_ends_s: float) -> Places:
    """The holds as placed on the chamber, which was read until ``chamber_ends_s`` [s], on a load sensor."""
    return places_again(readings, recipe, placed, chamber_ends_s, lambda: place_holds(readings, recipe))
