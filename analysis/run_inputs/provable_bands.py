"""Which bands of a recipe are finer than a furnace's control sensor can prove."""

from __future__ import annotations

from collections.abc import Iterator

from soakwitness.analysis.calibration.uncertainty.decision import acceptance_limit
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.analysis.run_inputs.controller_settings import Settings
from soakwitness.firmware_bridge.common.wording import Diff, Says, Temp, Value


def unprovable_bands(recipe: Recipe, settings: Settings) -> tuple[Says, ...]:
    """Say of each judged hold what no reading of the control sensor could prove: the guard bands meet, or U is unknown.

    ``settings``: what is known of that sensor at the recipe's temperatures.
    """
    return tuple(_unprovable(recipe, settings))


def _unprovable(recipe: Recipe, settings: Settings) -> Iterator[Says]:
    for hold in (step for step in recipe.steps if isinstance(step, Hold) and step.judged and step.cycle == 1):
        u_c = settings.expanded_c.get(hold.number)
        more: dict[str, Value] = {"step": str(hold.number), "sensor": settings.sensor, "target": Temp(hold.target_c)}
        band: dict[str, Value] = {"low": Temp(hold.lower_c), "high": Temp(hold.upper_c)}
        if u_c is None:
            says = "Step {step}: no calibration in force of {sensor} reaches {target}, so the verdict is one as read."
            yield Says.of(says, **more)
        elif acceptance_limit(hold.lower_c, u_c, side="lower") > acceptance_limit(hold.upper_c, u_c, side="upper"):
            says = (
                "Step {step} has a band from {low} to {high}, finer than {sensor} can prove: it is known to ± {u} "
                "there (k = 2), so no reading is surely inside."
            )
            yield Says.of(says, **more, **band, u=Diff(u_c))
