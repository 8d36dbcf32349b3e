"""Why a hold is not there: skipped, ended before it, cut, or not on record; what is said of it, and where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Quench, Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.verification.results.verification import Finding, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

Corners = Sequence[tuple[float, float]]
TWO = simple_recipe((600, 10, 5), (1000, 10, 5))
# Up at 0.5 K/s to 600, 14 min there: in 600 +-5 from 1150 to 2010 s. On to 1000: in from 2790 s on.
FIRST = [(0.0, 20.0), (1160.0, 600.0), (2000.0, 600.0)]
WHOLE = [*FIRST, (2800.0, 1000.0), (3800.0, 1000.0), (5600.0, 100.0)]
TEMPERS = parse_recipe(
    'name = "t"\nrepeat = 2\ncool_below = 50\n[[step]]\nramp = "full power"\nto = 200\n'
    "[[step]]\nhold_minutes = 60\ntolerance = 8\n"
)


def checked(
    corners: Corners, recipe: Recipe = TWO, *marks: Mark, lost_s: tuple[float, float] | None = None
) -> Verification:
    t_s, temp_c = drawn(corners)
    if lost_s is not None:
        temp_c[(t_s > lost_s[0]) & (t_s < lost_s[1])] = np.nan
    run = make_run(t_s, {"furnace": temp_c}, columns=[sensor(expanded_uncertainty=0.1)], marks=marks)
    return verify(run, recipe)


def only(found: Verification, step: int) -> Finding:
    """The one finding on a hold that is absent."""
    codes = ("hold missing", "run ended early", "not on record", "wrong unit suspected")
    (one,) = [f for f in found.findings if f.code in codes and f.step == step]
    return one


@pytest.mark.parametrize(
    ("corners", "step", "code", "severity", "at_s", "says"),
    [
        # Straight on to 1000: in there at 2 x 975 = 1950 s.
        (
            [(0, 20), (1960, 1000), (3000, 1000), (4800, 100)],
            2, "hold missing", "fail", 1950.0, "is missing: the furnace went on to 1000 °C without it.",
        ),
        (
            [*FIRST, (2400, 800), (4000, 100)],
            4, "run ended early", "fail", 2400.0,
            "The run ended before the hold at 1000 °C: it reached 800 °C and then cooled.",
        ),
        # 10 K or 5 % of the heat is no fall yet; steadily for three minutes, by more than 15 K, it is.
        (
            [*FIRST, (2400, 800), (2450, 765)],
            4, "run ended early", "warn", 2450.0,
            "The record ended before the hold at 1000 °C: the record ends at 765 °C, on the way.",
        ),
        (
            [*FIRST, (2400, 800), (2450, 755)],
            4, "run ended early", "fail", 2400.0, "it reached 800 °C and then cooled.",
        ),
        (
            [*FIRST, (2400, 800), (2650, 770)],
            4, "run ended early", "fail", 2400.0, "it reached 800 °C and then cooled.",
        ),
        (
            [*FIRST, (2400, 800), (2650, 786)],
            4, "run ended early", "warn", 2650.0, "the record ends at 786 °C, on the way.",
        ),
        ([*FIRST, (2400, 800)], 4, "run ended early", "warn", 2400.0, "the record ends at 800 °C, on the way."),
        (FIRST, 4, "not on record", "warn", 2000.0, "is not on record: the record ends in the hold before it."),
        # A record that begins above the first hold shows nothing of it.
        (
            [(0, 700), (600, 1000), (1800, 1000), (3600, 80)],
            2, "not on record", "warn", 0.0, "is not on record: the record begins at 700 °C.",
        ),
        # On to more than a band's width above the last hold.
        (
            [*FIRST, (3200, 1200), (3400, 1200), (5000, 100)],
            4, "hold missing", "fail", 5000.0, "is missing: the furnace went on to 1200 °C without it.",
        ),
    ],
)  # fmt: skip
def test_why_a_hold_is_absent(corners: Corners, step: int, code: str, severity: str, at_s: float, says: str) -> None:
    found = checked(corners)
    one = only(found, step)
    assert (one.code, one.severity) == (code, severity)
    assert one.at_s == pytest.approx(at_s, abs=0.5)
    assert says in str(one.says)
    hold = found.step(step)
    assert hold is not None
    assert hold.verdict == ("fail" if severity == "fail" else "not proven")
    assert hold.on_record is (code == "hold missing" or (code == "run ended early" and severity == "fail"))  # type: ignore[union-attr]


def test_a_hold_that_is_not_judged_is_noted() -> None:
    steps = tuple(replace(s, judged=False) if s == TWO.holds[0] else s for s in TWO.steps)  # type: ignore[arg-type]
    one = only(checked([(0, 20), (1960, 1000), (3000, 1000), (4800, 100)], replace(TWO, steps=steps)), 2)
    assert (one.code, one.severity) == ("hold missing", "note")


@pytest.mark.parametrize(("gap_s", "hidden"), [(470.0, False), (490.0, True)])
def test_a_gap_of_four_fifths_of_what_is_asked_may_hide_a_hold(gap_s: float, hidden: bool) -> None:
    # 600 s are asked for: a gap of 480 s and more on the straight way to 1000.
    straight = [(0, 20), (1960, 1000), (3000, 1000), (4800, 100)]
    one = only(checked(straight, lost_s=(1000.0, 1000.0 + gap_s)), 2)
    assert one.code == ("not on record" if hidden else "hold missing")
    if hidden:
        assert f"there is a gap of {gap_s / 60:.1f} min where it may have been" in str(one.says)
        assert one.at_s == 1000.0


def test_a_gap_elsewhere_hides_nothing() -> None:
    # In the cooling, after both holds.
    straight = [(0, 20), (1960, 1000), (3000, 1000), (4800, 100)]
    assert only(checked(straight, lost_s=(3500.0, 4200.0)), 2).code == "hold missing"


def test_a_sensor_that_stopped_reading_shows_no_absence() -> None:
    one = only(checked(WHOLE, lost_s=(2400.0, 9e9)), 4)
    assert one.code == "not on record"
    assert "there is a gap of 53.3 min where it may have been" in str(one.says)
    # 400 s are less than what is asked, and the furnace was hot when it read nothing any more.
    short = only(checked([*FIRST, (2800, 1000)], lost_s=(2400.0, 9e9)), 4)
    assert short.code == "not on record"
    assert "sensor furnace read nothing from 0:40:00 on" in str(short.says)


def test_pieces_that_are_all_out_end_a_run() -> None:
    loaded = Mark(0.0, "load", ("A", "B"))
    course = [*FIRST, (2400, 700)]
    both = (Mark(2200.0, "pull", ("A",)), Mark(2300.0, "pull", ("B",)))
    one = only(checked(course, TWO, loaded, *both), 4)
    assert (one.code, one.severity, one.at_s) == ("run ended early", "fail", 2300.0)
    assert "all pieces were out at 0:38:20" in str(one.says)
    # One that is still in may yet come to it.
    assert only(checked(course, TWO, loaded, both[0]), 4).severity == "warn"


def test_another_round_may_be_in_another_run_unless_it_was_begun() -> None:
    once = [(0, 20), (1000, 200), (5000, 200), (9000, 40)]
    one = only(checked(once, TEMPERS), 4)
    assert one.code == "not on record"
    assert "this run shows round 1; the next may be in another run" in str(one.says)
    # Six tenths of the way from 20 to 200 are 108: heated again to 128 and let go, the second round was begun.
    begun = [*once, (9600, 135), (12000, 40)]
    assert only(checked(begun, TEMPERS), 4).code == "run ended early"
    barely = [*once, (9600, 100), (12000, 40)]
    assert only(checked(barely, TEMPERS), 4).code == "not on record"


def test_a_slow_way_through_may_have_been_a_short_hold() -> None:
    # 0.02 K/s through +-10: 1000 s, where 30 min are asked for; half of them would show.
    slow = simple_recipe((800, 1, 10), (900, 10, 5))
    straight = [(0, 720), (1800, 900), (2600, 900), (4400, 100)]
    plain = only(checked(straight, slow), 2)
    assert plain.severity == "fail"
    assert "but so slowly" not in str(plain.says)


def test_a_band_that_was_not_reached_before_the_furnace_cooled() -> None:
    # 990 at 1940 s, and down at 0.5 K/s.
    one = only(checked([(0, 20), (1940, 990), (3540, 190)], simple_recipe((1000, 10, 5))), 2)
    assert (one.code, one.severity, one.at_s) == ("run ended early", "fail", 1940.0)
    assert "it reached 990 °C and then cooled" in str(one.says)


def test_a_record_that_is_cut_on_the_way_down_to_a_colder_hold_shows_no_fault() -> None:
    down = simple_recipe((1000, 10, 5), (700, 10, 5))
    up = [(0.0, 20.0), (1960.0, 1000.0), (2800.0, 1000.0)]
    found = checked([*up, (3000, 900)], down)
    assert found.verdict == "not proven"
    assert "the record ends at 900 °C, on the way" in str(only(found, 4).says)
    # One that fell past it did not hold it.
    past = checked([*up, (3800, 500)], down)
    assert past.verdict == "fail"
    assert only(past, 4).severity == "fail"


def test_a_wrong_unit_goes_before_every_other_reason() -> None:
    t_s, temp_c = drawn([(0, 20), (1960, 1000), (3000, 1000), (4800, 100)])
    run = make_run(t_s, {"furnace": np.round(temp_c * 1.8 + 32, 1)})
    found = verify(run, simple_recipe((1000, 10, 5)))
    one = only(found, 2)
    assert (one.code, one.severity) == ("wrong unit suspected", "warn")
    # 1.8 x 1000 + 32
    assert "1832 °C for 1000 °C" in str(one.says)
    assert "import again with --unit F or C" in str(one.next)
    assert found.verdict == "not proven"
    assert [h.unproven for h in found.holds] == [("unit",)]


def test_what_is_not_on_record_of_the_quench_is_no_reason_why_a_hold_is_absent() -> None:
    t_s, temp_c = drawn([(0, 20), (1960, 1000), (3000, 1000), (4800, 100)])
    recipe = replace(simple_recipe((1000, 10, 5)), quench=Quench(within_s=30.0))
    wrong = verify(make_run(t_s, {"furnace": np.round(temp_c * 1.8 + 32, 1)}), recipe)
    assert "not on record" in {f.code for f in wrong.findings}
    assert str(wrong.in_short.says) == "Not proven: the readings look like the other unit."
    assert str(wrong.in_short.next) == "Check the unit of the readings; import again with --unit F or C as it is."


def test_celsius_taken_for_fahrenheit_is_recognised_too() -> None:
    # 700 read as 700 F is 371.1 C.
    t_s, temp_c = drawn([(0, 20), (1360, 700), (2560, 700), (4000, 100)])
    run = make_run(t_s, {"furnace": np.round((temp_c - 32) / 1.8, 1)})
    one = only(verify(run, simple_recipe((700, 15, 8))), 2)
    assert one.code == "wrong unit suspected"
    assert "371.1 °C for 700 °C" in str(one.says)


def test_a_record_that_begins_at_room_temperature_is_in_its_own_unit() -> None:
    # Degrees F would stand at 1832; so does a furnace that was driven there, from 20 degC.
    t_s, temp_c = drawn([(0, 20), (2200, 1112), (3400, 1112), (5000, 100)])
    found = verify(make_run(t_s, {"furnace": temp_c}), simple_recipe((600, 10, 5)))
    assert "wrong unit suspected" not in {f.code for f in found.findings}


def test_a_furnace_that_cooled_after_a_hold_did_not_reach_anything_then() -> None:
    ended = only(checked([*FIRST, (5600.0, 100.0)]), 4)
    assert ended.says.text("C") == "The run ended before the hold at 1000 °C: it cooled after the hold at 600 °C."
