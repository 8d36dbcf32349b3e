"""Whole verifications of runs drawn by hand: marks and charges, load sensors, what is not on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.calibration.correcting.correction import Correction
from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.recipes.recipe import PacketSpec, Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.results.verification import Finding, PieceInfo, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Act, Event, Mark, RecordCheck
from tests.verification_runs import WHOLE, drawn, make_run, sensor, simple_recipe

# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s. Band +-5: in at 1950 s, out at 3170 s, soak 1220 s.
HOLD = [(0, 20), (1960, 1000), (3160, 1000), (5000, 80)]
TEN, TWENTY_FIVE = simple_recipe((1000, 10, 5)), simple_recipe((1000, 25, 5))
STATED = sensor(expanded_uncertainty=2.0)


def checked(
    corners: Sequence[tuple[float, float]] = HOLD, recipe: Recipe = TEN, *, noise_c: float = 0.0, **facts: object
) -> Verification:
    options = {k: facts.pop(k) for k in ("corrections", "pieces", "packet") if k in facts}
    t_s, temp_c = drawn(corners, noise_c=noise_c)
    columns = facts.pop("columns", [sensor()])
    run = make_run(t_s, {"furnace": temp_c}, columns=columns, **facts)  # type: ignore[arg-type]
    return verify(run, recipe, **options)  # type: ignore[arg-type]


def codes(found: Verification, severity: str | None = None) -> set[str]:
    return {f.code for f in found.findings if severity in (None, f.severity)}


def finding(found: Verification, code: str) -> Finding:
    return next(f for f in found.findings if f.code == code)


def mark(t_s: float, act: Act, *pieces: str) -> Mark:
    return Mark(t_s, act, pieces)


def hot(minutes: float = 10) -> Recipe:
    return replace(simple_recipe((1000, minutes, 5)), load="hot", load_at_c=1000.0)


# --- one sensor, no marks -------------------------------------------------------------------------------------------


def test_a_good_run_passes_as_read_and_says_so():
    found = checked()
    (hold,) = found.holds
    assert (found.verdict, found.decided_on, found.temperature_from) == ("pass", "reading", "control")
    assert hold.enter_s == pytest.approx(1950, abs=0.2)
    assert hold.leave_s == pytest.approx(3170, abs=0.2)
    assert hold.soak_s is not None
    assert hold.soak_s.best == pytest.approx(1220, abs=0.5)
    assert codes(found) == {"no calibration"}


def test_a_stated_u_decides_on_true_temperature():
    found = checked(columns=[STATED])
    assert (found.verdict, found.decided_on) == ("pass", "true temperature")
    assert not found.findings
    # Level 1000, band 995 to 1005: it stands 5 either way, less what noise and rounding (0.05 K) may hide.
    assert found.holds[0].error_it_stands_c == pytest.approx((-5.0, 5.0), abs=0.11)
    # e = +2 is in the band from 997 on: 4 s later and 4 s earlier; e = -2 the other way.
    assert found.holds[0].soak_s is not None
    assert found.holds[0].soak_s.low == pytest.approx(1212, abs=3)
    assert found.holds[0].soak_s.high == pytest.approx(1228, abs=3)


def test_a_short_soak_fails_with_its_numbers():
    found = checked(recipe=TWENTY_FIVE, columns=[STATED])
    assert found.verdict == "fail"
    short = finding(found, "short soak")
    assert (short.severity, short.step) == ("fail", 2)
    # 1500 - 1220 s.
    assert "4.7 min short of 25 min" in str(short.says)


def test_what_u_leaves_open_is_not_proven_and_says_what_would_prove_it():
    found = checked(columns=[sensor(expanded_uncertainty=6.0)])
    assert found.verdict == "not proven"
    assert found.holds[0].as_read == "pass"
    assert any("calibration to ±4.9 °C" in words for words in map(str, found.proves))


def test_a_tolerance_class_alone_leaves_the_verdict_as_read():
    wire = sensor(thermocouple="K", tolerance_class="2")
    found = checked(columns=[wire])
    assert (found.verdict, found.decided_on) == ("pass", "reading")
    # IEC 60584-1 class 2 at 1000 degC: 7.5 K (0.0075 t), more than the band.
    assert found.holds[0].at_true_temperature == "not proven"
    assert "7.5 °C" in str(finding(found, "no calibration").says)
    asked = checked(recipe=replace(TEN, decide_on="true temperature"), columns=[wire])
    assert asked.verdict == "not proven"


def calibrated(correction_c: float, expanded_c: float, **facts: object) -> dict[str, Correction]:
    range_c = (700.0, 1100.0)
    known = {"done_on": "2026-05-01", "due_on": "2027-05-01", **facts}
    return {
        "furnace": Correction(
            "test",
            "furnace",
            "shift",
            "one point",
            (),
            range_c,
            (correction_c,) * 2,
            (expanded_c,) * 2,
            **known,  # type: ignore[arg-type]
        )
    }


def test_a_calibration_decides_on_true_temperature_and_as_read_stays_what_was_shown():
    found = checked(corrections=calibrated(-4.0, 1.0))
    hold = found.holds[0]
    # Corrected by -4 the level is 996: 1 above the edge, and U is 1.
    assert (hold.level_c, hold.shown_c) == (pytest.approx(996), pytest.approx(1000))
    assert found.decided_on == "true temperature"
    assert (found.verdict, hold.as_read) == ("not proven", "pass")
    # It stands an error of -1 to 9 of the corrected reading: the display may read 3 to 13 high (less noise, 0.05 K).
    assert hold.display_may_read_c is not None
    assert hold.error_it_stands_c is not None
    assert hold.display_may_read_c[0] - hold.error_it_stands_c[0] == pytest.approx(4.0)


def test_an_overdue_calibration_stops_a_pass_and_earns_none():
    lapsed = calibrated(-4.0, 0.5, due_on="2026-06-01")
    # By it the level was 996, and its U has grown beyond the 1 K that is left above the edge.
    assert checked(corrections=lapsed).verdict == "not proven"
    assert checked(corrections=lapsed).decided_on == "reading"
    # By +4 it was 1004: 1 K below the upper edge, and in the band as read.
    assert checked(corrections=calibrated(0.0, 0.1, due_on="2026-06-01")).verdict == "pass"


def test_a_calibration_beyond_its_range_does_not_touch_the_temper():
    # Calibrated from 700 on: a temper at 180 is judged as it was shown.
    temper = simple_recipe((180, 10, 5))
    found = checked([(0, 20), (320, 180), (1520, 180), (3000, 80)], temper, corrections=calibrated(-4.6, 1.0))
    hold = found.holds[0]
    assert (found.verdict, found.decided_on) == ("pass", "reading")
    assert hold.level_c == hold.shown_c == pytest.approx(180, abs=0.1)


def test_too_hot_is_a_finding_of_its_own():
    hotter = [(0, 20), (1980, 1010), (3180, 1010), (5040, 80)]
    found = checked(hotter)
    assert found.verdict == "fail"
    assert "out of band" in codes(found, "fail")
    assert "short soak" not in codes(found)


def test_overshoot_against_its_limit():
    # Up to 1008, 40 s there, down to 1000.
    over = [(0, 20), (1976, 1008), (2016, 1008), (2080, 1000), (3160, 1000), (5000, 80)]
    limited = replace(TEN, steps=(TEN.steps[0], replace(TEN.holds[0], max_overshoot_c=6.0)))
    found = checked(over, limited)
    assert found.verdict == "fail"
    assert found.holds[0].overshoot_c == pytest.approx(8)
    # Above 1005 from 1970 to 2016 + 3/8 x 64 = 2040 s.
    assert found.holds[0].above_band_s == pytest.approx(70, abs=1)
    assert "overshoot" in codes(found, "fail")
    # Without a stated limit the chamber's 70 s over the band count: more than a minute on a bare chamber is too hot.
    unlimited = checked(over)
    assert unlimited.verdict == "fail"
    assert unlimited.holds[0].unmet == ("too hot",)
    brief = [*over[:2], (1986, 1008), (2050, 1000), *over[4:]]
    assert checked(brief).verdict == "pass"
    assert "overshoot" in codes(checked(brief), "warn")


def test_the_final_climb_is_not_overshoot():
    two = simple_recipe((900, 10, 5), (1000, 10, 5))
    found = checked([(0, 20), (1760, 900), (2960, 900), (3160, 1000), (4360, 1000), (6000, 80)], two)
    assert found.holds[0].overshoot_c == pytest.approx(0, abs=0.8)


def test_longest_soak():
    limited = replace(TEN, steps=(TEN.steps[0], replace(TEN.holds[0], at_most_s=900.0)))
    found = checked(recipe=limited)
    assert found.verdict == "fail"
    assert "long soak" in codes(found, "fail")


def test_a_hold_that_is_only_reported_decides_nothing():
    reported = replace(TWENTY_FIVE, steps=(TWENTY_FIVE.steps[0], replace(TWENTY_FIVE.holds[0], judged=False)))
    found = checked(recipe=reported)
    # Nothing is judged, so nothing is proven.
    assert found.verdict == "not proven"
    assert found.holds[0].verdict == "fail"
    assert finding(found, "short soak").severity == "note"


def test_a_dip_is_listed_with_its_effect():
    dipped = [*HOLD[:2], (2400, 1000), (2430, 970), (2600, 970), (2630, 1000), *HOLD[2:]]
    found = checked(dipped, TWENTY_FIVE)
    (dip,) = found.holds[0].dips
    assert dip.effect == "new start"
    assert dip.lowest_c == pytest.approx(970)
    assert "out of band" in codes(found)


def test_a_dip_of_exactly_dip_seconds_pauses():
    def dip_of(until_s: float) -> tuple[str, float]:
        """Down from 1000 at 0.5 K/s: out at 995 at 2410 s; back up, in again 10 s before ``until_s``."""
        found = checked([*HOLD[:2], (2400, 1000), (2420, 990), (until_s - 20, 990), (until_s, 1000), *HOLD[2:]])
        (dip,) = found.holds[0].dips
        assert found.holds[0].soak_s is not None
        return dip.effect, found.holds[0].soak_s.best

    assert dip_of(2540) == ("pause", pytest.approx(1220 - 120))
    # 121 s: from 2531 to 3170 s it is longer than before the dip, from 1950 to 2410 s.
    assert dip_of(2541) == ("new start", pytest.approx(3170 - 2531))


def test_a_recipe_of_ramps_alone():
    ramps = replace(TEN, steps=TEN.steps[:1])
    found = checked(recipe=ramps)
    assert found.verdict == "not proven"
    assert found.holds == ()


def test_look_alikes_of_a_dip_are_told_apart():
    door = [*HOLD[:2], (2400, 1000), (2420, 950), (2560, 1000), *HOLD[2:]]
    # At the end this furnace cools by 0.5 K/s: so does it when the power is cut.
    cut = [*HOLD[:2], (2400, 1000), (2640, 880), (2900, 1000), (4160, 1000), (6000, 80)]
    assert [d.looks_like for d in checked(door).holds[0].dips] == ["door"]
    assert "door" in str(finding(checked(door), "out of band").says)
    assert [d.looks_like for d in checked(cut).holds[0].dips] == ["power"]
    assert "without power" in str(finding(checked(cut), "out of band").says)
    assert [d.looks_like for d in checked(cut, marks=(mark(2390, "door"),)).holds[0].dips] == ["marked"]
    t_s, temp_c = drawn(door)
    temp_c[2402:2418] = np.nan
    (dip,) = verify(make_run(t_s, {"furnace": temp_c}), TEN).holds[0].dips
    assert dip.looks_like == "gap"


# --- what is not on record ------------------------------------------------------------------------------------------


def test_a_record_that_ends_in_the_hold_shows_no_shortage():
    found = checked(HOLD[:3][:-1] + [(2500, 1000)], TWENTY_FIVE)
    assert found.verdict == "not proven"
    assert finding(found, "run ended early").severity == "warn"


def test_an_aborted_run_fails():
    two = simple_recipe((900, 10, 5), (1000, 10, 5))
    found = checked([(0, 20), (1760, 900), (2960, 900), (3000, 920), (4000, 300)], two)
    assert found.verdict == "fail"
    assert finding(found, "run ended early").step == 4
    assert "not on record" not in codes(found)


def test_a_record_that_ends_on_the_way_does_not_call_the_next_hold_missing():
    two = simple_recipe((900, 10, 5), (1000, 10, 5))
    found = checked([(0, 20), (1760, 900), (2960, 900), (3060, 950)], two)
    assert found.verdict == "not proven"
    assert "hold missing" not in codes(found)
    assert not found.holds[1].on_record


def test_a_missing_hold_fails():
    two = simple_recipe((600, 10, 5), (1000, 10, 5))
    found = checked(recipe=two)
    assert found.verdict == "fail"
    assert finding(found, "hold missing").step == 2
    assert found.holds[0].found is False


def test_a_hold_that_a_gap_may_hide_is_not_called_missing():
    two = simple_recipe((600, 10, 5), (1000, 10, 5))
    t_s, temp_c = drawn([(0, 20), (1160, 600), (2360, 600), (3160, 1000), (4360, 1000), (6000, 80)])
    temp_c[1100:2450] = np.nan
    found = verify(make_run(t_s, {"furnace": temp_c}), two)
    assert found.verdict == "not proven"
    assert "hold missing" not in codes(found)
    assert "not on record" in codes(found)


def test_a_gap_in_the_hold_is_bounded_by_the_furnaces_own_rates():
    t_s, temp_c = drawn(HOLD)
    temp_c[2200:2500] = np.nan
    found = verify(make_run(t_s, {"furnace": temp_c}), simple_recipe((1000, 19, 5)))
    soak = found.holds[0].soak_s
    assert soak is not None
    # It may have fallen out for most of the 300 s: longer than 120 s, so the soak may have begun again at 2500 s.
    assert soak.best == pytest.approx(1220, abs=1)
    assert soak.low < 700
    assert found.verdict == "not proven"
    assert finding(found, "gap in record").step == 2


def test_a_sensor_read_every_fifth_row_has_no_gaps():
    t_s, temp_c = drawn(HOLD)
    temp_c[np.arange(t_s.size) % 5 != 0] = np.nan
    found = verify(make_run(t_s, {"furnace": temp_c}), TEN)
    assert found.verdict == "pass"
    assert "gap in record" not in codes(found)


def test_a_gap_of_uncertain_length_never_counts():
    t_s, temp_c = drawn(HOLD)
    keep = (t_s <= 2300) | (t_s >= 2310)
    resumed = Event(2310.0, "", "resumed", "rebooted; gap 10 s, uncertain, by the computer's clock")
    certain = verify(make_run(t_s[keep], {"furnace": temp_c[keep]}), TEN).holds[0].soak_s
    unsure = verify(make_run(t_s[keep], {"furnace": temp_c[keep]}, events=[resumed]), TEN).holds[0].soak_s
    assert certain is not None
    assert unsure is not None
    assert unsure.low < certain.low
    assert unsure.best == certain.best


def test_a_changed_record_proves_nothing():
    changed = replace(WHOLE, intact=False, first_difference="samples.csv")
    found = checked(check=changed)
    assert found.verdict == "not proven"
    assert "samples.csv" in str(finding(found, "record changed").says)
    assert checked(recipe=TWENTY_FIVE, check=changed).verdict == "fail"


def test_what_another_program_took_away_while_it_was_recorded_leaves_it_not_proven():
    says = (
        "samples.csv was changed by another program while it was being recorded, with 900 rows in it; missing: 9 rows"
    )
    changed = replace(WHOLE, intact=False, first_difference="samples.csv", changed=(says,))
    found = checked(check=changed)
    assert found.verdict == "not proven"
    assert says in str(finding(found, "record changed").says)


def test_what_was_written_again_whole_is_a_note():
    says = "samples.csv was removed by another program while it was being recorded; nothing is missing"
    changed = replace(WHOLE, intact=False, first_difference="samples.csv", changed=(says,))
    found = checked(check=changed)
    assert found.verdict == checked().verdict == "pass"
    assert finding(found, "record changed").severity == "note"
    assert not found.record.intact


def test_hardly_any_reading_is_an_error():
    with pytest.raises(NotEnoughData, match="5 readings"):
        verify(make_run(np.arange(3.0), {"furnace": np.array([20.0, 21.0, 22.0])}), TEN)


# --- charges and pieces ---------------------------------------------------------------------------------------------


def test_no_time_counts_before_the_load_mark_or_after_the_pull():
    marks = (mark(2200, "load", "A", "B"), mark(2700, "pull", "A"), mark(3000, "pull", "B"))
    found = checked(recipe=hot(), marks=marks)
    hold = found.holds[0]
    soaks = {p.piece: p.soak_s.best for p in hold.pieces}
    assert soaks == pytest.approx({"A": 500, "B": 800})
    assert {p.piece: p.verdict for p in hold.pieces} == {"A": "fail", "B": "pass"}
    # The hold's figures are those of the worst piece.
    assert hold.soak_s == hold.pieces[0].soak_s
    assert found.verdict == "fail"


def test_a_hot_load_without_a_mark_is_not_proven_and_the_dips_are_listed():
    dipped = [*HOLD[:2], (2200, 1000), (2220, 950), (2320, 1000), *HOLD[2:]]
    found = checked(dipped, hot())
    assert found.verdict == "not proven"
    listed = finding(found, "not on record")
    assert "no load mark" in str(listed.says)
    assert listed.at_s == pytest.approx(2200, abs=60)
    assert any("load mark" in words for words in map(str, found.proves))


def test_a_hot_load_without_a_mark_fails_where_even_the_whole_hold_is_too_short():
    assert checked(recipe=hot(25)).verdict == "fail"


def test_a_second_charge_is_judged_by_itself():
    long = [(0, 20), (1960, 1000), (6160, 1000), (8000, 80)]
    marks = (
        mark(2000, "load", "A"),
        mark(3000, "pull", "A"),
        mark(4000, "load", "B"),
        mark(4500, "pull", "B"),
    )
    found = checked(long, hot(), marks=marks)
    assert {p.piece: (p.charge, p.verdict) for p in found.holds[0].pieces} == {
        "A": ("charge 1", "pass"),
        "B": ("charge 2", "fail"),
    }


def test_a_charge_loaded_into_the_hotter_furnace_does_not_need_the_hold_before():
    two = simple_recipe((780, 10, 5), (1000, 10, 5))
    late = replace(two, load="hot", load_at_c=1000.0)
    course = [(0, 20), (1520, 780), (2520, 780), (2960, 1000), (5000, 1000), (7000, 80)]
    found = checked(course, late, marks=(mark(3000, "load", "A"), mark(4000, "pull", "A")))
    assert found.verdict == "pass"


def test_quench_delay_from_pull_to_plates():
    quick = parse_recipe(
        'name = "q"\n[[step]]\nramp = "full power"\nto = 1000\n[[step]]\nhold_minutes = 10\ntolerance = 5\n'
        "[quench]\nwithin_s = 30\n"
    )
    marks = (mark(2900, "pull", "A"), mark(2945, "plates", "A"), mark(2950, "pull", "B"), mark(2970, "plates", "B"))
    found = checked(recipe=quick, marks=marks)
    late = finding(found, "late quench")
    assert late.pieces == ("A",)
    assert "45 s" in str(late.says)
    assert found.verdict == "fail"
    assert {p.piece: p.quench_delay_s for p in found.holds[0].pieces} == {"A": 45, "B": 20}
    assert "not on record" in codes(checked(recipe=quick))


def test_loaded_before_the_furnace_had_recovered():
    found = checked(recipe=hot(), marks=(mark(1800, "load", "A"),))
    # At 1800 s the furnace is at 920.
    assert "loaded before recovery" in codes(found)
    assert "loaded before recovery" not in codes(checked(recipe=hot(), marks=(mark(2000, "load", "A"),)))


TEMPERS = parse_recipe(
    'name = "t"\nrepeat = 2\ncool_below = 50\n[[step]]\nramp = "full power"\nto = 200\n'
    "[[step]]\nhold_minutes = 60\ntolerance = 8\n"
)
ROUND = [(0, 20), (1000, 200), (5000, 200), (9000, 150)]
# The furnace stays warm between the rounds: 150; that says nothing about the piece.
TWICE = [*ROUND, (9500, 200), (13500, 200), (19000, 60)]


def test_cooling_between_tempers_is_judged_on_the_piece_not_on_the_furnace():
    found = checked(TWICE, TEMPERS)
    assert [h.found for h in found.holds] == [True, True]
    assert "tempered before it was cool" not in codes(found)
    assert finding(found, "not on record").severity == "note"
    assert found.verdict == "pass"


def test_a_hand_warm_mark_between_the_rounds():
    good = (mark(0, "load", "A"), mark(5100, "pull", "A"), mark(8000, "hand-warm", "A"), mark(9100, "load", "A"))
    assert "not on record" not in codes(checked(TWICE, TEMPERS, marks=good))
    early = (mark(0, "load", "A"), mark(5100, "pull", "A"), mark(9100, "load", "A"), mark(9400, "hand-warm", "A"))
    found = checked(TWICE, TEMPERS, marks=early)
    assert "tempered before it was cool" in codes(found, "fail")
    assert found.verdict == "fail"


def test_the_second_round_may_be_in_another_run():
    found = checked([*ROUND[:3], (9000, 40)], TEMPERS)
    assert [h.verdict for h in found.holds] == ["pass", "not proven"]
    assert finding(found, "not on record").step == 4


# --- load sensors ---------------------------------------------------------------------------------------------------


def both(lag_s: float, *, shown_c: float = 0.0) -> dict[str, FloatArray]:
    t_s, control = drawn(HOLD)
    load = np.interp(t_s - lag_s, t_s, control) + shown_c
    return {"furnace": control, "blade": np.round(load, 1)}


COLUMNS = [sensor("furnace", "control"), sensor("blade", "load", thickness_mm=3.0)]


def with_load(values: dict[str, FloatArray], recipe: Recipe = TEN, **facts: object) -> Verification:
    columns = facts.pop("columns", COLUMNS)
    t_s, _ = drawn(HOLD)
    options = {k: facts.pop(k) for k in ("pieces",) if k in facts}
    return verify(make_run(t_s, values, columns=columns, **facts), recipe, **options)  # type: ignore[arg-type]


def test_the_load_sensor_decides_and_its_lag_is_told():
    found = with_load(both(400))
    hold = found.holds[0]
    assert found.temperature_from == "load"
    assert hold.measured_by == "blade"
    assert hold.enter_s == pytest.approx(2350, abs=0.5)
    assert hold.control_enter_s == pytest.approx(1950, abs=0.5)
    assert hold.lag_s is not None
    assert hold.lag_s.best == pytest.approx(400, abs=0.5)
    assert "packet lag" in codes(found)


def test_a_control_sensor_that_looks_perfect_does_not_hide_a_short_soak():
    # The blade is pulled with the furnace at 3160 s: in the band from 2350 s on, 810 of 900 s.
    found = with_load(both(400), simple_recipe((1000, 15, 5)), marks=(mark(3160, "pull", "A"),))
    assert found.verdict == "fail"
    assert found.holds[0].soak_s is not None
    assert found.holds[0].soak_s.best == pytest.approx(810, abs=1)


def test_soak_from_control_where_the_recipe_says_so():
    recipe = simple_recipe((1000, 15, 5), soak_from="control")
    found = with_load(both(400), recipe)
    assert found.holds[0].soak_s is not None
    assert found.holds[0].soak_s.best == pytest.approx(1220, abs=1)
    assert found.holds[0].temperature_from == "control"


def test_the_coldest_of_several_load_sensors():
    values = {**both(100), "second": both(300)["blade"]}
    found = with_load(values, columns=[*COLUMNS, sensor("second", "load")])
    # Each is there for as long as the furnace was, only later.
    assert found.holds[0].soak_s is not None
    assert found.holds[0].soak_s.best == pytest.approx(1220, abs=1)
    # Pulled when the furnace leaves, at 3170 s, the slower one has 300 s less.
    pulled = with_load(values, columns=[*COLUMNS, sensor("second", "load")], marks=(mark(3170, "pull"),))
    assert pulled.holds[0].soak_s is not None
    assert pulled.holds[0].soak_s.best == pytest.approx(1220 - 300, abs=1)
    assert pulled.holds[0].measured_by == "second"


def test_the_hottest_of_several_load_sensors_decides_too_hot():
    # One stands at 999, the other at 1008 of 1000 +-5: the colder one soaked, the hotter one was too hot.
    values = {**both(60), "second": both(60)["blade"]}
    values["second"] = np.where(values["second"] > 900, values["second"] + 8.0, values["second"])
    found = with_load(values, columns=[*COLUMNS, sensor("second", "load")])
    assert found.verdict == "fail"
    assert "too hot" in found.holds[0].unmet


def test_a_load_that_comes_only_in_the_next_climb_has_no_soak_in_the_hold_before():
    two = simple_recipe((800, 10, 5), (1000, 10, 5))
    t_s, chamber = drawn([(0, 20), (1560, 800), (2760, 800), (3160, 1000), (5000, 1000), (7000, 80)])
    # The load reaches 795 while the chamber climbs to 1000, and goes through the band without a stop.
    load = drawn([(0, 20), (2760, 770), (3560, 1000), (5030, 1000), (7000, 80)])[1]
    found = verify(make_run(t_s, {"furnace": chamber, "blade": load}, columns=[sensor(), sensor("blade", "load")]), two)
    first = found.holds[0]
    assert first.soak_s is not None
    assert (first.enter_s, first.soak_s.best, first.soak_s.high, first.verdict) == (None, 0.0, 0.0, "fail")
    assert found.holds[1].verdict == "pass"


def test_a_blade_that_never_reaches_the_band():
    found = with_load(both(0, shown_c=-20))
    hold = found.holds[0]
    assert hold.found
    assert hold.enter_s is None
    assert hold.soak_s is not None
    assert hold.soak_s.high == 0
    assert found.verdict == "fail"
    assert {"short soak", "out of band"} <= codes(found, "fail")


def test_a_control_sensor_at_the_end_of_its_range_beside_a_load_sensor():
    values = both(60)
    values["furnace"] = np.minimum(values["furnace"], 950.0)
    found = with_load(values)
    assert found.holds[0].found
    assert found.verdict == "pass"


def test_a_saturated_control_sensor_alone_proves_nothing():
    t_s, temp_c = drawn(HOLD, noise_c=0.5)
    found = verify(make_run(t_s, {"furnace": np.minimum(temp_c, 992.0)}), TEN)
    assert found.verdict == "not proven"
    assert "sensor fault" in codes(found)


def fault_words(empty: list[tuple[int, int]], *events: tuple[float, str]) -> str:
    t_s, temp_c = drawn(HOLD, every_s=5.0)
    for first, last in empty:
        temp_c[first:last] = np.nan
    run = make_run(t_s, {"furnace": temp_c}, events=[Event(t, "", "sensor fault", says) for t, says in events])
    return next(str(f.says) for f in verify(run, TEN).findings if f.code == "sensor fault")


def test_a_sensor_fault_says_how_long_it_was():
    # A reading every 5 s; readings 200 to 319 are missing: from 1000 s to the next reading at 1600 s.
    fault = (1000.0, "furnace: open circuit")
    back = (1600.0, "furnace: reads again")
    assert fault_words([(200, 320)], fault, back) == (
        "Sensor furnace: open circuit, once for 10 min, at 0:16:40 into the run."
    )
    # Another at 2000 s for 30 s; and what the instrument says changes within the first.
    more = ((1100.0, "furnace: below range"), (2000.0, "furnace: open circuit"))
    assert "3 times for 10.5 min in all, first at 0:16:40" in fault_words([(200, 320), (400, 406)], fault, *more)
    # A fault whose sensor goes on reading has no length.
    assert "once, at 0:16:40" in fault_words([], fault)


def test_a_load_sensor_that_hardly_reads_is_not_used():
    values = both(100)
    values["blade"][:3000] = np.nan
    assert with_load(values).temperature_from == "control"


def test_pieces_thicker_than_the_dummy_are_not_covered():
    found = with_load(both(100), pieces=(PieceInfo("B-1", thickness_mm=6.0),))
    assert any("B-1" in words and "3 mm" in words for words in map(str, found.not_seen))


def test_a_control_overshoot_that_the_blade_did_not_see_is_a_warning():
    values = both(0)
    t_s, _ = drawn(HOLD)
    values["furnace"] = values["furnace"] + 12 * np.exp(-(((t_s - 2050) / 40) ** 2))
    found = with_load(values)
    assert found.verdict == "pass"
    assert "overshoot" in codes(found, "warn")


# --- packet estimate ------------------------------------------------------------------------------------------------

PACKET = parse_recipe(
    'name = "p"\n[[step]]\nramp = "full power"\nto = 1000\n[[step]]\nhold_minutes = 10\ntolerance = 5\n[packet]\n'
)


def packet_recipe(minutes: float) -> Recipe:
    return replace(PACKET, steps=(PACKET.steps[0], replace(PACKET.holds[0], required_s=minutes * 60)))


def test_a_packet_estimate_carries_the_work_temperature():
    found = checked(recipe=packet_recipe(5))
    hold = found.holds[0]
    assert (found.temperature_from, found.by_estimate) == ("packet estimate", True)
    assert found.verdict == "pass"
    assert hold.lag_s is not None
    assert hold.lag_s.low <= hold.lag_s.best <= hold.lag_s.high
    assert hold.soak_s is not None
    assert hold.soak_s.best < 1220
    assert any("model" in words for words in map(str, found.not_seen))


def test_an_estimate_decides_both_ways_by_its_draws():
    soak = checked(recipe=packet_recipe(5)).holds[0].soak_s
    assert soak is not None
    assert soak.high > soak.low + 60.0
    asked = {"pass": soak.low - 10.0, "not proven": (soak.low + soak.high) / 2.0, "fail": soak.high + 10.0}
    assert {v: checked(recipe=packet_recipe(s / 60)).verdict for v, s in asked.items()} == {v: v for v in asked}


def test_pieces_have_their_own_packets():
    found = checked(recipe=packet_recipe(5), pieces=(PieceInfo("thin", 2.0), PieceInfo("thick", 8.0)))
    soaks = {p.piece: p.soak_s.best for p in found.holds[0].pieces}
    assert soaks["thick"] < soaks["thin"]


def test_a_door_dip_is_not_a_dip_of_the_blade():
    dipped = [*HOLD[:2], (2600, 1000), (2620, 960), (2680, 1000), *HOLD[2:]]
    found = checked(dipped, packet_recipe(5))
    assert finding(found, "out of band").severity == "note"


# --- wrong unit, program --------------------------------------------------------------------------------------------


def test_fahrenheit_taken_for_celsius_is_recognised():
    recipe = simple_recipe((600, 10, 5), (900, 10, 5))
    course = [(0, 20), (1200, 600), (2400, 600), (3000, 900), (4200, 900), (6000, 80)]
    t_s, temp_c = drawn(course)
    found = verify(make_run(t_s, {"furnace": np.round(temp_c * 1.8 + 32, 1)}), recipe)
    # 1.8 x 600 + 32 = 1112, 1.8 x 900 + 32 = 1652.
    assert "1112 °C for 600 °C" in str(finding(found, "wrong unit suspected").says)
    assert found.verdict == "not proven"


def test_fahrenheit_beyond_what_a_thermocouple_shows_is_recognised_too():
    # 1.8 x 1050 + 32 = 1922, which no thermocouple reads in degC; the same hold alone is not found in passing.
    t_s, temp_c = drawn([(0, 20), (2060, 1050), (3260, 1050), (5000, 80)])
    found = verify(make_run(t_s, {"furnace": np.round(temp_c * 1.8 + 32, 1)}), simple_recipe((1050, 15, 8)))
    assert "1922 °C for 1050 °C" in str(finding(found, "wrong unit suspected").says)
    assert found.verdict == "not proven"
    assert not found.holds[0].found


def test_a_last_hold_that_was_only_passed_on_the_way_to_more_is_missing():
    # 0.5 K/s through 995 to 1005 and on to 1100, where it stays.
    found = checked([(0, 20), (2160, 1100), (3360, 1100), (5000, 80)])
    assert finding(found, "hold missing").severity == "fail"


def test_a_recording_sensor_takes_over_from_a_control_sensor_that_broke():
    t_s, temp_c = drawn(HOLD)
    control = np.where(t_s > 2500, np.nan, temp_c)
    found = verify(
        make_run(t_s, {"furnace": control, "stick": temp_c}, columns=[sensor(), sensor("stick", "recording")]), TEN
    )
    assert (found.sensor, found.verdict) == ("stick", "pass")
    assert "furnace read nothing from" in str(finding(found, "sensor fault").says)


def test_a_stand_in_at_a_hotter_place_decides_nothing():
    t_s, temp_c = drawn(HOLD)
    control = np.where(t_s > 2500, np.nan, temp_c)
    columns = [sensor(), sensor("roof", "recording")]
    found = verify(make_run(t_s, {"furnace": control, "roof": temp_c + 8.0}, columns=columns), TEN)
    # 1008 of 1000 +-5 would be too hot; while both read, the roof was 8 above the control sensor.
    assert (found.sensor, found.verdict) == ("roof", "not proven")
    assert "8 °C higher" in str(finding(found, "sensors differ").says)
    assert found.proves


def test_a_longest_soak_is_open_where_the_record_ends_in_the_hold():
    limited = replace(TEN, steps=(TEN.steps[0], replace(TEN.holds[0], at_most_s=1800.0)))
    ends = [(0, 20), (1960, 1000), (3000, 1000)]
    found = checked(ends, limited)
    assert (found.verdict, found.holds[0].unproven) == ("not proven", ("longest soak",))
    assert "pull mark" in " ".join(map(str, found.proves))
    assert checked(ends, limited, marks=[mark(2990, "pull")]).verdict == "pass"


def setpoint_run(setpoint: Sequence[tuple[float, float]], output: float | None = None) -> Verification:
    from soakwitness.firmware_bridge.runfolder.contents import Column

    t_s, temp_c = drawn(HOLD)
    at, level = np.transpose(np.asarray(setpoint, dtype=float))
    values = {"furnace": temp_c, "setpoint": np.round(np.interp(t_s, at, level), 1)}
    columns = [sensor(), Column("setpoint", "signal", "C")]
    if output is not None:
        values["output"] = np.full(t_s.size, output)
        columns.append(Column("output", "signal", "%"))
    recipe = parse_recipe('name = "s"\n[[step]]\nramp = 1800\nto = 1000\n[[step]]\nhold_minutes = 20\ntolerance = 5\n')
    return verify(make_run(t_s, values, columns=columns), recipe)


def test_a_setpoint_that_follows_the_program():
    assert "program differs" not in codes(setpoint_run([(0, 20), (100, 20), (2060, 1000), (3260, 1000), (3261, 20)]))


@pytest.mark.parametrize(
    ("setpoint", "words"),
    [
        ([(0, 20), (100, 20), (2060, 990), (3260, 990), (3261, 20)], "never stood at 1000 °C"),
        ([(0, 20), (100, 20), (2060, 1000), (2600, 1000), (2601, 20)], "9 min where the program says 20 min"),
        ([(0, 20), (100, 20), (1080, 1000), (3260, 1000), (3261, 20)], "3600 °C/h, 1800 °C/h in the program"),
    ],
)
def test_program_differs(setpoint: Sequence[tuple[float, float]], words: str):
    found = setpoint_run(setpoint)
    differs = finding(found, "program differs")
    assert words in str(differs.says)
    assert differs.severity == "warn"


def test_a_controller_that_waits_at_full_power_was_not_typed_wrong():
    slow = [(0, 20), (100, 20), (4000, 1000), (4900, 1000)]
    assert "program differs" in codes(setpoint_run(slow, output=50.0))
    assert "program differs" not in codes(setpoint_run(slow, output=100.0))


def test_sentences_in_fahrenheit():
    assert "1832 °F" in finding(checked(recipe=TWENTY_FIVE), "short soak").says.text("F")


def test_bad_rows_are_counted():
    from soakwitness.firmware_bridge.runfolder.contents import BadRow

    check = RecordCheck(1000, (BadRow("samples.csv", 17, "checksum"),), False, False, False, None, ())
    found = checked(check=check)
    assert (found.record.rows, found.record.bad_rows) == (1000, 1)
    assert "1 row" in str(finding(found, "record changed").says)


def test_a_short_hold_whose_band_touches_the_one_before_fails():
    # 1040 +-10 and 1060 +-10 share the edge 1050: the trace leaves one as it enters the other, all of it on record.
    # From 1040 at 4800 s to 1060 at 5400 s: through 1050 at 5100 s; away from 6600 s on: 25 min, 60 are asked for.
    corners = [(0, 20), (3000, 1040), (4800, 1040), (5400, 1060), (6600, 1060), (6900, 700), (9000, 200)]
    found = checked(corners, simple_recipe((1040, 10, 10), (1060, 60, 10)), noise_c=0.3)
    hold = found.holds[1]
    assert hold.enter_s == pytest.approx(5100.0, abs=30.0)
    assert hold.as_read == hold.verdict == "fail"


# --- a load sensor that breaks --------------------------------------------------------------------------------------

TWO_HOLDS = simple_recipe((700, 10, 5), (1000, 15, 5))
# 20 min at 700, 30 min at 1000; the load follows one minute later. At 0.5 K/s it enters 995 of 1000 at 3210 s.
COURSE = [(0, 20), (1360, 700), (2560, 700), (3160, 1000), (4960, 1000), (6800, 80)]
BREAKS_S = 3600.0


def broken(shows: float = np.nan, at_s: float = BREAKS_S, recipe: Recipe = TWO_HOLDS, **facts: object) -> Verification:
    t_s, temp_c = drawn(COURSE)
    load = drawn([(0, 20), *((t + 60, y) for t, y in COURSE)])[1][: t_s.size]
    load[t_s > at_s] = shows
    columns = [sensor(), sensor("dummy", "load"), *facts.pop("more", [])]  # type: ignore[misc]
    values = {"furnace": temp_c, "dummy": load, **facts.pop("values", {})}  # type: ignore[dict-item]
    return verify(make_run(t_s, values, columns=columns, **facts), recipe)  # type: ignore[arg-type]


@pytest.mark.parametrize("shows", [np.nan, 0.0, 1372.0, 9999.0])
def test_what_a_broken_load_sensor_did_not_see_is_neither_soak_nor_shortage(shows: float):
    found = broken(shows)
    first, second = found.holds
    assert (first.verdict, second.verdict) == ("pass", "not proven")
    assert second.soak_s is not None
    # Seen from 3210 to 3600 s. The chamber leaves at 4970 s, and the load is a minute later than it.
    assert second.soak_s.best == pytest.approx(390, abs=2)
    assert second.soak_s.high == pytest.approx(4970 + 60 - 3210, abs=5)
    assert second.overshoot_is_at_least
    assert "sensor fault" in codes(found)
    assert codes(found, "fail") == set()
    assert [str(words) for words in found.proves] == ["Hold at 1000 °C: a load sensor that reads to its end."]


def test_a_pull_ends_what_a_broken_load_sensor_may_have_missed():
    found = broken(marks=[mark(0, "load", "B-1"), mark(4000, "pull", "B-1")])
    (piece,) = found.holds[1].pieces
    assert piece.soak_s.high == pytest.approx(4000 - 3210, abs=5)
    # 13.2 min at the most, where 15 are asked: that is short whatever the sensor missed.
    assert found.holds[1].soak_s is not None
    assert piece.verdict == "not proven"


def test_a_hold_after_the_load_sensor_broke_is_no_pass_at_the_control_sensor():
    second = broken(at_s=2600.0).holds[1]
    assert (second.temperature_from, second.verdict) == ("control", "not proven")
    # Too short there it is too short: 30 min 40 s of 40 min.
    short = broken(at_s=2600.0, recipe=simple_recipe((700, 10, 5), (1000, 40, 5))).holds[1]
    assert short.verdict == "fail"


def test_a_recipe_that_asks_for_the_control_sensor_does_not_miss_the_load_sensor():
    recipe = simple_recipe((700, 10, 5), (1000, 15, 5), soak_from="control")
    assert broken(at_s=2600.0, recipe=recipe).verdict == "pass"


def test_the_packet_estimate_takes_over_from_a_broken_load_sensor():
    second = broken(at_s=2600.0, recipe=replace(TWO_HOLDS, packet=PacketSpec(2.0))).holds[1]
    assert second.temperature_from == "packet estimate"
    assert second.lag_s is not None


def test_another_load_sensor_takes_over_from_a_broken_one():
    t_s, temp_c = drawn(COURSE)
    later = np.interp(t_s - 60.0, t_s, temp_c)
    found = broken(at_s=2600.0, more=[sensor("spare", "load")], values={"spare": later})
    assert found.holds[1].measured_by == "spare"
    assert found.verdict == "pass"
    # One that was a minute ahead of it while both read cannot speak for the place of the one that was lost.
    assert broken(at_s=2600.0, more=[sensor("spare", "load")], values={"spare": temp_c}).verdict == "not proven"


# --- whatever the verdict rests on, the findings and the ways out of "not proven" say the same -----------------------


def test_a_long_soak_of_an_uncalibrated_sensor_is_a_fail_with_a_fail_finding():
    # 20 min 20 s where 15 at most are allowed; class 2 wire at 1000 may be 7.5 off, more than the band.
    wire = sensor(thermocouple="K", tolerance_class="2")
    found = checked(recipe=simple_recipe((1000, 10, 5), at_most_s=900.0), columns=[wire])
    assert found.verdict == "fail"
    assert codes(found, "fail") == {"long soak"}


def test_a_hold_that_fails_for_its_length_has_no_failing_overshoot():
    # 4 over where 3.9 are allowed: less than half a step and the noise, so not proven; the soak is short beyond doubt.
    recipe = simple_recipe((996, 30, 5), max_overshoot_c=3.95)
    found = checked(recipe=recipe)
    assert finding(found, "short soak").severity == "fail"
    assert finding(found, "overshoot").severity == "warn"


@pytest.mark.parametrize(
    ("recipe", "word"),
    [
        (simple_recipe((996, 10, 5), max_overshoot_c=3.95), "surer than"),
        (replace(simple_recipe((1000, 25, 5)), decide_on="true temperature"), "only a calibration"),
        (simple_recipe((1000, 10, 5), at_most_s=1220.0), "less above the lower edge"),
    ],
)
def test_not_proven_always_says_what_would_prove_it(recipe: Recipe, word: str):
    found = checked(recipe=recipe)
    assert found.verdict == "not proven"
    assert any(word in p for p in map(str, found.proves))


# --- what was not seen is no fail -----------------------------------------------------------------------------------


def test_a_sensor_at_the_end_of_its_range_below_the_band_shows_nothing():
    t_s, temp_c = drawn(HOLD, noise_c=0.3)
    found = verify(make_run(t_s, {"furnace": np.minimum(temp_c, 960.0)}), TEN)
    assert found.verdict == "not proven"
    assert {"sensor fault", "not on record"} <= codes(found)


def test_a_hold_too_short_to_show_on_a_slow_ramp_is_not_called_missing():
    # 0.1 K/s through a band of +-10 takes 200 s; 40 s more are no stop that shows, but there may have been one.
    recipe = simple_recipe((800, 1, 10), (900, 10, 5))
    slow = [(0, 720), (800, 800), (840, 800), (1840, 900), (2640, 900), (4440, 100)]
    straight = [(0, 720), (1800, 900), (2600, 900), (4400, 100)]
    for corners, verdict, severity in ((slow, "not proven", "warn"), (straight, "fail", "fail")):
        t_s, temp_c = drawn(corners, noise_c=1.5, seed=1)
        found = verify(make_run(t_s, {"furnace": temp_c}), recipe)
        assert found.holds[0].verdict == verdict
        assert finding(found, "hold missing").severity == severity


def test_the_climb_to_the_next_hold_is_no_soak_of_one_that_stood_below_its_band():
    # 10 min at 790, below 795, then up to 900 at 0.05 K/s, 200 s of it in the band: not enough for 5 min.
    recipe = simple_recipe((800, 5, 5), (900, 10, 5))
    found = checked([(0, 20), (1540, 790), (2140, 790), (4340, 900), (5140, 900), (6940, 100)], recipe)
    first = found.holds[0]
    assert first.soak_s is not None
    assert first.soak_s.high <= 205
    assert first.verdict == "fail"


def test_long_dips_are_dips_and_no_level_below_the_band():
    # 20 min at 1000 in which the furnace is at 950 for 11 of them.
    cut = [(0, 20), (1960, 1000), (2260, 1000), (2270, 950), (2930, 950), (2940, 1000), (3160, 1000), (5000, 80)]
    found = checked(cut, simple_recipe((1000, 5, 5)))
    assert "below its band once" in str(finding(found, "out of band").says)
