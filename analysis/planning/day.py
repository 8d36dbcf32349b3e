"""The day after the furnace: when the cold treatment is due, when each temper begins and ends, by common practice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from soakwitness.analysis.planning.plan import Plan
from soakwitness.analysis.recipes.recipe import HARDENING_FROM_C, Hold, Ramp, Recipe
from soakwitness.analysis.recipes.waits import COLD_WITHIN_S, TEMPER_BY_S

# Common practice, no source; said to be so where they are used.
HAND_WARM_S = 15 * 60.0  # from the plates to hand-warm
COLD_S = 3600.0  # a cold treatment
TEMPER_S, TEMPERS = 2 * 3600.0, 2
HEATS_UP_S = 30 * 60.0  # an oven until its blades are at the temper
COOLS_S = 3600.0  # between two tempers, until every piece is at room temperature
USUAL_ORDER = ("harden", "temper", "temper")


@dataclass(frozen=True)
class DayStep:
    """One treatment after the quench, times from the start of the furnace [s].

    ``by_s`` is when it should have begun at the latest, None where nothing presses; ``number`` counts tempers from 1.
    """

    kind: str
    number: int
    begins_s: float
    ends_s: float
    by_s: float | None = None
    target_c: float | None = None


@dataclass(frozen=True)
class Day:
    """What comes after the quench; ``assumed`` says what no recipe told."""

    steps: tuple[DayStep, ...]
    hand_warm_s: float
    assumed: tuple[str, ...]


def hardens(recipe: Recipe) -> bool:
    """Whether a recipe is one for hardening: its pieces come hot out of its hottest hold, or it names a quench."""
    hottest_c = max((hold.target_c for hold in recipe.holds), default=0.0)
    return hottest_c >= HARDENING_FROM_C and (recipe.quench is not None or recipe.holds[-1].target_c == hottest_c)


def day_of(plan: Plan) -> Day | None:
    """The treatments that follow a hardening, in the order that its recipe states; None for any other recipe."""
    recipe, temper = plan.inputs.recipe, plan.inputs.temper
    if not hardens(recipe):
        return None
    order = recipe.order or USUAL_ORDER
    after = order[order.index("harden") + 1 :] if "harden" in order else order
    out_s = plan.out.best_s
    return Day(tuple(_steps(after, temper, out_s)), out_s + HAND_WARM_S, tuple(_assumed(recipe, temper, after)))


def rounds_of(plan: Plan) -> tuple[DayStep, ...]:
    """The rounds after the first of a recipe that repeats itself, as long as that; what is between them is assumed."""
    recipe, out_s = plan.inputs.recipe, plan.out.best_s
    each_s = out_s + (COOLS_S if recipe.cool_below_c is not None else 0.0)
    return tuple(
        DayStep("round", number, (number - 1) * each_s, (number - 1) * each_s + out_s)
        for number in range(2, recipe.repeat + 1)
    )


def _steps(after: tuple[str, ...], temper: Recipe | None, out_s: float) -> Iterator[DayStep]:
    now_s, tempers = out_s + HAND_WARM_S, 0
    cold_first = "temper" in after and after.index("temper") > 0
    cold_s = TEMPER_BY_S - COLD_S - COOLS_S if cold_first else COLD_WITHIN_S
    due = {"cold treatment": out_s + cold_s, "temper": out_s + TEMPER_BY_S}
    hold_s, target_c = _temper(temper)
    for kind in _as_often(after, temper):
        tempers += kind == "temper"
        lasts_s = hold_s if kind == "temper" else COLD_S
        first = kind != "temper" or tempers == 1
        yield DayStep(kind, tempers, now_s, now_s + lasts_s, due.get(kind) if first else None, target_c)
        now_s += lasts_s + COOLS_S


def _as_often(after: tuple[str, ...], temper: Recipe | None) -> tuple[str, ...]:
    """The order with as many tempers as the temper's own recipe has rounds, where the order names fewer."""
    rounds = 0 if temper is None else temper.repeat
    missing = rounds - after.count("temper")
    return (*after, *("temper",) * max(missing, 0))


def _temper(temper: Recipe | None) -> tuple[float, float | None]:
    """How long one temper takes with its climb [s], and at what temperature."""
    if temper is None or not temper.holds:
        return HEATS_UP_S + TEMPER_S, None
    steps = [step for step in temper.steps if step.cycle == 1]
    held_s = sum(step.required_s for step in steps if isinstance(step, Hold))
    rates = [step.rate_c_per_h for step in steps if isinstance(step, Ramp)]
    slowest = None if None in rates else min((rate for rate in rates if rate is not None), default=None)
    climbs_s = HEATS_UP_S if slowest is None else 3600.0 * temper.holds[-1].target_c / slowest
    return held_s + climbs_s, temper.holds[-1].target_c


def _assumed(recipe: Recipe, temper: Recipe | None, after: tuple[str, ...]) -> Iterator[str]:
    if not recipe.order:
        yield f"the recipe states no order: {TEMPERS} tempers are assumed"
    if temper is None and "temper" in after:
        yield "the tempers are taken as 2 h each and 30 min of climbing"
    if "cold treatment" in after:
        yield "the cold treatment is taken as 1 h"
