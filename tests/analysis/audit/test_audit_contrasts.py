"""Rules of the audit that tell causes apart which leave much the same record, on evidence made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.audit.auditing import Audit, audit
from soakwitness.analysis.audit.catalogue import NOTHING
from soakwitness.analysis.audit.contrasts.weighing import Opinion
from soakwitness.analysis.evidence.batch_evidence import PieceEvidence
from soakwitness.analysis.evidence.run_figures import (
    ConditionFigures,
    Difference,
    DipFigures,
    FindingFigures,
    HoldFigures,
    RunFigures,
)
from tests.made_evidence import HOLD, RECIPE, evidence, good_runs, piece, pieces, run, seen_by_two, stay, test

GOOD = good_runs()
WELL = pieces("good 0", 59.5, 59.6, 59.4, 59.5)
SOFT = pieces("x", 55.0, 55.2, 55.1, 55.0)
A_LITTLE_SOFT = pieces("x", 57.9, 57.8, 57.9, 58.0)  # 1.6 points: 20 K too cold can cost 1.2


def claims(found: Audit) -> list[str]:
    return [c.cause for c in found.claimed]


def named(found: Audit, cause: str) -> Opinion | None:
    return next((c for c in found.causes if c.cause == cause), None)


# the charge: heavy, thick, or neither


def climbing(name: str, share: float) -> ConditionFigures:
    rates = {str(w): share * (1500.0 - w) for w in (100, 200, 300, 400)}
    return ConditionFigures(name, "small furnace", "2026-03-02T07:00:00Z", "k", True, full_power=rates)


# 200 s of the 1500 s in the band: less than five minutes of soak cost 1 to 4 points and more (engineering guess)
SHORT = {"chamber_s": 200.0, "in_band_s": 200.0, "soak_s": 200.0, "verdict": "fail"}
CLIMBED = {r.run: climbing(r.run, 1.0) for r in GOOD}
LIGHT = tuple(piece(f"{r.run}-{i}", r.run, 59.5, thickness_mm=3.0) for r in GOOD for i in range(4))


def charge(count: int, thickness_mm: float = 3.0, hrc: float = 55.0) -> tuple[PieceEvidence, ...]:
    return tuple(piece(f"x-{i}", "x", hrc, thickness_mm=thickness_mm) for i in range(count))


def test_a_heavy_charge_of_which_others_came_out_well_is_not_the_cause() -> None:
    bad, well = charge(2), tuple(piece(f"x-w{i}", "x", 59.5, thickness_mm=3.0) for i in range(8))
    slow = {**CLIMBED, "x": climbing("x", 0.85)}
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, siblings=well, good_pieces=LIGHT, condition=slow))
    assert "overloaded charge" not in claims(found)


def test_a_charge_explains_no_slower_climb_than_its_weight_can_bring() -> None:
    # 6 for 4 pieces: were half of the heat the charge's, the rate would be 1 / 1.25 of the usual; it is 0.6
    slow = {**CLIMBED, "x": climbing("x", 0.6)}
    odd = run("x", hold=SHORT)
    found = audit(evidence(odd, good=GOOD, suspects=charge(6), good_pieces=LIGHT, condition=slow))
    assert claims(found)[0] == "low mains voltage or aged element"
    assert "overloaded charge" not in claims(found)


def test_a_charge_that_had_its_soak_and_climbed_as_usual_was_not_too_heavy() -> None:
    had = run("x", pieces=tuple(stay(f"x-{i}") for i in range(7)))
    same = {**CLIMBED, "x": climbing("x", 0.92)}
    found = audit(evidence(had, good=GOOD, suspects=charge(7), good_pieces=LIGHT, condition=same))
    assert claims(found) == []


def test_few_thick_packets_lag_and_many_thin_ones_load_the_furnace() -> None:
    late = {"soak_share": 0.1, "soak_s": 150.0, "lag_s": 600.0, "step": 4}
    usual = tuple(replace(r, pieces=(stay("g", lag_s=70.0),)) for r in GOOD)
    for pieces_, cause in ((charge(4, 9.0), "packet lag ate the soak"), (charge(12, 3.0), "overloaded charge")):
        odd = run("x", temperature_from="load", pieces=tuple(stay(p.id, **late) for p in pieces_))
        found = audit(evidence(odd, good=usual, suspects=pieces_, good_pieces=LIGHT))
        assert claims(found)[0] == cause


def test_a_lag_that_harmed_no_packet_as_thick_is_not_the_cause() -> None:
    odd = run("x", temperature_from="load", pieces=tuple(stay(f"x-{i}", soak_share=0.8, step=4) for i in range(6)))
    bad, well = charge(2), tuple(piece(f"x-w{i}", "x", 59.5, thickness_mm=3.0) for i in range(4))
    found = audit(evidence(odd, good=GOOD, suspects=bad, siblings=well, good_pieces=LIGHT))
    assert "packet lag ate the soak" not in claims(found)


# levels


def test_a_hold_where_the_good_ones_stood_is_neither_too_hot_nor_too_cold() -> None:
    above = {"work_c": 1050.0, "control_c": 1050.0}
    usual = tuple(run(r.run, hold=above) for r in GOOD)
    found = audit(evidence(run("x", hold=above), good=usual, suspects=SOFT, good_pieces=WELL))
    assert named(found, "too hot") is None


def test_nearer_to_the_target_than_the_good_ones_is_not_too_cold() -> None:
    usual = tuple(run(r.run, hold={"work_c": 1048.0, "control_c": 1048.0}) for r in GOOD)
    odd = run("x", hold={"work_c": 1041.0, "control_c": 1041.0})
    found = audit(evidence(odd, good=usual, suspects=SOFT, good_pieces=WELL))
    assert named(found, "too cold") is None


def test_a_hold_that_the_record_shows_to_be_missing_is_a_short_soak() -> None:
    gone = HoldFigures(4, 1040.0, 1034.0, 1046.0, 1500.0, found=False, verdict="fail")
    ended = FindingFigures("run ended early", "fail", 4, "The run ended before the hold at 1040 °C.")
    odd = replace(run("x", findings=(ended,)), holds=(gone,))
    found = audit(evidence(odd, good=GOOD, suspects=SOFT, good_pieces=WELL))
    assert claims(found) == ["short soak"]


# what a gap in the record hides


@pytest.mark.parametrize("setpoint_s", [300.0, None])
def test_a_hold_of_which_the_record_misses_enough_is_a_gap_and_no_short_soak(setpoint_s: float | None) -> None:
    hold = {"chamber_enter_s": 6300.0, "chamber_s": 500.0, "in_band_s": 500.0, "setpoint_s": setpoint_s,
            "verdict": "not proven"}  # fmt: skip
    odd = run("x", hold=hold, gaps=((5100.0, 6300.0),), gap_c=(1039.0,))
    found = audit(evidence(odd, good=GOOD, suspects=SOFT, good_pieces=WELL))
    assert claims(found) == ["record gap"]
    short = named(found, "short soak")
    assert short is not None
    assert any("meanwhile" in str(text) for text in short.con)


# door and pull


def dipped(name: str, *at_s: float, depth: float = 25.0, hold: dict[str, object] | None = None) -> RunFigures:
    return run(name, hold=hold, dips=tuple(DipFigures(t, 20.0, depth, 2.0) for t in at_s))


def test_falls_at_the_end_of_the_last_hold_are_the_pulling_where_no_pull_is_marked() -> None:
    # the hold ends at 6800 s (HOLD): four pieces come out from 6640 s on
    found = audit(evidence(dipped("x", 6640.0, 6680.0, 6720.0), good=GOOD, suspects=SOFT, good_pieces=WELL))
    assert "door opened" not in claims(found)
    cold = dipped("x", 5400.0, 5700.0, hold=SHORT)
    early = audit(evidence(cold, good=GOOD, suspects=SOFT, good_pieces=WELL))
    assert claims(early)[0] == "door opened"


def test_one_fall_more_than_the_usual_good_run_is_no_opened_door() -> None:
    usual = tuple(replace(dipped(r.run, *range(5200, 5200 + 100 * (i + 1), 100))) for i, r in enumerate(GOOD))
    found = audit(evidence(dipped("x", 5200.0, 5300.0, 5400.0, 5500.0), good=usual, suspects=SOFT, good_pieces=WELL))
    assert "door opened" not in claims(found)


# the program


def test_a_setpoint_that_stood_longer_in_the_good_runs_too_is_no_edited_program() -> None:
    says = "What the controller followed is not the recipe's program: the setpoint stood for {} min."
    usual = tuple(
        run(r.run, hold={"setpoint_s": 1700.0 + 20 * i}, findings=(_differs(says.format(28 + i)),))
        for i, r in enumerate(GOOD)
    )
    odd = run("x", hold={"setpoint_s": 1800.0}, findings=(_differs(says.format(30)),))
    found = audit(evidence(odd, good=usual[:2] + GOOD[2:], suspects=SOFT, good_pieces=WELL))
    assert "program edited" not in claims(found)
    other = run(
        "x", hold=SHORT, findings=(_differs("What the controller followed: the setpoint went at 1500 °C an hour."),)
    )
    assert claims(audit(evidence(other, good=usual, suspects=SOFT, good_pieces=WELL)))[0] == "program edited"


def _differs(says: str) -> FindingFigures:
    return FindingFigures("program differs", "warn", 4, says)


# one chain of two


def test_the_same_shift_in_every_hold_is_an_offset_even_where_nobody_saw_it_cold() -> None:
    usual = tuple(_without_cold(seen_by_two(f"good {i}", 0.0, 0.2 * i)) for i in range(5))
    odd = _without_cold(seen_by_two("x", 0.0, 20.6, at_780=20.4))
    found = audit(evidence(odd, good=usual, suspects=A_LITTLE_SOFT, good_pieces=WELL))
    assert claims(found)[0] == "controller offset changed"


def _without_cold(figures: RunFigures) -> RunFigures:
    return replace(figures, differences=tuple(d for d in figures.differences if d.step is not None))


def test_a_furnace_still_warm_from_the_day_before_is_no_cold_comparison() -> None:
    usual = tuple(seen_by_two(f"good {i}", 0.0, 0.2 * i) for i in range(5))
    odd = seen_by_two("x", 0.0, 20.6, at_780=20.4)
    warm = (Difference("second", "recording", 55.0, 35.0), *odd.differences[1:])
    found = audit(evidence(replace(odd, differences=warm), good=usual, suspects=A_LITTLE_SOFT, good_pieces=WELL))
    assert claims(found)[0] == "controller offset changed"


def test_more_than_ageing_brings_from_one_run_to_the_next_is_a_lead_and_no_drift() -> None:
    # two good runs are enough to see that: 45 K at once
    usual = tuple(seen_by_two(f"good {i}", 0.0, -1.0) for i in range(2))
    odd = replace(seen_by_two("x", 0.0, -46.0, at_780=-31.0), started_utc="2026-03-09T07:00:00Z")
    found = audit(evidence(odd, good=usual, suspects=SOFT, good_pieces=WELL))
    assert claims(found)[0] == "reversed or wrong extension lead"
    assert "thermocouple drift" not in claims(found)


def test_another_type_must_be_one_in_place_of_the_type_that_the_good_runs_had() -> None:
    # what S wired and R set would show, but the good runs were read right with K
    usual = tuple(seen_by_two(f"good {i}", 0.0, 0.0) for i in range(2))
    odd = replace(seen_by_two("x", 0.0, -80.5, at_780=-51.1), started_utc="2026-03-09T07:00:00Z")
    found = audit(evidence(odd, good=usual, suspects=SOFT, good_pieces=WELL))
    assert "wrong thermocouple type" not in claims(found)


def test_two_wires_that_differ_by_their_tolerance_accuse_none_where_no_good_run_is_there() -> None:
    # class 2 is 0.75 % (IEC 60584-1): 7.8 K at 1040 degC for each of the two
    for hot, sure in ((-6.0, False), (-40.0, True)):
        found = audit(evidence(seen_by_two("x", 0.0, hot), suspects=SOFT))
        chains = {"thermocouple drift", "reversed or wrong extension lead", "wrong thermocouple type"}
        assert bool(chains & set(claims(found))) == sure
        assert not any("than in the good runs" in str(text) for c in found.causes for text in c.pro)


def test_a_second_sensor_that_could_not_be_compared_is_not_called_absent() -> None:
    cold_only = replace(seen_by_two("x", 0.0, 0.0), differences=seen_by_two("x", 0.0, 0.0).differences[:1])
    found = audit(evidence(cold_only, good=GOOD, suspects=SOFT, good_pieces=WELL))
    assert not any("Only one sensor" in note for note in found.notes)
    assert any("In no hold" in note for note in found.notes)


# plates


def pulled(*values: float) -> tuple[RunFigures, tuple[PieceEvidence, ...]]:
    figures = run("x", pieces=tuple(stay(f"x-{i}", pull_s=6700.0 + 25 * i) for i in range(len(values))))
    return figures, tuple(piece(f"x-{i}", "x", v) for i, v in enumerate(values))


def test_one_soft_blade_in_the_middle_is_no_warm_plate() -> None:
    odd, everyone = pulled(59.9, 59.8, 59.7, 54.0, 59.6, 59.5)
    found = audit(
        evidence(odd, good=GOOD, suspects=everyone[3:4], siblings=everyone[:3] + everyone[4:], good_pieces=WELL)
    )
    assert "plates warmed by the blades before" not in claims(found)


def test_where_the_first_blade_met_cold_plates_and_is_as_soft_the_plates_are_not_to_blame() -> None:
    odd, everyone = pulled(57.0, 56.6, 56.2, 55.8, 55.4, 55.0)
    found = audit(evidence(odd, good=GOOD, suspects=everyone, good_pieces=WELL))
    assert "plates warmed by the blades before" not in claims(found)


def test_a_blade_soft_at_one_spot_only_speaks_for_poor_contact_whatever_it_was_as_quenched() -> None:
    spots = (test(54.0, "after second temper", spot="tip"), test(59.0, "after second temper", spot="spine"))
    bad = tuple(replace(p, hardness=(test(60.5, "after quench"), *spots)) for p in pieces("x", 56.0))
    well = tuple(piece(f"x-w{i}", "x", 59.5) for i in range(5))
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, siblings=well, good_pieces=WELL))
    opinion = named(found, "poor plate contact")
    assert opinion is not None
    assert any("range over" in str(text) for text in opinion.pro)


# tempers


def tempering(name: str, level_c: float | None) -> RunFigures:
    hold = HoldFigures(2, 200.0, 192.0, 208.0, 7200.0, found=level_c == 200.0, control_c=level_c, work_c=level_c,
                       soak_s=7200.0 if level_c == 200.0 else None)  # fmt: skip
    return replace(run(name), holds=(hold,), recipe_digest="temper", recipe="temper")


@pytest.mark.parametrize(
    ("level_c", "cause"), [(110.0, "temper too cold"), (93.0, "°C/°F mix-up"), (None, "temper missed")]
)
def test_a_temper_held_elsewhere_was_not_missed(level_c: float | None, cause: str) -> None:
    # 200 degF are 93.3 degC
    hard = tuple(replace(p, tempers=("t",)) for p in pieces("x", 62.5, 62.4))
    well = tuple(replace(p, tempers=("u",)) for p in WELL)
    others = (tempering("t", level_c), tempering("u", 200.0))
    found = audit(evidence(run("x"), good=GOOD, suspects=hard, good_pieces=well, others=others))
    assert claims(found)[0] == cause


# pieces


def test_a_piece_just_inside_the_limits_beside_soft_ones_is_no_good_sibling() -> None:
    # limits 58 to 61: 58.1 is nearer to the suspects' 57 than to the middle, 59.5
    assert RECIPE.hardness_final == (58.0, 61.0)
    beside = (piece("x-w0", "x", 58.1), piece("x-w1", "x", 59.4))
    found = audit(evidence(run("x"), good=GOOD, suspects=pieces("x", 57.0), siblings=beside, good_pieces=WELL))
    assert found.siblings == ("x-w1",)


def test_soft_as_quenched_and_well_in_the_end_still_wants_a_cause() -> None:
    hot = run("x", hold={"work_c": 1085.0, "control_c": 1085.0})
    bad = tuple(
        replace(p, hardness=(test(57.0, "after quench"), test(61.0, "after cold treatment"), *p.hardness))
        for p in pieces("x", 59.4, 59.5)
    )
    well = tuple(replace(p, hardness=(test(61.5, "after quench"), *p.hardness)) for p in WELL)
    assert claims(audit(evidence(hot, good=GOOD, suspects=bad, good_pieces=well))) == ["too hot"]


def test_good_pieces_from_an_odd_run_are_not_said_to_have_an_ordinary_record() -> None:
    over = run("x", hold={"overshoot_c": 30.0, "above_s": 400.0})
    found = audit(evidence(over, good=GOOD, suspects=pieces("x", 59.4, 59.5), good_pieces=WELL))
    assert found.causes[0].cause == NOTHING
    assert "named below" in str(found.causes[0].pro[0])
    assert HOLD.overshoot_c == 2.0
