"""What a careful reader would ask about a recipe that is written without a mistake."""

from __future__ import annotations

from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import difference, duration, rate, temperature

HOTTEST_USUAL_C = 1250.0  # high-speed steels; common practice, no source
BEST_WIRE, BEST_WIRE_FROM_C = 0.004, 375.0  # IEC 60584-1, type K, class 1, and from where on it is a share
SLOW_C_PER_H, FAST_C_PER_H = 20.0, 6000.0


def doubts(recipe: Recipe, unit: Unit | None = None) -> tuple[str, ...]:
    """Say what looks unintended in a recipe.

    ``unit``: ``C`` or ``F``, to be shown; the recipe's own where None.
    """
    shown = unit or recipe.unit
    says: list[str] = []
    for step in recipe.steps:
        if step.cycle > 1:
            break
        says += _ramp_doubts(recipe, step, shown) if isinstance(step, Ramp) else _hold_doubts(step, shown)
    if recipe.holds and not any(hold.judged for hold in recipe.holds):
        says.append("No hold is judged, so the verdict rests on ramps and the quench alone.")
    if not recipe.holds:
        says.append("The recipe has no hold, so there is no soak to prove.")
    if recipe.cool_below_c is not None and recipe.steps[-1].cycle == 1:
        says.append("cool_below is given without repeat = 2; it says nothing for a single round.")
    if recipe.load_at_c is not None and all(abs(recipe.load_at_c - h.target_c) > 50.0 for h in recipe.holds):
        says.append(f"The charge goes in at {temperature(recipe.load_at_c, shown)}, where the recipe has no hold.")
    return tuple(says)


def _ramp_doubts(recipe: Recipe, step: Ramp, unit: Unit) -> list[str]:
    says = []
    if step.to_c > HOTTEST_USUAL_C:
        hint = ' Is it degrees Fahrenheit (unit = "F")?' if recipe.unit == "C" else ""
        says.append(
            f"Step {step.number} goes to {temperature(step.to_c, unit)}, hotter than blade steels are heated.{hint}"
        )
    pace = step.rate_c_per_h
    if pace is not None and not SLOW_C_PER_H <= pace <= FAST_C_PER_H:
        hint = "Rates are per hour, not per minute." if pace < SLOW_C_PER_H else "No small furnace is that fast."
        says.append(f"Step {step.number} asks for {rate(pace, unit)}. {hint}")
    return says


def _hold_doubts(step: Hold, unit: Unit) -> list[str]:
    says = []
    if step.max_overshoot_c is not None and step.max_overshoot_c > step.above_c:
        says.append(
            f"Step {step.number} allows {difference(step.max_overshoot_c, unit)} of overshoot, "
            f"but its band ends {difference(step.above_c, unit)} above the target."
        )
    wire_c, finest_c = BEST_WIRE * step.target_c, min(step.below_c, step.above_c)
    if step.judged and finest_c < wire_c and step.target_c >= BEST_WIRE_FROM_C:
        says.append(
            f"Step {step.number} has a band of {difference(finest_c, unit)}, finer than new wire reads (type K of the "
            f"best class: {difference(wire_c, unit)}): only a calibration can prove it."
        )
    if step.dip_s >= step.required_s:
        says.append(
            f"Step {step.number} lets a dip of {duration(step.dip_s)} pass in a hold that is no longer than that."
        )
    if step.below_c > 0.1 * max(step.target_c, 100.0):
        says.append(f"Step {step.number} has a wide band: {difference(step.below_c, unit)} below its target.")
    return says
