"""Which recipe a run followed: the expected levels are those the test itself draws."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.recipes.recognising import levels, recognise


def recipe(name: str, *holds: tuple[float, float], program: str = "") -> Recipe:
    steps = "".join(
        f'[[step]]\nramp = "full power"\nto = {to}\n[[step]]\nhold_minutes = {minutes}\ntolerance = 6\n'
        for to, minutes in holds
    )
    return parse_recipe(f'name = "{name}"\nunit = "C"\n{steps}{program}', name)


def trace(*corners: tuple[float, float], every_s: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Straight lines between (minutes, degC)."""
    t_s = np.arange(0.0, corners[-1][0] * 60, every_s)
    return t_s, np.interp(t_s, [m * 60 for m, _ in corners], [c for _, c in corners])


HARDEN = recipe("harden", (780, 10), (1040, 25))
OTHER = recipe("other steel", (780, 10), (1060, 25))
TEMPER = recipe("temper", (180, 120))
ALL = (HARDEN, OTHER, TEMPER)
HARDENED = ((0, 20), (30, 780), (42, 780), (75, 1040), (101, 1040), (103, 900), (200, 300), (400, 40))


def test_levels_are_where_the_temperature_stayed() -> None:
    found = levels(*trace(*HARDENED))
    stays = [(round(level.temp_c), level.stay_s / 60) for level in found if level.temp_c > 500]
    assert [temp for temp, _ in stays] == [780, 1040]
    assert stays[0][1] == pytest.approx(12, abs=2.1)
    assert stays[1][1] == pytest.approx(26, abs=2.1)


@pytest.mark.parametrize("every_s", [1.0, 60.0])
def test_the_recipe_is_recognised_from_the_temperature(every_s: float) -> None:
    t_s, temp_c = trace(*HARDENED, every_s=every_s)
    noisy = temp_c + np.random.default_rng(1).normal(0, 0.3, t_s.size)
    noisy[::50] = np.nan
    assert recognise(levels(t_s, noisy), ALL, by_setpoint=False).recipe is HARDEN


def test_a_setpoint_that_jumps_counts_from_the_jump() -> None:
    t_s, setpoint = trace((0, 780), (42, 780), (42.01, 1040), (101, 1040), (101.01, 20), (400, 20))
    assert recognise(levels(t_s, setpoint), ALL, by_setpoint=True).recipe is HARDEN


def test_the_programs_offset_is_what_the_setpoint_shows() -> None:
    offset = recipe("offset", (780, 10), (1040, 25), program="[program]\noffset = 6\n")
    t_s, setpoint = trace((0, 786), (42, 786), (42.01, 1046), (101, 1046), (101.01, 20), (400, 20))
    found = levels(t_s, setpoint)
    assert recognise(found, (HARDEN, offset), by_setpoint=True).recipe is offset


def test_two_recipes_that_fit_alike_are_not_told_apart() -> None:
    again = recipe("the same", (780, 10), (1040, 25))
    found = recognise(levels(*trace(*HARDENED)), (HARDEN, again), by_setpoint=False)
    assert found.recipe is None
    assert "fit equally well" in str(found.says)


@pytest.mark.parametrize(
    "corners",
    [
        ((0, 20), (30, 780), (42, 780), (60, 300)),  # ended early
        ((0, 20), (30, 780), (42, 780), (75, 1040), (80, 1040), (90, 600)),  # a hold far too short
        ((0, 20), (30, 780), (42, 780), (60, 900), (90, 900), (100, 1040), (126, 1040), (150, 400)),  # a strange stay
        ((0, 20), (1, 21)),
    ],
)
def test_what_follows_no_recipe_is_not_given_one(corners: tuple[tuple[float, float], ...]) -> None:
    assert recognise(levels(*trace(*corners)), ALL, by_setpoint=False).recipe is None
