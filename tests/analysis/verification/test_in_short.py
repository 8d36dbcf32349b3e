"""The sentence that leads: verdict, reason and next act, on runs with known truth."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.recipes.recipe import Quench
from soakwitness.analysis.recipes.recipe_file import load_recipe
from soakwitness.analysis.record.run import open_run
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark
from tests.make_sample_logs import SAMPLES
from tests.named_cases import NamedCase, named_cases
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

HEADS = {
    "pass": ("Pass.", "Pass, by estimate."),
    "fail": (
        "Too short:",
        "Too hot:",
        "Too cold:",
        "Too long:",
        "Never in its band:",
        "Not done:",
        "Too slow:",
        "Late to the quench:",
        "Fail:",
    ),
    "not proven": ("Not proven:",),
}
RECIPES = {"pulled-one-by-one": "chef-blades-hot.toml"}
MOST = 200  # characters of the sentence, common practice for what is read at a glance


@pytest.mark.parametrize("case", named_cases().values(), ids=lambda case: case.name)
def test_a_sentence_holds_verdict_and_reason(case: NamedCase) -> None:
    found = verify(case.run, case.recipe)
    says = found.in_short.says.text("C")
    assert says.startswith(HEADS[found.verdict])
    assert says.endswith(".")
    assert len(says) <= MOST
    assert len(says.removeprefix("Pass.")) > 20  # more than the verdict: a reason with its numbers
    assert found.verdict == "pass" or found.in_short.next is not None


def said(name: str) -> tuple[str, str]:
    case = named_cases()[name]
    short = verify(case.run, case.recipe).in_short
    return short.says.text("C"), "" if short.next is None else short.next.text("C")


def test_a_limit_that_was_missed_by_little_is_not_told_as_kept() -> None:
    t_s, temp_c = drawn([(0, 20), (1960, 1000), (2700, 1000), (3300, 600)])
    acts: list[tuple[float, Act]] = [(2690.0, "pull"), (2720.4, "plates")]
    marks = [Mark(t_s=at_s, act=act, entered_t_s=at_s) for at_s, act in acts]
    recipe = replace(simple_recipe((1000, 10, 5)), quench=Quench(within_s=30.0))
    found = verify(make_run(t_s, {"furnace": temp_c}, marks=marks), recipe)
    says = found.in_short.says.text("C")
    assert says == "Late to the quench: the charge took just over 30 s to the plates, 30 s allowed."


def test_a_power_cut_is_the_reason_of_the_short_soak() -> None:
    says, then = said("cut_that_ended_it")
    assert says.startswith(
        "Too short: the furnace was at 929 °C for 9.1 of 15 min; then the furnace fell as it cools without heat"
    )
    assert then.startswith("Look for a power cut")


def test_a_hold_too_cold_is_never_told_to_last_longer() -> None:
    says, then = said("sag_then_hotter")
    # It stood at 506 where the band begins at 508 (the case's own text).
    assert says == "Too cold: the furnace stood at 506 °C where 508 °C is the least for 512 °C."
    assert then.startswith("Set it hotter: it stood 2 °C under its band")
    assert "longer" not in then


def test_too_hot_says_how_hot_for_how_long_and_what_it_did_to_the_steel() -> None:
    says, then = said("temper_50_too_hot_for_20_min")
    assert says.startswith("Too hot: the furnace was over its limit of 205 °C for ")
    assert "softened" in then
    assert "retained austenite" in said("hardening_50_too_hot_for_12_min")[1]


def test_two_faults_are_both_named() -> None:
    # The upper hold stood at 659.5, 1.5 over its band; that at 505 was never held (the case's own text).
    says, _ = said("wrong_story")
    assert says.startswith("Too hot: the furnace was over its limit of 658 °C for ")
    assert says.endswith(", and held 659.5 °C. Also: the hold at 505 °C is missing.")


def test_a_load_that_stayed_below_is_not_called_short() -> None:
    # A lag of 900 s behind a climb of 900 K/h and 20 min at 300: it stays below 290 (the case's own text).
    says, _ = said("load_never_there_900")
    assert says.startswith("Never in its band: the load sensor came to 2")
    assert says.endswith(" in the hold at 300 °C, 290 °C is the least.")


def of_sample(name: str) -> str:
    run, recipe = open_run(SAMPLES / name), load_recipe(SAMPLES / "recipes" / RECIPES.get(name, "paring-blades.toml"))
    return verify(run, recipe).in_short.says.text("C")


@pytest.mark.parametrize(
    ("name", "words"),
    # What was done to each stands in tests/make_sample_logs.py; the lag's truth in tests/test_sample_logs.py.
    [
        ("gap", "Not proven: nothing was recorded for 11.1 min (the link was lost) in the "),
        ("open-circuit", "Not proven: the load sensor broke and read nothing for 9.1 min "),
        (
            "pulled-one-by-one",
            "; pulled early. Also: C-03 took 45 s to the plates, 30 s allowed.",
        ),
        ("program-differs", "the setpoint stood for 9.5 of 19 min (4 for the lag)"),
        ("short-soak", "; the load lagged the furnace by 8.7 min."),
    ],
)
def test_the_cause_is_named(name: str, words: str) -> None:
    assert words in of_sample(name)


@pytest.mark.parametrize(("name", "act"), [("gap", "plug, cable"), ("open-circuit", "Check the thermocouple")])
def test_what_was_away_is_what_to_look_at(name: str, act: str) -> None:
    run, recipe = open_run(SAMPLES / name), load_recipe(SAMPLES / "recipes" / "paring-blades.toml")
    assert act in str(verify(run, recipe).in_short.next)


@pytest.mark.parametrize(
    ("name", "shown"),
    # Each case's own text says what was done: no reading tells of a setting that was off, nor what cut the heat.
    [
        ("wrong_story", False),
        ("cut_that_ended_it", False),
        ("sag_then_hotter", False),
        ("temper_50_too_hot_for_20_min", False),
        ("load_never_there_900", True),
        ("burnt_out_in_the_hold_300", True),
    ],
)
def test_it_knows_whether_the_record_shows_what_brought_it_about(name: str, shown: bool) -> None:
    case = named_cases()[name]
    assert verify(case.run, case.recipe).in_short.shows_cause == shown


def test_a_record_that_ends_in_the_hold_asks_for_the_pull() -> None:
    says, then = said("record_ends_in_hold")
    assert says.startswith("Not proven: the record stops after 24.8 of 40 min of the hold at 304 °C")
    assert "mark pull" in then


def test_a_burnt_out_sensor_is_the_reason() -> None:
    assert said("burnt_out_in_the_hold_300")[0].startswith("Not proven: the sensor stopped reading after 5.8 of 15 min")


def test_what_an_uncalibrated_display_may_be_off_stands_in_the_sentence() -> None:
    # A level of 1000 in a band of 995 to 1005, read to 0.1.
    run = make_run(*_hold(1000.0), columns=[sensor()])
    short = verify(run, simple_recipe((1000, 10, 5))).in_short
    assert "Uncalibrated: it may read up to 4.9 °C high and 4.9 °C low." in short.says.text("C")
    assert "8.9 °F" in short.says.text("F")  # 4.92 x 1.8
    assert [says.text("C") for says in short.not_known][0] == "how true the sensor reads"


def _hold(level_c: float):
    t_s, temp_c = drawn([(0, 20), (900, level_c), (2100, level_c), (4000, 60)])
    return t_s, {"furnace": temp_c}
