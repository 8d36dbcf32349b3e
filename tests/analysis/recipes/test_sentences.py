"""What a person reads about a recipe: each step, the rest, the program, doubts, published ranges, its line."""

from __future__ import annotations

import pytest

from soakwitness.analysis.metallurgy.published_treatments import find_steel, published_steels
from soakwitness.analysis.recipes.doubts import doubts
from soakwitness.analysis.recipes.profile import recipe_profile
from soakwitness.analysis.recipes.program import program_sentences, program_setpoints
from soakwitness.analysis.recipes.published import recipe_outside
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.recipes.sentences import recipe_sentences, step_sentences

HARDEN = """
name = "harden"
unit = "C"
load_at = 780
decide_on = "reading"
order = ["harden", "temper", "temper"]
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
max_rate = 500
[[step]]
hold_minutes = 25
at_most_minutes = 40
tolerance = 6
max_overshoot = 6
dip_seconds = 0
soak_from = "control"
[[step]]
ramp = 120
to = 540
[packet]
blades = 2
[quench]
medium = "oil"
within_s = 30
cool_from = 1000
cool_to = 400
cool_within_s = 120
[program]
offset = -4
extra_minutes = 2
[hardness]
as_quenched = [59, 62]
"""

TEMPER = """
name = "temper"
unit = "C"
repeat = 3
cool_below = 50
judge_by = "mean"
[[step]]
ramp = "full power"
to = 200
[[step]]
hold_hours = 2.5
tolerance = 10
"""


def recipe(text: str, *changes: tuple[str, str]) -> Recipe:
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_recipe(text)


def test_steps_in_sentences() -> None:
    assert step_sentences(recipe(HARDEN)) == (
        "Heat at full power to 780 °C.",
        "Hold 780 °C for 10 min, within 772 °C to 788 °C; a dip of at most 2 min pauses the soak, a longer one starts "
        "it again; reported, no part of the verdict.",
        "Heat at 400 °C/h to 1040 °C, about 39 min, no faster than 500 °C/h.",
        "Hold 1040 °C for 25 min, within 1034 °C to 1046 °C; at most 40 min; never more than 6 °C over the target; any "
        "dip below the band starts the soak again; the soak counts at the control sensor.",
        "Cool at 120 °C/h to 540 °C, about 4 h 10 min.",
    )


def test_rounds_in_sentences() -> None:
    says = step_sentences(recipe(TEMPER))
    assert len(says) == 6
    assert says[0] == "Heat at full power to 200 °C."
    assert says[2] == says[4] == "Let every piece cool below 50 °C, then heat at full power to 200 °C."
    assert says[1].startswith("Hold 200 °C for 2 h 30 min, within 190 °C to 210 °C; judged by the mean")


def test_fahrenheit_differences_are_not_shifted() -> None:
    says = step_sentences(recipe(HARDEN), "F")
    assert "720 °F/h to 1904 °F" in says[2]  # 400 K/h x 1.8; 1040 x 1.8 + 32
    assert "never more than 10.8 °F over" in says[3]


def test_the_rest_in_sentences() -> None:
    assert recipe_sentences(recipe(HARDEN)) == (
        "The charge goes into the hot furnace at 780 °C; no soak counts before its load mark.",
        "A piece is 2 blades 3 mm thick, in 0.05 mm foil, heated on both faces.",
        "Quench: oil, within 30 s of the pull; from 1000 °C to 400 °C within 2 min.",
        "Order of the treatments: harden, then temper, then temper.",
        "Hardness as quenched: 59 to 62 HRC.",
        "The verdict is the one on the reading.",
    )
    assert recipe_sentences(recipe(TEMPER))[1].startswith("3 rounds; between them every piece cools below 50 °C")


def test_the_program_has_offset_and_extra_minutes() -> None:
    assert program_sentences(recipe(HARDEN)) == (
        "Go to 776 °C as fast as the furnace can.",
        "Stay at 776 °C for 12 min.",
        "Go to 1036 °C at 400 °C/h.",
        "Stay at 1036 °C for 27 min.",
        "Go to 536 °C at 120 °C/h.",
        "On purpose, every temperature is 4 °C below the recipe and every hold is 2 min longer than the recipe.",
    )
    assert [(s.number, s.setpoint_c, s.hold_s) for s in program_setpoints(recipe(HARDEN))] == [
        (1, 776.0, None), (2, 776.0, 720.0), (3, 1036.0, None), (4, 1036.0, 1620.0), (5, 536.0, None)
    ]  # fmt: skip


def test_the_program_of_rounds_is_typed_once() -> None:
    assert program_sentences(recipe(TEMPER)) == (
        "Go to 200 °C as fast as the furnace can.",
        "Stay at 200 °C for 2 h 30 min.",
        "Run the same program 2 times more, each time after every piece has cooled below 50 °C.",
        "These are the recipe's own figures: no offset, no extra minutes.",
    )
    assert [step.cycle for step in program_setpoints(recipe(TEMPER))] == [1, 1, 2, 2, 3, 3]


def test_the_program_of_rounds_that_differ() -> None:
    second = TEMPER[TEMPER.index("[[step]]") :].replace("hours = 2.5", "hours = 1")
    assert program_sentences(recipe(TEMPER.replace("repeat = 3\n", "") + second))[2:5] == (
        "Round 2, after every piece has cooled below 50 °C:",
        "Go to 200 °C as fast as the furnace can.",
        "Stay at 200 °C for 60 min.",
    )


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ([("to = 1040", "to = 1300")], 'Step 3 goes to 1300 °C, hotter than blade steels are heated. Is it degrees'),
        ([("ramp = 400", "ramp = 7")], "Step 3 asks for 7 °C/h. Rates are per hour, not per minute."),
        ([("max_rate = 500", ""), ("ramp = 400", "ramp = 9000")], "No small furnace is that fast."),
        ([("max_overshoot = 6", "max_overshoot = 9")], "its band ends 6 °C above the target"),
        ([("dip_seconds = 0", "dip_seconds = 1500")], "lets a dip of 25 min pass in a hold that is no longer"),
        ([("tolerance = 6", "judged = false\ntolerance = 6")], "No hold is judged"),
        ([("load_at = 780", "load_at = 500")], "The charge goes in at 500 °C, where the recipe has no hold."),
        ([("load_at = 780", "cool_below = 50")], "cool_below is given without repeat"),
    ],
)  # fmt: skip
def test_doubts(changes: list[tuple[str, str]], says: str) -> None:
    assert any(says in doubt for doubt in doubts(recipe(HARDEN, *changes)))


def test_no_doubts_about_sound_recipes() -> None:
    assert doubts(recipe(HARDEN)) == ()
    assert doubts(recipe(TEMPER)) == ()


def outside(text: str, steel: str, *changes: tuple[str, str]) -> tuple[str, ...]:
    found = find_steel(steel, published_steels())
    assert found is not None
    return recipe_outside(recipe(text, *changes), found)


def test_a_recipe_inside_and_outside_what_is_published() -> None:
    """S44004 is published as 1010 to 1065 degC (AS 2837), tempered from 149 to 427 degC."""
    assert outside(HARDEN, "440C") == ()
    (says,) = outside(HARDEN, "S44004", ("to = 1040", "to = 1090"))
    assert says == (
        "Step 4 holds 1090 °C, above what is published for S44004 (harden: 1010 °C to 1065 °C; AS 2837). "
        "Confirm with your supplier's certificate."
    )
    assert "below what is published" in outside(HARDEN, "UNS S44004", ("to = 1040", "to = 1000"))[0]
    assert outside(TEMPER, "S44004") == ()
    assert "Step 2 holds 480 °C, above" in outside(TEMPER, "S44004", ("to = 200", "to = 480"))[0]


OIL, WATER, LAST = 'medium = "oil"', 'medium = "water"', "tolerance = 10\n"
COLD_FIRST = ('["harden", "temper", "temper"]', '["harden", "cold treatment", "temper"]')


def test_a_range_that_is_published_in_fahrenheit_may_be_rounded() -> None:
    """1950 degF is 1065.6 degC, published as 1065."""
    assert outside(HARDEN, "S44004", ("to = 1040", "to = 1065.6")) == ()
    assert outside(HARDEN, "S44004", ("to = 1040", "to = 1067")) != ()


@pytest.mark.parametrize(
    ("text", "steel", "changes", "says"),
    [
        # 30 to 45 min are published for S44004; half of the shortest still is not far from it.
        (HARDEN, "S44004", [("hold_minutes = 25", "hold_minutes = 14")], "for S44004 no less than 30 min is published"),
        (HARDEN, "S44004", [("hold_minutes = 25", "hold_minutes = 15")], None),
        (HARDEN, "O1", [(OIL, WATER)], "in water; for O1 is published: oil"),
        (HARDEN, "O1", [(OIL, 'medium = "warm oil"')], None),
        (HARDEN, "O1", [(OIL, 'medium = "plates"')], "in plates; for O1 is published: oil"),  # as slow as air
        (HARDEN, "A2", [(OIL, 'medium = "plates"')], None),
        (HARDEN, "1.2767", [(OIL, WATER)], None),
        (TEMPER, "S44004", [(LAST, LAST + "[hardness]\nfinal = [62, 63]\n")], "S44004 no more than 59 is published"),
        (TEMPER, "S44004", [(LAST, LAST + "[hardness]\nfinal = [58, 60]\n")], None),
        (HARDEN, "A2", [("[59, 62]", "[65, 66]")], "for A2 no more than 64 is published"),
        (HARDEN, "A2", [COLD_FIRST], "before the first temper; for A2 is published: after the first temper"),
        (HARDEN, "S44004", [COLD_FIRST], None),  # its sources disagree
    ],
)
def test_what_no_source_says_of_the_steel(
    text: str, steel: str, changes: list[tuple[str, str]], says: str | None
) -> None:
    found = [
        one for one in outside(text, steel, *changes) if "what is published" not in one and "would harden" not in one
    ]
    assert (any(says in one for one in found)) if says is not None else found == []


def test_a_band_finer_than_new_wire_needs_a_calibration() -> None:
    """Type K of class 1 is within 0.4 % (IEC 60584-1): 4.16 degC at 1040."""
    says = " ".join(doubts(recipe(HARDEN, ("tolerance = 6", "tolerance = 4"))))
    assert "Step 4 has a band of 4 °C, finer than new wire reads" in says
    assert "only a calibration can prove it" in says


def test_the_other_unit_is_recognised_by_the_steel() -> None:
    says = outside(HARDEN, "S44004", ('unit = "C"', 'unit = "F"'))
    assert says[-1] == 'Read as °C, the hottest hold would harden S44004: is unit = "F" meant?'


def test_the_line_of_a_recipe() -> None:
    profile = recipe_profile(recipe(HARDEN, ('"full power"', "760")))
    assert profile.assumed_c_per_h is None
    # 20 to 780 at 760/h: 1 h; 10 min; 260 K at 400/h: 39 min; 25 min; 500 K at 120/h: 250 min.
    expected = [0, 60, 70, 109, 134, 384]
    assert [corner.t_s / 60 for corner in profile.corners] == pytest.approx(expected)
    assert [corner.temp_c for corner in profile.corners] == [20, 780, 780, 1040, 1040, 540]
    assert [(span.start_s / 60, span.end_s / 60) for span in profile.holds] == [
        (pytest.approx(60), pytest.approx(70)),
        (pytest.approx(109), pytest.approx(134)),
    ]


def test_the_line_of_rounds_cools_between() -> None:
    profile = recipe_profile(recipe(TEMPER), assumed_c_per_h=600.0)
    assert profile.assumed_c_per_h == 600.0
    assert [corner.temp_c for corner in profile.corners] == [20, 200, 200, 50, 200, 200, 50, 200, 200]
