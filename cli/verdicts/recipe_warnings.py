"""What looks unintended in a recipe, and where it leaves what is published for its steel."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Recipe


def recipe_warnings(loaded: Recipe, logbook: Path, unit: Unit | None) -> tuple[str, ...]:
    """Say what looks unintended; ``logbook`` has the shop's own steels."""
    from soakwitness.analysis.metallurgy.published_treatments import OWN_FILE, find_steel, known_steels
    from soakwitness.analysis.recipes.doubts import doubts
    from soakwitness.analysis.recipes.published import recipe_outside

    says = doubts(loaded, unit)
    if loaded.steel is None:
        return says
    steel = find_steel(loaded.steel, known_steels(logbook / OWN_FILE))
    if steel is None:
        return (*says, f"No published figures for {loaded.steel} are known here; see: soakwitness steels.")
    return (*says, *recipe_outside(loaded, steel, unit))
