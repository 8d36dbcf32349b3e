"""Drafts of recipes: of every known steel, inside what is published for it, each number with its source."""

from __future__ import annotations

import re

import pytest

from soakwitness.analysis.errors import RecipeError
from soakwitness.analysis.metallurgy.published_treatments import Steel, SteelFigure, published_steels
from soakwitness.analysis.recipes.draft import OPEN, NoDraft, hardening_draft, temper_draft
from soakwitness.analysis.recipes.published import recipe_outside
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.firmware_bridge.common.units import Unit

HARDENED = [steel for steel in published_steels() if steel.of("harden")]


def filled(text: str) -> str:
    return text.replace(f'"{OPEN}"', "20")


@pytest.mark.parametrize("unit", ["C", "F"])
@pytest.mark.parametrize("steel", HARDENED, ids=lambda steel: steel.name)
def test_a_draft_lies_inside_what_is_published(steel: Steel, unit: Unit) -> None:
    text = hardening_draft(steel, unit)
    recipe = parse_recipe(filled(text))
    hottest_c = max(hold.target_c for hold in recipe.holds)
    spans = [(f.low_c or 0.0, f.high_c or f.low_c or 0.0) for f in steel.of("harden")]
    assert any(low - 1e-6 <= hottest_c <= high + 1e-6 for low, high in spans)
    assert recipe_outside(recipe, steel) == ()
    assert all(len(line) <= 98 for line in text.splitlines())


@pytest.mark.parametrize("steel", HARDENED, ids=lambda steel: steel.name)
def test_every_published_number_of_a_draft_has_its_source_beside_it(steel: Steel) -> None:
    lines = hardening_draft(steel).splitlines()
    for at, line in enumerate(lines):
        if re.match(r"(to|hold_minutes|# at_most_minutes|as_quenched|medium) =", line):
            beside = " ".join(lines[at + 1 : at + 5])
            sources = [f.source.split()[0] for f in steel.figures]
            assert "no source" in beside or "No soak is published" in beside or any(s in beside for s in sources), line


def test_a_draft_with_an_open_number_does_not_load() -> None:
    steel = next(s for s in HARDENED if not s.all("soak"))
    with pytest.raises(RecipeError, match="hold_minutes"):
        parse_recipe(hardening_draft(steel))


def test_what_all_sources_share_is_drafted_else_the_best_of_them() -> None:
    def steel(*figures: SteelFigure) -> Steel:
        return Steel("X", (), figures)

    wide = SteelFigure("X", "harden", 1000.0, 1060.0, source="a", grade="trade")
    shared = hardening_draft(steel(wide, SteelFigure("X", "harden", 1040.0, 1080.0, source="b", grade="standard")))
    apart = hardening_draft(steel(wide, SteelFigure("X", "harden", 1080.0, 1100.0, source="b", grade="standard")))
    assert "to = 1050\n" in shared
    assert "to = 1090\n" in apart


def test_tempers_are_drafted_at_published_temperatures_only() -> None:
    steel = next(s for s in HARDENED if s.name == "S44004")
    recipe = parse_recipe(filled(temper_draft(steel, 204.0)))
    assert [round(hold.target_c) for hold in recipe.holds] == [204, 204]
    with pytest.raises(NoDraft, match="149 °C"):
        temper_draft(steel, 600.0)


def test_a_steel_without_a_hardening_temperature_says_what_to_do() -> None:
    with pytest.raises(NoDraft, match="soakwitness steels add"):
        hardening_draft(Steel("X", (), ()))
