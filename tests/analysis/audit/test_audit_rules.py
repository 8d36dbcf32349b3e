"""Single rules of the audit on evidence made by hand, above all what it must never say."""

from __future__ import annotations

from dataclasses import replace

import pytest

from soakwitness.analysis.audit.audit_report import as_json
from soakwitness.analysis.audit.auditing import Audit, audit
from soakwitness.analysis.audit.catalogue import CAUSES, NOTHING
from soakwitness.analysis.audit.next_tests import OF_CAUSE
from soakwitness.analysis.evidence.batch_evidence import TreatmentEvidence
from soakwitness.analysis.evidence.run_figures import ConditionFigures, DipFigures, FindingFigures
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from tests.made_evidence import evidence, good_runs, piece, pieces, run, seen_by_two, stay, test

GOOD = good_runs()
WELL = pieces("good 0", 59.5, 59.6, 59.4, 59.5)


def first(found: Audit) -> str:
    return found.causes[0].cause


def claims(found: Audit) -> list[str]:
    return [c.cause for c in found.claimed]


def test_a_good_batch_gets_no_cause() -> None:
    found = audit(evidence(run("x"), good=GOOD, suspects=pieces("x", 59.4, 59.7, 59.5), good_pieces=WELL))
    assert first(found) == NOTHING
    assert claims(found) == []
    assert found.says == "The pieces are as they should be."


def test_soft_pieces_with_an_ordinary_record_get_no_cause_either() -> None:
    found = audit(evidence(run("x"), good=GOOD, suspects=pieces("x", 55.4, 55.7, 55.5), good_pieces=WELL))
    assert first(found) == NOTHING
    assert claims(found) == []
    assert found.causes[0].next


def test_pieces_without_any_run_are_answered() -> None:
    found = audit(evidence(None, suspects=(replace(pieces("x", 55.0)[0], harden=None),)))
    assert first(found) == NOTHING
    assert "No run" in str(found.causes[0].pro[0])


# never accuse


def test_one_sensor_alone_never_makes_drift_a_cause() -> None:
    # more output for the same reading and a slower climb: a sensor that reads low looks just so
    odd = run("x", hold={"output_pct": 52.0})
    found = audit(evidence(odd, good=GOOD, suspects=pieces("x", 55.0, 55.2), good_pieces=WELL))
    assert not {"thermocouple drift", "wrong thermocouple type", "reversed or wrong extension lead"} & set(
        claims(found)
    )
    assert any("Only one sensor" in note and "30 % more output" in note for note in found.notes)


def test_another_lot_in_another_run_does_not_accuse_the_supplier() -> None:
    odd = tuple(replace(p, lot="9") for p in pieces("x", 55.0, 55.2, 55.1))
    usual = tuple(replace(p, lot="7") for p in WELL)
    found = audit(evidence(run("x"), good=GOOD, suspects=odd, good_pieces=usual))
    # one run of each lot: that falls so by chance one time in two
    assert first(found) == NOTHING
    bar = next(c for c in found.causes if c.cause == "mixed or wrong bar")
    assert any("by chance 1 in 2" in str(text) for text in bar.pro)


def test_a_step_that_is_not_on_record_is_no_evidence() -> None:
    # the good ones have two tempers on record, the suspects none: soft pieces cannot have missed a temper
    well = tuple(replace(p, tempers=("t1", "t2")) for p in WELL)
    found = audit(evidence(run("x"), good=GOOD, suspects=pieces("x", 55.0, 55.2), good_pieces=well))
    assert claims(found) == []
    # and even too hard ones get it named with what is missing
    hard = audit(evidence(run("x"), good=GOOD, suspects=pieces("x", 63.0, 63.2), good_pieces=well))
    assert first(hard) == "temper missed"
    assert any("nobody entered" in str(m) for m in hard.causes[0].missing)


def test_differences_within_the_tester_s_repeatability_are_no_evidence() -> None:
    # 0.6 points apart; the machine error allowed is 0.5 at 60 HRC (ASTM E18-19 table A1.3, CHECKS.md section 2)
    late = run("x", pieces=(stay("x-0", quench_delay_s=140.0), stay("x-1", quench_delay_s=141.0)))
    near = audit(evidence(late, good=GOOD, suspects=pieces("x", 58.9, 58.8), good_pieces=WELL))
    assert claims(near) == []
    soft = audit(evidence(late, good=GOOD, suspects=pieces("x", 57.5, 57.4), good_pieces=WELL))
    assert claims(soft) == ["late quench"]


def test_what_the_good_runs_had_as_well_is_no_cause() -> None:
    dip = DipFigures(5500.0, 60.0, 30.0, 2.0)
    odd, usual = run("x", dips=(dip,)), tuple(replace(r, dips=(dip,)) for r in GOOD)
    found = audit(evidence(odd, good=usual, suspects=pieces("x", 55.0, 55.2), good_pieces=WELL))
    assert "door opened" not in claims(found)
    cold = run("x", hold={"in_band_s": 200.0, "soak_s": 200.0, "verdict": "fail"}, dips=(dip,))
    alone = audit(evidence(cold, good=GOOD, suspects=pieces("x", 55.0, 55.2), good_pieces=WELL))
    assert claims(alone)[0] == "door opened"


def test_a_dip_that_a_pull_explains_is_no_opened_door() -> None:
    dip = DipFigures(6705.0, 60.0, 30.0, 2.0)
    odd = run("x", dips=(dip,), pieces=(stay("x-0"),))
    found = audit(evidence(odd, good=GOOD, suspects=pieces("x", 55.0), good_pieces=WELL))
    assert "door opened" not in [c.cause for c in found.causes]


# within the run first


def test_within_the_run_the_place_tells_before_anything_between_runs() -> None:
    bad = tuple(replace(p, place="back") for p in pieces("x", 55.0, 55.3, 55.1))
    well = tuple(piece(f"x-w{i}", "x", 59.5, place="front") for i in range(5))
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, siblings=well, good_pieces=WELL))
    assert claims(found) == ["place in the furnace"]


def test_a_place_with_one_piece_each_tells_nothing() -> None:
    bad = (piece("x-0", "x", 55.0, place="1"),)
    well = tuple(piece(f"x-w{i}", "x", 59.5, place=str(i)) for i in range(2, 6))
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, siblings=well, good_pieces=WELL))
    assert "place in the furnace" not in claims(found)


def test_siblings_that_came_out_well_speak_against_a_cold_chamber() -> None:
    cold = run("x", hold={"work_c": 990.0, "control_c": 990.0})
    bad, well = pieces("x", 55.0, 55.3), tuple(piece(f"x-w{i}", "x", 59.5) for i in range(5))
    alone = audit(evidence(cold, good=GOOD, suspects=bad, good_pieces=WELL))
    among = audit(evidence(cold, good=GOOD, suspects=bad, siblings=well, good_pieces=WELL))
    assert claims(alone) == ["too cold"]
    assert claims(among) == []
    assert any("came out well" in str(text) for c in among.causes if c.cause == "too cold" for text in c.con)


def test_thick_packets_among_thin_ones_speak_for_lag() -> None:
    bad = tuple(piece(f"x-{i}", "x", 55.0, thickness_mm=6.0) for i in range(3))
    well = tuple(piece(f"x-w{i}", "x", 59.5, thickness_mm=3.0) for i in range(5))
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, siblings=well, good_pieces=WELL))
    assert claims(found) == ["packet lag ate the soak"]


def test_hardness_that_falls_with_the_pull_order_speaks_for_warm_plates() -> None:
    values = [60.5, 60.0, 59.2, 58.4, 57.6, 56.9]
    everyone = tuple(piece(f"x-{i}", "x", v) for i, v in enumerate(values))
    odd = run("x", pieces=tuple(stay(f"x-{i}", pull_s=6700.0 + 25 * i) for i in range(6)))
    found = audit(evidence(odd, good=GOOD, suspects=everyone[4:], siblings=everyone[:4], good_pieces=WELL))
    assert claims(found) == ["plates warmed by the blades before"]


# cause and effect


def test_the_edited_program_stands_above_the_cold_hold_it_made() -> None:
    odd = run("x", hold={"work_c": 1000.0, "control_c": 1000.0, "setpoint_c": 1000.0})
    found = audit(evidence(odd, good=GOOD, suspects=pieces("x", 57.0, 57.2), good_pieces=WELL))
    assert [c.cause for c in found.causes[:2]] == ["program edited", "too cold"]
    assert found.causes[1].explained_by == "program edited"


def test_a_deliberate_offset_of_the_program_is_no_edit() -> None:
    both = {"setpoint_c": 1044.0, "program_c": 1044.0}
    odd, usual = run("x", hold=both), tuple(run(r.run, hold=both) for r in GOOD)
    found = audit(evidence(odd, good=usual, suspects=pieces("x", 55.0, 55.2), good_pieces=WELL))
    assert "program edited" not in [c.cause for c in found.causes]


@pytest.mark.parametrize(
    ("cold", "hot", "cause"),
    [
        (20.0, 20.5, "controller offset changed"),  # the same shift cold and hot
        (0.0, -25.0, "reversed or wrong extension lead"),  # nothing cold, the same in every hold
    ],
)
def test_a_second_sensor_tells_which_chain_reads_wrong(cold: float, hot: float, cause: str) -> None:
    usual = tuple(seen_by_two(f"good {i}", 0.1 * i, -1.0 + 0.2 * i) for i in range(5))
    found = audit(
        evidence(
            seen_by_two("x", cold, hot, at_780=hot), good=usual, suspects=pieces("x", 57.9, 57.8), good_pieces=WELL,
            history=tuple(seen_by_two(f"h{i}", 0.0, -1.0 + 0.1 * (i % 3)) for i in range(8)),
        )
    )  # fmt: skip
    assert first(found) == cause


def test_a_sensor_that_reads_again_is_no_second_fault() -> None:
    events = ((4000.0, "sensor fault", "control: open circuit"), (4600.0, "sensor fault", "control: reads again"))
    suspect = run("bad", events=events)
    found = audit(evidence(suspect, good=good_runs(), suspects=pieces("bad", 55.0, 55.2)))
    (cause,) = (c for c in found.causes if c.cause == "open circuit")
    assert "The instrument reported a sensor fault once: control: open circuit." in map(str, cause.pro)


def test_a_difference_that_grew_slowly_is_drift() -> None:
    usual = tuple(seen_by_two(f"good {i}", 0.0, -1.0) for i in range(5))
    history = tuple(seen_by_two(f"h{i}", 0.0, -1.0 - 2.4 * i) for i in range(9))
    found = audit(
        evidence(
            seen_by_two("x", 0.0, -22.0),
            good=usual,
            suspects=pieces("x", 57.9, 57.8),
            good_pieces=WELL,
            history=history,
        )
    )
    assert first(found) == "thermocouple drift"
    assert any("slowly" in str(text) for text in found.causes[0].pro)


def test_a_calibration_overdue_is_named_and_never_the_cause() -> None:
    # overdue says nothing of what the sensor read: no dose
    late = replace(run("x"), sensor=replace(run("x").sensor, overdue=True, calibration_due="2026-01-01"))
    usual = tuple(replace(r, sensor=late.sensor) for r in GOOD)
    soft = pieces("x", 55.0, 55.2)
    for good in (GOOD, usual):
        found = audit(evidence(late, good=good, suspects=soft, good_pieces=WELL))
        assert claims(found) == []
        assert "calibration overdue" in [c.cause for c in found.causes]


def test_less_power_is_told_from_a_heavier_charge() -> None:
    def climbing(name: str, share: float) -> ConditionFigures:
        rates = {str(w): share * (1500.0 - w) for w in (100, 200, 300, 400)}
        return ConditionFigures(name, "small furnace", "2026-03-02T07:00:00Z", "k", True, full_power=rates)

    usual = {r.run: climbing(r.run, 1.0 + 0.005 * i) for i, r in enumerate(GOOD)}
    light = tuple(piece(f"{r.run}-{i}", r.run, 59.5, thickness_mm=3.0) for r in GOOD for i in range(4))
    four = tuple(piece(f"x-{i}", "x", 55.0, thickness_mm=3.0) for i in range(4))
    ten = tuple(piece(f"x-{i}", "x", 55.0, thickness_mm=3.0) for i in range(10))
    slow = {**usual, "x": climbing("x", 0.8)}
    odd = run("x", hold={"in_band_s": 200.0, "soak_s": 200.0, "verdict": "fail"})
    assert first(audit(evidence(odd, good=GOOD, suspects=four, good_pieces=light, condition=slow))) == (
        "low mains voltage or aged element"
    )
    assert first(audit(evidence(odd, good=GOOD, suspects=ten, good_pieces=light, condition=slow))) == (
        "overloaded charge"
    )
    # with every hold met as in the good runs neither can have cost anything
    for many in (four, ten):
        assert claims(audit(evidence(run("x"), good=GOOD, suspects=many, good_pieces=light, condition=slow))) == []


# after the quench


def test_a_skin_that_recovers_under_the_grinder_is_a_leaking_foil() -> None:
    bad = tuple(
        replace(p, foil=True, hardness=(*p.hardness, test(59.5, "after grinding", ground_off_mm=0.15)))
        for p in pieces("x", 55.0, 55.2)
    )
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, good_pieces=WELL))
    assert first(found) == "leaking foil"


def test_one_soft_edge_on_a_good_blade_is_heat_of_grinding() -> None:
    bad = tuple(
        replace(p, hardness=(*p.hardness, test(55.0, "after finish", spot="edge"))) for p in pieces("x", 59.5, 59.4)
    )
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, good_pieces=WELL))
    assert first(found) == "overheated in finish grinding"


def test_a_tester_that_reads_low_on_its_block_is_named() -> None:
    low = HardnessReading((56.4, 56.5, 56.6), block_value=60.0, block_readings=(57.0, 57.2))
    bad = tuple(replace(p, hardness=(test(56.5, "after second temper", reading=low),)) for p in pieces("x", 56.5, 56.5))
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, good_pieces=WELL))
    assert first(found) == "hardness tester"


def test_soft_as_quenched_and_recovering_with_cold_speaks_for_too_hot() -> None:
    hot = run("x", hold={"work_c": 1090.0, "control_c": 1090.0})
    bad = tuple(
        replace(p, hardness=(test(57.0, "after quench"), test(61.0, "after cold treatment"), *p.hardness))
        for p in pieces("x", 57.0, 57.2)
    )
    found = audit(evidence(hot, good=GOOD, suspects=bad, good_pieces=WELL))
    assert first(found) == "too hot"
    assert any("recovered with the cold treatment" in str(text) for text in found.causes[0].pro)


def test_a_warm_cold_treatment_is_seen_beside_the_good_ones() -> None:
    def treated(p: object, lowest: float) -> object:
        cold = TreatmentEvidence("cold treatment", "2026-03-02T10:00:00Z", "2026-03-02T12:00:00Z", lowest)
        return replace(p, treatments=(cold,))  # type: ignore[type-var]

    bad = tuple(treated(p, -30.0) for p in pieces("x", 56.5, 56.4))
    well = tuple(treated(p, -78.0) for p in WELL)
    found = audit(evidence(run("x"), good=GOOD, suspects=bad, good_pieces=well))  # type: ignore[arg-type]
    assert first(found) == "cold treatment late or warm"


# the answer itself


def test_every_cause_has_a_next_step_and_explains_only_known_ones() -> None:
    names = [cause.name for cause in CAUSES]
    assert len(set(names)) == len(names) == 38
    assert set(OF_CAUSE) == set(names)
    assert all(test.says.endswith(".") or "soakwitness" in test.says for tests in OF_CAUSE.values() for test in tests)
    assert all(effect in names for cause in CAUSES for effect in cause.explains)


def test_the_answer_as_plain_data_ranks_from_one_and_names_both_sides() -> None:
    wrong = FindingFigures("wrong unit suspected", "fail", 4, "Read in the other unit.")
    odd = run("x", hold={"control_c": 560.0, "work_c": 560.0}, findings=(wrong,))
    answer = as_json(audit(evidence(odd, good=GOOD, suspects=pieces("x", 40.0), good_pieces=WELL)))
    assert answer["schema"] == "soakwitness/audit/1"
    assert [c["rank"] for c in answer["causes"]] == list(range(1, len(answer["causes"]) + 1))
    assert answer["causes"][0]["cause"] == "°C/°F mix-up"
    assert answer["causes"][0]["claimed"]
    assert {"for", "against", "missing", "next"} <= set(answer["causes"][0])
    row = next(r for r in answer["differences"] if r["figure"] == "step 4: control reading")
    # by hand: good readings 1039.2 1039.6 1040.0 1040.4 1040.8, median 1040.0, MAD 0.4
    assert (row["suspect"], row["good_median"], row["good_count"]) == (560.0, 1040.0, 5)
    assert row["good_mad"] == pytest.approx(0.4)


def test_sentences_come_in_either_unit_and_differences_never_with_32() -> None:
    cold = run("x", hold={"work_c": 1030.0, "control_c": 1030.0})
    asked = evidence(cold, good=GOOD, good_pieces=WELL)
    # 1030 degC is 1886 degF; 10 K are 18 degrees Fahrenheit
    first = audit(asked).causes[0].pro[0]
    assert "at 1030 °C, 10 °C below" in first.text("C")
    assert "at 1886 °F, 18 °F below" in first.text("F")  # 1030 x 1.8 + 32; 10 x 1.8
