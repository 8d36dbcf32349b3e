"""Recipes: DESIGN's example as written, units, every key, and mistakes answered with place, key, value, allowed."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from soakwitness.analysis.errors import RecipeError
from soakwitness.analysis.recipes.recipe import Hold, Ramp
from soakwitness.analysis.recipes.recipe_file import load_recipe, parse_recipe

FULL = """
name = "Stainless chef's blades, harden"
unit = "C"
steel = "S44004"
load = "cold"
decide_on = "true temperature"
order = ["stress relief", "harden", "cold treatment", "temper", "temper"]

[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 10
tolerance = 8
judged = false
[[step]]
ramp = 400
to = 1040
min_rate = 300
max_rate = 500
[[step]]
hold_minutes = 25
at_most_minutes = 40
tolerance_below = 6
tolerance_above = 7
max_overshoot = 5
dip_seconds = 90
hot_seconds = 45
soak_from = "control"
judge_by = "mean"

[packet]
thickness_mm = 4.5
foil = false
heated_faces = 1
blades = 2
foil_mm = 0.08

[quench]
medium = "oil"
within_s = 30
cool_from = 1000
cool_to = 400
cool_within_s = 120

[program]
offset = 4
extra_minutes = 2

[hardness]
as_quenched = [59, 62]
final = [58, 61]
"""

TEMPER = """
name = "temper"
unit = "C"
repeat = 2
cool_below = 50
[[step]]
ramp = "full power"
to = 200
[[step]]
hold_hours = 2
tolerance = 10
"""


def test_every_key_arrives() -> None:
    recipe = parse_recipe(FULL, "r.toml")
    assert recipe.steps == (
        Ramp(1, 780.0),
        Hold(2, 780.0, 8.0, 8.0, 600.0, judged=False, dip_s=120.0),
        Ramp(3, 1040.0, 400.0, 300.0, 500.0),
        Hold(4, 1040.0, 6.0, 7.0, 1500.0, 2400.0, True, 5.0, 90.0, 45.0, "control", "mean"),
    )
    assert (recipe.name, recipe.steel, recipe.load, recipe.decide_on) == (
        "Stainless chef's blades, harden",
        "S44004",
        "cold",
        "true temperature",
    )
    assert recipe.packet is not None
    assert (recipe.packet.thickness_mm, recipe.packet.foil, recipe.packet.heated_faces) == (4.5, False, 1)
    assert (recipe.packet.blades, recipe.packet.foil_mm) == (2, 0.08)
    assert recipe.quench is not None
    assert (recipe.quench.medium, recipe.quench.within_s, recipe.quench.cool_within_s) == ("oil", 30.0, 120.0)
    assert (recipe.quench.cool_from_c, recipe.quench.cool_to_c) == (1000.0, 400.0)
    assert (recipe.program.offset_c, recipe.program.extra_s) == (4.0, 120.0)
    assert (recipe.hardness_as_quenched, recipe.hardness_final) == ((59.0, 62.0), (58.0, 61.0))
    assert recipe.order == ("stress relief", "harden", "cold treatment", "temper", "temper")


def test_a_file_keeps_its_text_and_digest(tmp_path: Path) -> None:
    path = tmp_path / "r.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FULL.encode())
    recipe = load_recipe(path)
    assert recipe.text == FULL
    assert recipe.source == str(path)
    assert recipe.digest == hashlib.sha256(path.read_bytes()).hexdigest()


def test_repeat_writes_the_steps_out() -> None:
    recipe = parse_recipe(TEMPER)
    assert [(step.number, step.cycle, step.kind) for step in recipe.steps] == [
        (1, 1, "ramp"),
        (2, 1, "hold"),
        (3, 2, "ramp"),
        (4, 2, "hold"),
    ]
    assert recipe.cool_below_c == 50.0
    assert {hold.required_s for hold in recipe.holds} == {7200.0}


def test_rounds_written_out_need_cooling_between() -> None:
    again = TEMPER.replace("repeat = 2\n", "") + TEMPER[TEMPER.index("[[step]]") :].replace("hours = 2", "hours = 1")
    recipe = parse_recipe(again)
    assert recipe.repeat == 2
    assert [(step.number, step.cycle) for step in recipe.steps] == [(1, 1), (2, 1), (3, 2), (4, 2)]
    assert [hold.required_s for hold in recipe.holds] == [7200.0, 3600.0]
    with pytest.raises(RecipeError, match=r"\[\[step\]\] 3, to = 200: the step goes nowhere.*say cool_below = 50"):
        parse_recipe(again.replace("cool_below = 50\n", ""))


def test_fahrenheit_temperatures_and_differences() -> None:
    # t/degC = (t/degF - 32)/1.8, differences x 5/9: 1450 degF 787.78, 1950 degF 1065.56, 9 degF is 5 K (definition).
    text = FULL.replace('unit = "C"', 'unit = "F"').replace("780", "1450").replace("1040", "1950")
    text = text.replace("tolerance = 8", "tolerance = 9").replace("offset = 4", "offset = -18")
    recipe = parse_recipe(text.replace("ramp = 400", "ramp = 360").replace("max_rate = 500", "max_rate = 900"))
    first, second = recipe.holds
    assert first.target_c == pytest.approx(1418 / 1.8)
    assert first.lower_c == pytest.approx((1441 - 32) / 1.8)
    assert second.target_c == pytest.approx(1918 / 1.8)
    assert recipe.program.offset_c == pytest.approx(-10.0)
    ramp = recipe.steps[2]
    assert isinstance(ramp, Ramp)
    assert ramp.rate_c_per_h == pytest.approx(200.0)
    assert ramp.max_rate_c_per_h == pytest.approx(500.0)


def test_hot_loading() -> None:
    recipe = parse_recipe(FULL.replace('load = "cold"', "load_at = 780"))
    assert (recipe.load, recipe.load_at_c) == ("hot", 780.0)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("hold_minutes = 10", "hold_minutes = -10", "[[step]] 2, hold_minutes = -10: must be above 0"),
        ("hold_minutes = 10", "hold_minutes = 0", "[[step]] 2, hold_minutes = 0: must be above 0"),
        ("hold_minutes = 10", "hold_minutes = nan", "[[step]] 2, hold_minutes = nan: must be above 0"),
        ("hold_minutes = 10", "hold_minutes = 1e9", "at most 10080 minutes"),
        ("hold_minutes = 10", 'hold_minutes = "ten"', '[[step]] 2, hold_minutes = "ten": must be a number'),
        ("hold_minutes = 10", "hold_minutes = true", "[[step]] 2, hold_minutes = true: must be a number"),
        ("hold_minutes = 10", "hold_minuts = 10", "hold_minuts = 10: unknown key. Did you mean hold_minutes?"),
        ("hold_minutes = 10", "hold_minutes = 10\nhold_hours = 1", "keep one of the two"),
        ("tolerance = 8\n", "\n", "[[step]] 2, tolerance: is missing"),
        ("tolerance_above = 7\n", "\n", "[[step]] 4, tolerance_above: is missing"),
        ("tolerance = 8", "tolerance = 0", "[[step]] 2, tolerance = 0: must be above 0"),
        ("to = 1040", "to = 780", "[[step]] 3, to = 780: the step goes nowhere: it is at 780 °C already"),
        ("to = 780", "to = 20", "[[step]] 1, to = 20: the step goes nowhere: that is room temperature"),
        ("to = 780", "to = inf", "[[step]] 1, to = inf: must be from -196 to 1400 °C"),
        ("to = 780", "to = \"hot\"", "must be a number, from -196 to 1400 °C"),
        ("to = 1040", "to = 1950", '1950 °F is 1065.6 °C), write unit = "F" at the top'),
        ("to = 1040", "to = -300", "[[step]] 3, to = -300: must be from -196 to 1400 °C"),
        ("to = 1040\n", "\n", "[[step]] 3, to: is missing"),
        ("ramp = 400", "ramp = -400", "a rate is written without a sign"),
        ("ramp = 400", "ramp = 0", "[[step]] 3, ramp = 0: must be from 1 to 36000 °C/h"),
        ("ramp = 400", "ramp = 1e6", "must be from 1 to 36000 °C/h"),
        ("ramp = 400", 'ramp = "fast"', '[[step]] 3, ramp = "fast": must be "full power", or a rate'),
        ("ramp = 400", "ramp = 200", "[[step]] 3, ramp = 200: is below min_rate = 300"),
        ("min_rate = 300", "min_rate = 600", "[[step]] 3, min_rate = 600: is above max_rate = 500"),
        ("at_most_minutes = 40", "at_most_minutes = 20", "is shorter than the hold itself (25 min)"),
        ("max_overshoot = 5", "max_overshoot = -1", "[[step]] 4, max_overshoot = -1: must be from 0"),
        ('soak_from = "control"', 'soak_from = "air"', 'must be one of "work", "control"'),
        ("judged = false", "judged = 0", "[[step]] 2, judged = 0: must be true or false"),
        ('unit = "C"', 'unit = "K"', 'unit = "K": must be one of "C", "F"'),
        ("name = ", "nam = ", "Did you mean name?"),
        ("name = \"Stainless chef's blades, harden\"\n", "", "name: is missing"),
        ('load = "cold"', 'load = "hot"', "say at which furnace temperature"),
        ('load = "cold"', 'load = "cold"\nload_at = 700', "keep one of the two"),
        ('load = "cold"', "load_at = 1300", "hotter than every step"),
        ('load = "cold"', "hold_minutes = 3", "this key belongs in a [[step]]"),
        ("final = [58, 61]", "final = [61, 58]", "must be [lowest, highest] in HRC"),
        ("thickness_mm = 4.5", "thickness_mm = 0", "[packet], thickness_mm = 0: must be above 0"),
        ("heated_faces = 1", "heated_faces = 3", "must be a whole number from 1 to 2"),
        ("cool_to = 400", "cool_to = 1010", "must be below cool_from = 1000"),
        ("cool_to = 400\n", "", "[quench], cool_to: is missing"),
        ('order = ["stress relief",', 'order = ["bake",', 'must list some of "stress relief"'),
        ("extra_minutes = 2", "extra_minutes = 2\nrepeat = 2", "unknown key"),
        ("judge_by = \"mean\"", "judge_by = \"mean\"\nrepeat = 2", "this key belongs at the top of the file"),
        ("tolerance = 8", "tolerance = 8 9", "not a valid TOML file"),
    ],
)  # fmt: skip
def test_mistakes(old: str, new: str, says: str) -> None:
    assert old in FULL
    with pytest.raises(RecipeError) as caught:
        parse_recipe(FULL.replace(old, new, 1), "r.toml")
    assert says in str(caught.value)
    assert str(caught.value).startswith("r.toml")
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "the recipe is empty"),
        ('name = "x"', "step: a recipe needs steps"),
        ('name = "x"\nstep = 3', "line 2, step = 3: must be tables: a line [[step]]"),
        ('name = "x"\n[[step]]\nhold_minutes = 5\ntolerance = 5', "[[step]] 1: a hold needs a ramp right before it"),
        (
            'name = "x"\n[[step]]\nramp = 100\nto = 200\n[[step]]\nhold_minutes = 5\ntolerance = 5\n'
            "[[step]]\nhold_minutes = 5\ntolerance = 5",
            "[[step]] 3: a hold needs a ramp right before it",
        ),
        (
            'name = "x"\npacket = 3\n[[step]]\nramp = 100\nto = 200',
            "line 2, packet = 3: must be one table",
        ),
        (TEMPER.replace("cool_below = 50\n", ""), "repeat = 2: the next round would go nowhere"),
        (TEMPER.replace("cool_below = 50", "cool_below = 195"), "below 190 °C"),
        (TEMPER.replace("repeat = 2", "repeat = 2.5"), "must be a whole number from 1 to 20"),
    ],
)
def test_mistakes_of_the_whole(text: str, says: str) -> None:
    with pytest.raises(RecipeError, match=r"^r\.toml") as caught:
        parse_recipe(text, "r.toml")
    assert says in str(caught.value)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(RecipeError, match="no such file"):
        load_recipe(tmp_path / "none.toml")
    with pytest.raises(RecipeError, match="is a folder"):
        load_recipe(tmp_path)
    (tmp_path / "b.toml").write_bytes(b"name = '\xff'")
    with pytest.raises(RecipeError, match=r"line 1: not UTF-8 text .byte 0xff"):
        load_recipe(tmp_path / "b.toml")


def test_a_furnace_file_is_recognised() -> None:
    with pytest.raises(RecipeError, match="this is a furnace file.*soakwitness furnace check shed.toml"):
        parse_recipe('name = "shed"\nunit = "C"\n[link]\nkind = "simulated"\n', "shed.toml")
