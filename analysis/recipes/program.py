"""What is typed into the controller for a recipe, deliberate differences included, and what its setpoint then does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import difference, duration, rate, temperature


@dataclass(frozen=True)
class ProgramStep:
    """One step as typed in: a way to ``setpoint_c`` (``hold_s`` None) or a stay there for ``hold_s``.

    ``rate_c_per_h`` is None for full power, where the setpoint jumps or waits for the furnace.
    """

    number: int
    cycle: int
    kind: str
    setpoint_c: float
    rate_c_per_h: float | None = None
    hold_s: float | None = None


def program_setpoints(recipe: Recipe, set_to_c: Mapping[int, float] | None = None) -> tuple[ProgramStep, ...]:
    """List what the setpoint should follow: the recipe with its deliberate offset and extra minutes.

    ``set_to_c``: what the control sensor shows when a hold is truly at its target [degC], by the number of its step.
    Returns one for each step of the recipe, in order, with the same number.
    """
    offset_c, extra_s, known = recipe.program.offset_c, recipe.program.extra_s, set_to_c or {}
    typed = []
    for place, step in enumerate(recipe.steps):
        if isinstance(step, Hold):
            at_c = known.get(step.number, step.target_c) + offset_c
            typed.append(ProgramStep(step.number, step.cycle, "hold", at_c, hold_s=step.required_s + extra_s))
        else:
            following = recipe.steps[place + 1] if place + 1 < len(recipe.steps) else None
            to_c = known.get(following.number, step.to_c) if isinstance(following, Hold) else step.to_c
            typed.append(ProgramStep(step.number, step.cycle, "ramp", to_c + offset_c, step.rate_c_per_h))
    return tuple(typed)


def program_sentences(
    recipe: Recipe, unit: Unit | None = None, set_to_c: Mapping[int, float] | None = None
) -> tuple[str, ...]:
    """Say what to type into the controller.

    ``unit``: ``C`` or ``F``, the unit the controller shows; the recipe's own where None. ``set_to_c``: what the control
    sensor shows when a hold is truly at its target [degC], by the number of its step. Returns sentences in the order of
    typing; the last ones say what is deliberate, and what comes between rounds.
    """
    shown = unit or recipe.unit
    rounds: dict[int, list[str]] = {}
    for step in program_setpoints(recipe, set_to_c):
        rounds.setdefault(step.cycle, []).append(_typed(step, shown))
    first, *others = rounds.values()
    says = list(first)
    cool = ""
    if recipe.cool_below_c is not None:
        cool = f" after every piece has cooled below {temperature(recipe.cool_below_c, shown)}"
    if others and all(other == first for other in others):
        again = "once more," if len(others) == 1 else f"{len(others)} times more, each time"
        says.append(f"Run the same program {again}{cool}.".replace(",.", "."))
    else:
        for number, other in enumerate(others, start=2):
            says += [f"Round {number},{cool}:" if cool else f"Round {number}:", *other]
    return (*says, _deliberate(recipe, shown, calibrated=bool(set_to_c)))


def _typed(step: ProgramStep, unit: Unit) -> str:
    goal = temperature(step.setpoint_c, unit)
    if step.hold_s is not None:
        return f"Stay at {goal} for {duration(step.hold_s)}."
    if step.rate_c_per_h is None:
        return f"Go to {goal} as fast as the furnace can."
    return f"Go to {goal} at {rate(step.rate_c_per_h, unit)}."


def _deliberate(recipe: Recipe, unit: Unit, *, calibrated: bool) -> str:
    program = recipe.program
    parts = []
    if program.offset_c:
        where = "above" if program.offset_c > 0 else "below"
        parts.append(f"every temperature is {difference(abs(program.offset_c), unit)} {where} the recipe")
    if program.extra_s:
        parts.append(f"every hold is {duration(program.extra_s)} longer than the recipe")
    if not parts and calibrated:
        return "The sensor shows these when the recipe's temperatures are there: no offset, no extra minutes."
    if not parts:
        return "These are the recipe's own figures: no offset, no extra minutes."
    twice = ""
    if calibrated and program.offset_c:
        twice = " What is known of the sensor counts besides: an offset meant for its error or its place counts twice."
    return f"On purpose, {' and '.join(parts)}.{twice}"
