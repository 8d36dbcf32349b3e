"""A recipe against time, to be drawn: corners, holds, and what had to be assumed for full-power ramps."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.recipes.recipe import Hold, Recipe

ROOM_C = 20.0
ASSUMED_C_PER_H = 900.0  # a small furnace at full power takes about an hour to 900 degC; drawn only, and said so


@dataclass(frozen=True)
class Corner:
    """A point of the recipe's line: time [s] and temperature [degC]."""

    t_s: float
    temp_c: float


@dataclass(frozen=True)
class HoldSpan:
    """A hold with its place on the recipe's own time [s]."""

    hold: Hold
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Profile:
    """The recipe's line; ``assumed_c_per_h`` is the rate given to full-power ramps [K/h], None where there are none."""

    corners: tuple[Corner, ...]
    holds: tuple[HoldSpan, ...]
    assumed_c_per_h: float | None


def recipe_profile(recipe: Recipe, *, start_c: float = ROOM_C, assumed_c_per_h: float = ASSUMED_C_PER_H) -> Profile:
    """Lay a recipe out against time.

    ``recipe``: the recipe; its rounds follow one another, with cooling between them where it says so.
    ``assumed_c_per_h``: rate given to full-power ramps and free cooling [K/h].
    """
    corners, holds = [Corner(0.0, start_c)], []
    assumed = False

    def go(to_c: float, rate_c_per_h: float | None) -> None:
        nonlocal assumed
        assumed = assumed or rate_c_per_h is None
        spent_s = 3600.0 * abs(to_c - corners[-1].temp_c) / (rate_c_per_h or assumed_c_per_h)
        corners.append(Corner(corners[-1].t_s + spent_s, to_c))

    cycle = 1
    for step in recipe.steps:
        if step.cycle != cycle and recipe.cool_below_c is not None:
            go(recipe.cool_below_c, None)
        cycle = step.cycle
        if isinstance(step, Hold):
            start_s = corners[-1].t_s
            corners.append(Corner(start_s + step.required_s, step.target_c))
            holds.append(HoldSpan(step, start_s, corners[-1].t_s))
        else:
            go(step.to_c, step.rate_c_per_h)
    return Profile(tuple(corners), tuple(holds), assumed_c_per_h if assumed else None)
