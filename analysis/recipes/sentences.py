"""A recipe in sentences, so that a person can see whether the file says what was meant."""

from __future__ import annotations

from itertools import pairwise

from soakwitness.analysis.recipes.model import DEFAULT_HOT_S, Hold, Quench, Ramp, Recipe
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import difference, duration, number, rate, temperature

ROOM_C = 20.0


def step_sentences(recipe: Recipe, unit: Unit | None = None) -> tuple[str, ...]:
    """Say each step as one sentence.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    unit : str, optional
        ``C`` or ``F``, to be shown; the recipe's own where None.

    Returns
    -------
    tuple of str
        One for each step, in order, without its number.
    """
    shown = unit or recipe.unit
    sentences: list[str] = []
    for before, step in pairwise((None, *recipe.steps)):
        if isinstance(step, Hold):
            sentences.append(_hold(step, shown))
        elif isinstance(step, Ramp):
            sentences.append(_ramp(recipe, before, step, shown))
    return tuple(sentences)


def recipe_sentences(recipe: Recipe, unit: Unit | None = None) -> tuple[str, ...]:
    """Say what the recipe asks beside its steps: load, packet, quench, rounds, order, hardness.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    unit : str, optional
        ``C`` or ``F``, to be shown; the recipe's own where None.

    Returns
    -------
    tuple of str
        One sentence for each subject that the recipe speaks of.
    """
    shown = unit or recipe.unit
    says = ["The charge goes into the cold furnace and rides the first ramp."]
    if recipe.load_at_c is not None:
        says = [
            f"The charge goes into the hot furnace at {temperature(recipe.load_at_c, shown)}; "
            "no soak counts before its load mark."
        ]
    if recipe.packet is not None:
        says.append(_packet(recipe))
    if recipe.repeat > 1 and recipe.cool_below_c is not None:
        says.append(
            f"{recipe.repeat} rounds; between them every piece cools below {temperature(recipe.cool_below_c, shown)}, "
            "judged on the piece, never on the furnace."
        )
    elif recipe.repeat > 1:
        says.append(f"{recipe.repeat} rounds.")
    if recipe.quench is not None:
        says.append(_quench(recipe.quench, shown))
    if recipe.order:
        says.append(f"Order of the treatments: {', then '.join(recipe.order)}.")
    for limits, when in ((recipe.hardness_as_quenched, "as quenched"), (recipe.hardness_final, "at the end")):
        if limits is not None:
            says.append(f"Hardness {when}: {number(limits[0])} to {number(limits[1])} HRC.")
    if recipe.decide_on is not None:
        says.append(f"The verdict is the one on the {recipe.decide_on}.")
    return tuple(says)


def _ramp(recipe: Recipe, before: Ramp | Hold | None, step: Ramp, unit: Unit) -> str:
    new_round = before is not None and before.cycle != step.cycle
    first = before is None or (new_round and recipe.cool_below_c is not None)
    from_c = ROOM_C if before is None or first else before.to_c if isinstance(before, Ramp) else before.target_c
    up = step.to_c > from_c
    to = temperature(step.to_c, unit)
    if step.rate_c_per_h is None:
        says = f"heat at full power to {to}" if up else f"let the furnace cool freely to {to}"
    else:
        word = "heat" if up else "cool"
        time_s = 3600.0 * abs(step.to_c - from_c) / step.rate_c_per_h
        says = f"{word} at {rate(step.rate_c_per_h, unit)} to {to}, about {duration(time_s)}"
    limits = [
        f"no {word} than {rate(pace, unit)}"
        for word, pace in (("slower", step.min_rate_c_per_h), ("faster", step.max_rate_c_per_h))
        if pace is not None
    ]
    says += "".join(f", {text}" for text in limits)
    if new_round and recipe.cool_below_c is not None:
        says = f"let every piece cool below {temperature(recipe.cool_below_c, unit)}, then {says}"
    return says[0].upper() + says[1:] + "."


def _hold(step: Hold, unit: Unit) -> str:
    target, band = temperature(step.target_c, unit), f"{temperature(step.lower_c, unit)} to "
    parts = [f"Hold {target} for {duration(step.required_s)}, within {band}{temperature(step.upper_c, unit)}"]
    if step.at_most_s is not None:
        parts.append(f"at most {duration(step.at_most_s)}")
    if step.max_overshoot_c is not None:
        parts.append(f"never more than {difference(step.max_overshoot_c, unit)} over the target")
    if step.judge_by == "mean":
        parts.append("judged by the mean over the soak and the highest reading")
    elif step.dip_s > 0:
        parts.append(f"a dip of at most {duration(step.dip_s)} pauses the soak, a longer one starts it again")
    else:
        parts.append("any dip below the band starts the soak again")
    if step.hot_s != DEFAULT_HOT_S:
        parts.append(f"a bare chamber may be over its limit for {duration(step.hot_s)}")
    if step.soak_from == "control":
        parts.append("the soak counts at the control sensor")
    if not step.judged:
        parts.append("reported, no part of the verdict")
    return "; ".join(parts) + "."


def _packet(recipe: Recipe) -> str:
    packet = recipe.packet
    assert packet is not None
    count = "one blade" if packet.blades == 1 else f"{packet.blades} blades"
    foil = f"in {packet.foil_mm:g} mm foil" if packet.foil else "without foil"
    faces = "one face" if packet.heated_faces == 1 else "both faces"
    measured = f"; what its packet does was measured: {recipe.measured}" if recipe.measured else ""
    return f"A piece is {count} {packet.thickness_mm:g} mm thick, {foil}, heated on {faces}{measured}."


def _quench(quench: Quench, unit: Unit) -> str:
    says = f"Quench: {quench.medium}"
    if quench.within_s is not None:
        says += f", within {duration(quench.within_s)} of the pull"
    if quench.cool_from_c is not None and quench.cool_to_c is not None and quench.cool_within_s is not None:
        says += (
            f"; from {temperature(quench.cool_from_c, unit)} to {temperature(quench.cool_to_c, unit)} "
            f"within {duration(quench.cool_within_s)}"
        )
    return says + "."
