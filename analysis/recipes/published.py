"""A recipe beside what is published for its steel."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from soakwitness.analysis.metallurgy.published_treatments import CONFIRM, Steel, SteelFigure, What, span_words
from soakwitness.analysis.recipes.recipe import HARDENING_FROM_C, Hold, Recipe
from soakwitness.firmware_bridge.common.units import Unit, from_celsius, to_celsius
from soakwitness.firmware_bridge.common.wording import duration, number, temperature

NEAR_C = 15.0  # single published temperatures stand for their surroundings
ROUNDED_C = 1.0  # 1950 °F is published as 1065 and as 1066 °C
FAR_SHORTER = 0.5  # of the shortest published soak: sources part by less
MEDIA = {"oil": "oil", "water": "water", "brine": "water", "air": "air", "plates": "air", "plate": "air"}


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
    beside = (*_short_soak(recipe, hottest_c, steel), *_other_quench(recipe, steel), *_too_hard(recipe, steel, shown))
    return (*says, *beside, *_cold_order(recipe, steel), *_wrong_unit(recipe, hottest_c, steel))


def _short_soak(recipe: Recipe, hottest_c: float, steel: Steel) -> Iterator[str]:
    """A hardening hold far shorter than any that is published."""
    soaks = [figure for figure in steel.all("soak") if figure.min_low is not None]
    if hottest_c < HARDENING_FROM_C or not soaks:
        return
    least_s = 60.0 * min(figure.min_low or 0.0 for figure in soaks)
    for hold in recipe.holds:
        if hold.target_c == hottest_c and hold.cycle == 1 and hold.required_s < FAR_SHORTER * least_s:
            yield (
                f"Step {hold.number} holds for {duration(hold.required_s)}; for {steel.name} no less than "
                f"{duration(least_s)} is published ({_sources(soaks)}). {CONFIRM}"
            )


def _other_quench(recipe: Recipe, steel: Steel) -> Iterator[str]:
    """A quench medium that no source names for the steel; plates count as air."""
    told = steel.all("quench")
    medium = recipe.quench.medium if recipe.quench is not None else ""
    mine = _media(medium)
    if told and mine and not mine & frozenset().union(*(_media(figure.note) for figure in told)):
        published = "; ".join(dict.fromkeys(figure.note for figure in told))
        yield f"The quench is in {medium}; for {steel.name} is published: {published} ({_sources(told)}). {CONFIRM}"


def _media(words: str) -> frozenset[str]:
    found = re.findall(r"[a-z]+", words.lower())
    return frozenset(MEDIA[word] for word in found if word in MEDIA)


def _too_hard(recipe: Recipe, steel: Steel, unit: Unit) -> Iterator[str]:
    """Limits of hardness that no source reaches: as quenched, and after the recipe's temper."""
    quenched = [f for f in steel.all("as quenched") if f.hrc_high is not None]
    tempers = [hold for hold in recipe.holds if hold.target_c < HARDENING_FROM_C and _is_temper(hold, recipe)]
    for hold in tempers[-1:]:
        near = [f for f in steel.of("temper") if f.hrc_low is not None and _near(f, hold.target_c)]
        yield from _above(recipe.hardness_final, near, f"after {temperature(hold.target_c, unit)}", steel)
    yield from _above(recipe.hardness_as_quenched, quenched, "as quenched", steel)


def _is_temper(hold: Hold, recipe: Recipe) -> bool:
    hottest = max(recipe.holds, key=lambda one: one.target_c)
    return hottest.target_c < HARDENING_FROM_C or hold.number > hottest.number


def _near(figure: SteelFigure, temp_c: float) -> bool:
    low_c, high_c = figure.low_c or 0.0, figure.high_c or figure.low_c or 0.0
    return low_c - NEAR_C <= temp_c <= high_c + NEAR_C


def _above(asked: tuple[float, float] | None, figures: Sequence[SteelFigure], when: str, steel: Steel) -> Iterator[str]:
    """A lowest hardness above the highest that is published."""
    if asked is None or not figures:
        return
    best = max(figure.hrc_high or figure.hrc_low or 0.0 for figure in figures)
    if asked[0] > best:
        yield (
            f"At least {number(asked[0])} HRC is asked for {when}; for {steel.name} no more than {number(best)} is "
            f"published ({_sources(figures)}). {CONFIRM}"
        )


def _cold_order(recipe: Recipe, steel: Steel) -> Iterator[str]:
    """Cold treatment and temper in an order that no source names."""
    order, told = recipe.order, steel.all("cold treatment")
    if not told or "cold treatment" not in order or "temper" not in order:
        return
    mine = "before" if order.index("cold treatment") < order.index("temper") else "after"
    if not any(mine in figure.note.split() for figure in told):
        published = "; ".join(dict.fromkeys(figure.note for figure in told))
        yield (
            f"The cold treatment comes {mine} the first temper; for {steel.name} is published: {published} "
            f"({_sources(told)}). {CONFIRM}"
        )


def _sources(figures: Sequence[SteelFigure]) -> str:
    return ", ".join(dict.fromkeys(figure.source for figure in figures))


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
    spare = NEAR_C if low_c == high_c or len(figures) > 1 else ROUNDED_C
    if low_c - spare <= hold.target_c <= high_c + spare:
        return []
    side = "below" if hold.target_c < low_c else "above"
    span = span_words(SteelFigure(steel.name, what, low_c, high_c), unit)
    return [
        f"Step {hold.number} holds {temperature(hold.target_c, unit)}, {side} what is published for {steel.name} "
        f"({what}: {span}; {_sources(figures)}). {CONFIRM}"
    ]
