"""How a recipe wants its pieces handled at the furnace. Standard library only."""

from __future__ import annotations

from soakwitness.analysis.recipes.recipe import HARDENING_FROM_C, Recipe
from soakwitness.firmware_bridge.marks.expecting import Practice


def practice_of(recipe: Recipe | None) -> Practice:
    """Whether pieces are quenched one by one is told by the recipe's quench, else by how hot its hottest hold is."""
    if recipe is None:
        return Practice()
    hottest_c = max((hold.target_c for hold in recipe.holds), default=HARDENING_FROM_C)
    quenched = recipe.quench is not None or hottest_c >= HARDENING_FROM_C
    return Practice(recipe.load, quenched, recipe.repeat)
