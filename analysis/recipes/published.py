"""A recipe beside what is published for its steel."""

from __future__ import annotations

from soakwitness.analysis.metallurgy.published_treatments import CONFIRM, Steel, SteelFigure, What, span_words
from soakwitness.analysis.recipes.recipe import Hold, Recipe
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_celsius
from soakwitness.firmware_bridge.common.wording import temperature

HARDENING_FROM_C = 700.0  # no steel here is hardened below, or tempered above
NEAR_C = 15.0  # single published temperatures stand for their surroundings


def recipe_outside(recipe: Recipe, steel: Steel, unit: Unit | None = None) -> tuple[str, ...]:
    """Say where a recipe leaves the published range of its steel.

    ``recipe``: the recipe; its hottest hold counts as hardening from 700 degC on, the ones before it as preheats,
    colder ones after it (or without it) as tempers. ``unit``: ``C`` or ``F``, to be shown; the recipe's own where None.
    """
    shown = unit or recipe.unit
    hottest_c = max((hold.target_c for hold in recipe.holds), default=0.0)
    hardened = hottest_c < HARDENING_FROM_C
    says: list[str] = []
    for hold in recipe.holds:
        if hold.cycle > 1:
            break
        if not hardened and hold.target_c < hottest_c:
            continue  # a preheat, of which single figures are published at most
        says += _outside(hold, "temper" if hold.target_c < HARDENING_FROM_C else "harden", steel, shown)
        hardened = True
    return (*says, *_wrong_unit(recipe, hottest_c, steel))


def _wrong_unit(recipe: Recipe, hottest_c: float, steel: Steel) -> tuple[str, ...]:
    """Ask about the unit where the hottest hold would harden this steel if its number were read in the other one."""
    other, read_c = ("C", from_celsius(hottest_c, "F")) if recipe.unit == "F" else ("F", to_celsius(hottest_c, "F"))
    for figure in steel.of("harden"):
        low_c, high_c = figure.low_c or 0.0, figure.high_c or figure.low_c or 0.0
        if low_c - NEAR_C <= read_c <= high_c + NEAR_C:
            return (f'Read as °{other}, the hottest hold would harden {steel.name}: is unit = "{recipe.unit}" meant?',)
    return ()


def _outside(hold: Hold, what: What, steel: Steel, unit: Unit) -> list[str]:
    figures = steel.of(what)
    if not figures:
        return []
    lows = [f.low_c for f in figures if f.low_c is not None]
    highs = [f.high_c if f.high_c is not None else f.low_c for f in figures if f.low_c is not None]
    low_c, high_c = min(lows), max(h for h in highs if h is not None)
    spare = NEAR_C if low_c == high_c or len(figures) > 1 else 0.0
    if low_c - spare <= hold.target_c <= high_c + spare:
        return []
    side = "below" if hold.target_c < low_c else "above"
    span = span_words(SteelFigure(steel.name, what, low_c, high_c), unit)
    sources = ", ".join(dict.fromkeys(f.source for f in figures))
    return [
        f"Step {hold.number} holds {temperature(hold.target_c, unit)}, {side} what is published for {steel.name} "
        f"({what}: {span}; {sources}). {CONFIRM}"
    ]
