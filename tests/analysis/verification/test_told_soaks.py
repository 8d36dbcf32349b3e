"""What is told of a hold's soak and heat: every sentence with its numbers, where it stands, and the next step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.results.verification import Finding, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s. Band +-5: in at 1950 s, out at 3170 s, soak 1220 s.
UP, DOWN = [(0.0, 20.0), (1960.0, 1000.0)], [(3160.0, 1000.0), (5000.0, 80.0)]
TEN, TWENTY_FIVE = simple_recipe((1000, 10, 5)), simple_recipe((1000, 25, 5))
Corners = Sequence[tuple[float, float]]


def checked(
    corners: Corners, recipe: Recipe = TEN, marks: tuple[Mark, ...] = (), load: FloatArray | None = None
) -> Verification:
    t_s, temp_c = drawn(corners)
    columns, values = [sensor(expanded_uncertainty=0.1)], {"furnace": temp_c}
    if load is not None:
        columns.append(sensor("blade", "load", expanded_uncertainty=0.1))
        values["blade"] = np.round(load, 1)
    return verify(make_run(t_s, values, columns=columns, marks=marks), recipe)


def mark(t_s: float, act: Act, *pieces: str) -> Mark:
    return Mark(t_s, act, pieces)


def only(found: Verification, code: str) -> Finding:
    (one,) = [f for f in found.findings if f.code == code]
    return one


def place(one: Finding) -> tuple[str, int | None, float | None, float | None]:
    """Severity, step, from, to [s], whole seconds."""
    return one.severity, one.step, *(None if t is None else round(t) for t in (one.at_s, one.until_s))


def test_a_short_soak() -> None:
    short = only(checked([*UP, *DOWN], TWENTY_FIVE), "short soak")
    assert place(short) == ("fail", 2, 1950, 3170)
    # 1220 of 1500 s: 20.3 min, 4.7 short; U of 0.1 K moves either edge by 0.2 s, the 0.05 K of rounding by 0.1 s.
    assert str(short.says) == (
        "The hold at 1000 °C soaked 20.3 min (20.3 to 20.4) at the control sensor, 4.7 min short of 25 min."
    )
    assert str(short.next) == "Let the program hold 4.7 min longer, and decide about these pieces."
    assert short.pieces == ()


def test_a_short_soak_of_pieces_names_the_worst() -> None:
    # In from 1950 s on: A for 750 s until 2700 s, B for 1050 s until 3000 s.
    marks = (mark(0, "load", "A", "B"), mark(2700, "pull", "A"), mark(3000, "pull", "B"))
    short = only(checked([*UP, *DOWN], simple_recipe((1000, 15, 5)), marks), "short soak")
    assert short.pieces == ("A",)
    assert "soaked 12.5 min at the control sensor (worst of 2 pieces: A), 2.5 min short of 15 min." in str(short.says)


def dip(at_s: float, low_c: float, long_s: float) -> Corners:
    """Down from 1000 in 20 s, so long at the bottom, and up again in 20 s."""
    return [(at_s, 1000.0), (at_s + 20, low_c), (at_s + 20 + long_s, low_c), (at_s + 40 + long_s, 1000.0)]


def test_a_dip_that_started_the_soak_again_is_named() -> None:
    # 30 K in 20 s: out 3.3 s after the begin, in 3.3 s before the end of 260 s: 253.3 s. Then 3170 - 2656.7 = 513 s.
    found = checked([*UP, *dip(2400, 970, 220), *DOWN], TWENTY_FIVE)
    short = str(only(found, "short soak").says)
    assert "soaked 8.6 min" in short
    assert "A dip of 4.2 min started it again." in short


def test_heat_that_went_off_is_told_in_place_of_hold_it_longer() -> None:
    # Off at 2560 s: out of the band at 2575 s, 625 s after the enter; coldest, 800, at 3160 s, 585 s later.
    cut = [*UP, (2560, 1000), (3160, 800), (3460, 830), (5000, 80)]
    short = only(checked(cut, TWENTY_FIVE), "short soak")
    told = "Then the furnace fell as it cools without heat for 9.8 min, to 800 °C, and was heated again: a power cut"
    assert told in str(short.says)
    assert str(short.next).startswith("Look for a power cut")
    # A furnace that only cools was not heated again; one that came back by 10 K only may have had its door closed.
    for after in ([(5000, 80)], [(3460, 810), (5000, 80)]):
        other = only(checked([*UP, (2560, 1000), (3160, 800), *after], TWENTY_FIVE), "short soak")
        assert "without heat" not in str(other.says)
    # A furnace that lost more than half is another firing.
    cold = [*UP, (2560, 1000), (4260, 450), (4460, 550), (6000, 80)]
    assert "without heat" not in str(only(checked(cold, TWENTY_FIVE), "short soak").says)
    # Nor after a pull.
    pulled = checked(cut, TWENTY_FIVE, (mark(0, "load", "A"), mark(2570, "pull", "A")))
    assert "without heat" not in str(only(pulled, "short soak").says)


def test_a_long_soak() -> None:
    long = only(checked([*UP, *DOWN], simple_recipe((1000, 10, 5), at_most_s=900.0)), "long soak")
    assert place(long) == ("fail", 2, 1950, 3170)
    # 1220 s where 900 are allowed: 320 s over.
    assert "stood 20.3 min (20.3 to 20.4) at or above the lower edge, 5.3 min over the 15 min allowed." in str(
        long.says
    )


def hump(top_c: float, long_s: float) -> Corners:
    """From 2400 s at 0.5 K/s to the top, so long there, and back as fast."""
    way = (top_c - 1000.0) / 0.5
    return [
        *UP,
        (2400, 1000),
        (2400 + way, top_c),
        (2400 + way + long_s, top_c),
        (2400 + 2 * way + long_s, 1000),
        *DOWN,
    ]


def test_too_hot() -> None:
    hot = only(checked(hump(1012, 120)), "out of band")
    # 12 K in 24 s; over 1005 from 2410 to 2558 s, 148 s.
    assert place(hot) == ("fail", 2, 2424, None)
    assert str(hot.says).startswith(
        "Too hot around the hold at 1000 °C: 1012 °C at the control sensor, held over its limit of 1005 °C, "
        "for 2.4 min in all. A load sensor or a packet would tell"
    )
    # 30 K over its limit no load sensor would excuse it.
    assert "A load sensor" not in str(only(checked(hump(1036, 120)), "out of band").says)
    t_s, temp_c = drawn(hump(1012, 120))
    by_load = only(checked(hump(1012, 120), load=temp_c), "out of band")
    assert "1012 °C at the load sensor, held over its limit of 1005 °C, for 2.4 min in all." in str(by_load.says)
    assert "A load sensor" not in str(by_load.says)


def test_a_level_above_the_band_is_told_beside_too_hot() -> None:
    found = checked([(0, 20), (1980, 1010), (3180, 1010), (5040, 80)])
    said = [str(f.says) for f in found.findings if f.code == "out of band"]
    assert "The hold at 1000 °C: stood at 1010 °C, above its band of 995 °C to 1005 °C." in said
    assert len(said) == 2
    assert "overshoot" not in {f.code for f in found.findings}


def test_a_level_below_the_band() -> None:
    found = checked([(0, 20), (1940, 990), (3160, 990), (5000, 80)])
    below = only(found, "out of band")
    assert below.severity == "fail"
    assert str(below.says) == "The hold at 1000 °C: stood at 990 °C, below its band of 995 °C to 1005 °C."
    assert below.at_s == pytest.approx(1940.0, abs=150.0)
    assert below.until_s == pytest.approx(3160.0, abs=150.0)


def test_an_overshoot_within_what_a_bare_chamber_may_is_a_warning() -> None:
    # Up and down at 0.5 K/s, 20 s at 1008: held for 30 s is 1008 - 2.5 = 1005.5, begun at 2411 s; over 1005 for 32 s.
    over = only(checked(hump(1008, 20)), "overshoot")
    assert place(over) == ("warn", 2, 2411, None)
    assert str(over.says) == (
        "The hold at 1000 °C went 5.5 °C over its target, 0.5 °C above its band, 32 s above the band."
    )
    assert str(over.next) == "Slow the last part of the ramp, or state max_overshoot in the recipe."


def test_an_overshoot_over_what_is_stated_fails() -> None:
    # 40 s at 1008: held, from 2416 s on; over 1005 from 2410 to 2462 s.
    over = only(checked(hump(1008, 40), simple_recipe((1000, 10, 5), max_overshoot_c=6.0)), "overshoot")
    assert place(over) == ("fail", 2, 2416, None)
    assert "went 8 °C over its target, 52 s above the band; 6 °C are allowed." in str(over.says)
    # Within it nothing is told to be stated.
    within = only(checked(hump(1008, 40), simple_recipe((1000, 10, 5), max_overshoot_c=9.0)), "overshoot")
    assert (within.severity, str(within.next)) == ("warn", "Slow the last part of the ramp.")


def test_a_chamber_that_overshot_above_a_blade_that_did_not() -> None:
    t_s, temp_c = drawn(hump(1012, 120))
    found = checked(hump(1012, 120), load=np.minimum(temp_c, 1000.0))
    over = only(found, "overshoot")
    assert place(over) == ("warn", 2, 2424, None)
    assert str(over.says).startswith("At the control sensor the hold at 1000 °C went 12 °C over its target; the load")
    assert found.verdict == "pass"
    # Up to the upper edge, and what noise hides, nothing is said.
    t_s, temp_c = drawn(hump(1005, 120))
    assert "overshoot" not in {f.code for f in checked(hump(1005, 120), load=np.minimum(temp_c, 1000.0)).findings}


def test_dips_are_counted_and_the_lowest_is_placed() -> None:
    # 20 K in 20 s is out 5 s after the begin: 60 - 10, 100 - 2 x 3.3, 60 - 2 x 6.7 s: 190 s in all.
    course = [*UP, *dip(2200, 980, 20), *dip(2600, 970, 60), *dip(2900, 985, 20), *DOWN]
    below = only(checked(course), "out of band")
    assert place(below) == ("warn", 2, 2603, 2697)
    assert "was below its band 3 times, 3.2 min in all, down to 970 °C; its cause is not told" in str(below.says)
    once = only(checked([*UP, *dip(2600, 970, 60), *DOWN]), "out of band")
    assert "was below its band once, 1.6 min in all" in str(once.says)


def test_a_dip_at_a_mark_is_no_riddle() -> None:
    below = only(checked([*UP, *dip(2400, 950, 100), *DOWN], marks=(mark(2390, "door"),)), "out of band")
    assert "a load, pull or door mark stands there" in str(below.says)
    assert str(below.next) == "Nothing, if the soak is long enough after it."


def test_a_hold_that_is_reported_only_has_notes() -> None:
    reported = simple_recipe((1000, 25, 5), judged=False)
    found = checked([*UP, *dip(2600, 970, 60), *DOWN], reported)
    assert {f.code: f.severity for f in found.findings} == {"short soak": "note", "out of band": "note"}


def lagging(lag_s: float) -> FloatArray:
    t_s, temp_c = drawn([*UP, *DOWN])
    lagged: FloatArray = np.interp(t_s - lag_s, t_s, temp_c)
    return lagged


def test_the_lag_of_a_load_sensor() -> None:
    # Soak from 2350 s until the blade leaves, 400 s after the chamber: as long as the chamber's.
    lag = only(checked([*UP, *DOWN], load=lagging(400.0)), "packet lag")
    assert place(lag) == ("note", 2, 1950, None)
    assert str(lag.says) == "The load lagged the furnace by 6.7 min of the 10 min of the hold at 1000 °C."
    assert str(lag.next) == "Nothing: the soak is counted from when the blade is there."
    # Pulled at 3160 s it has 810 of 1080 s, 4.5 min short; the lag is over a fifth of what is asked.
    pulled = (mark(0, "load", "A"), mark(3160, "pull", "A"))
    short = only(checked([*UP, *DOWN], simple_recipe((1000, 18, 5)), pulled, lagging(400.0)), "packet lag")
    assert short.severity == "warn"
    assert str(short.next) == "As for the short soak: it is counted from when the blade is there."
    # 200 of 1080 s are less than a fifth.
    late = (mark(0, "load", "A"), mark(3000, "pull", "A"))
    slight = only(checked([*UP, *DOWN], simple_recipe((1000, 18, 5)), late, lagging(200.0)), "packet lag")
    assert slight.severity == "note"


def test_what_the_program_adds_already_is_said() -> None:
    recipe = simple_recipe((1000, 18, 5))
    recipe = replace(recipe, program=replace(recipe.program, extra_s=240.0))
    pulled = (mark(0, "load", "A"), mark(3160, "pull", "A"))
    short = only(checked([*UP, *DOWN], recipe, pulled, lagging(400.0)), "short soak")
    assert str(short.next).startswith("Let the program hold 4.5 min longer (it already adds 4 min)")
    enough = only(checked([*UP, *DOWN], replace(TEN, program=recipe.program), load=lagging(400.0)), "packet lag")
    assert str(enough.next).endswith("when the blade is there, of which the program already adds 4 min.")


def test_a_load_sensor_that_never_came_there() -> None:
    _, temp_c = drawn([*UP, *DOWN])
    below = only(checked([*UP, *DOWN], load=temp_c - 20.0), "out of band")
    assert str(below.says) == "The hold at 1000 °C: the load sensor never reached its band of 995 °C to 1005 °C."
    t_s, _ = drawn([*UP, *DOWN])
    lost = checked([*UP, *DOWN], load=np.where(t_s < 2400, temp_c - 20.0, np.nan))
    assert "the load sensor stopped reading before it reached its band" in str(only(lost, "out of band").says)


def test_a_record_that_ends_inside() -> None:
    # In since 1950 s.
    ends = only(checked([*UP, (2500, 1000)], TWENTY_FIVE), "run ended early")
    assert place(ends) == ("warn", 2, 2500, None)
    assert str(ends.says) == "The record ends inside the hold at 1000 °C, after 9.2 min of 25 min soak."
    met = only(checked([*UP, (2900, 1000)]), "run ended early")
    assert met.severity == "note"
    assert str(met.says).endswith("after 15.8 min of 10 min soak: the time is met, the take-out is not on record.")
    pulled = checked([*UP, (2900, 1000)], marks=(mark(0, "load", "A"), mark(2890, "pull", "A")))
    assert "run ended early" not in {f.code for f in pulled.findings}
