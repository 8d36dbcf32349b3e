"""Blades that wait, and those that look alike and do not. Hours count from the first morning; pulls are told."""

from __future__ import annotations

import pytest

from soakwitness.analysis.logbook.run_loads import enter_load
from tests.waiting_days import COLD_FIRST, PLAIN, TEMPER, TWICE, Workshop, stamp

BLADES = ("temper", "cold treatment", "second temper")
SIX = [f"B-04{i}" for i in range(1, 7)]


def hardened(shop: Workshop, recipe: str = PLAIN, *pieces: str) -> str:
    """Pieces hardened from the first hour on, pulled an hour and a half into the run: at 1.5 h."""
    names = pieces or tuple(SIX)
    shop.pieces(*names)
    return shop.run(0, recipe, *names, pull=[(1.5, [])])


def test_blades_that_were_quenched_and_not_tempered_wait_with_their_hours(shop: Workshop) -> None:
    run = hardened(shop)
    (act,) = shop.acts(6.5, *BLADES)
    assert (act.kind, act.urgency) == ("temper", "today")
    assert str(act.says) == "B-041 to B-046: quenched 5 h ago, no temper on record."
    assert act.settle == "soakwitness piece treatment temper B-041..B-046"
    assert act.for_s == 5 * 3600
    assert act.since_utc == "2026-03-02T08:30:00Z"
    assert act.page == ("run", run)
    assert [c.name for c in act.concerns if c.about == "piece"] == SIX


def test_two_charges_of_one_run_are_one_sentence_with_the_longest_wait(shop: Workshop) -> None:
    shop.pieces("B-1", "B-2")
    shop.run(0, PLAIN, "B-1", "B-2", hours=4, pull=[(1.5, ["B-1"]), (3.5, ["B-2"])])
    assert shop.says(6.5, *BLADES) == ["B-1 and B-2: quenched up to 5 h ago, no temper on record."]


def test_after_a_day_it_is_said_at_once(shop: Workshop) -> None:
    hardened(shop, PLAIN, "B-1")
    (act,) = shop.acts(1.5 + 25, *BLADES)
    assert act.urgency == "at once"
    assert str(act.says) == "B-1: quenched 25 h ago, no temper on record; common practice is within 24 h."
    assert act.page == ("piece", "B-1")


def test_a_blade_that_still_is_in_the_furnace_does_not_wait(shop: Workshop) -> None:
    shop.pieces("B-1", "B-2")
    shop.run(0, PLAIN, "B-1", "B-2", hours=1.6, pull=[(1.5, ["B-1"])], goes_on=True)
    assert shop.says(1.7, *BLADES) == ["B-1: quenched 12 min ago, no temper on record."]


def test_tempered_in_a_run_or_entered_is_the_same(shop: Workshop) -> None:
    hardened(shop)
    shop.run(4, TEMPER, "B-041", "B-042")
    shop.did(5, "temper", "B-043..B-044")
    shop.hard(6, "B-045")  # after a temper: so there was one
    assert shop.says(20, *BLADES) == ["B-046: quenched 18 h 30 min ago, no temper on record."]


def test_what_is_in_the_tempering_furnace_now_does_not_wait(shop: Workshop) -> None:
    hardened(shop, TWICE, "B-1")
    shop.run(4, TEMPER, "B-1", hours=0.5, goes_on=True)
    assert shop.acts(4.5, *BLADES, "hardness") == []


def test_left_out_and_said_so_is_not_asked_again(shop: Workshop) -> None:
    hardened(shop, PLAIN, "B-1")
    shop.did(8, "temper", "B-1", not_done=True)
    assert shop.acts(60, *BLADES) == []


def test_the_recipe_s_own_order_counts(shop: Workshop) -> None:
    hardened(shop, COLD_FIRST, "B-1")
    assert shop.says(3.5, *BLADES) == ["B-1: quenched 2 h ago, no cold treatment on record."]
    (late,) = shop.acts(1.5 + 13, *BLADES)
    assert (late.kind, late.urgency) == ("cold treatment", "at once")
    (later,) = shop.acts(1.5 + 30, *BLADES)
    assert later.kind == "temper"
    assert "neither cold treatment nor temper on record" in str(later.says)
    assert later.settle == "soakwitness piece treatment 'cold treatment' B-1"
    shop.did(4, "cold treatment", "B-1", hours=12)
    assert shop.says(20, *BLADES) == ["B-1: quenched 18 h 30 min ago, no temper on record."]
    shop.did(21, "temper", "B-1")
    (second,) = shop.acts(26, *BLADES)
    assert (second.kind, second.urgency) == ("second temper", "soon")
    assert str(second.says) == "B-1: the second temper is not on record; the step before it ended 3 h ago."
    shop.did(27, "temper", "B-1")
    assert shop.acts(40, *BLADES) == []


def test_a_step_that_came_without_the_one_before_it_is_past(shop: Workshop) -> None:
    hardened(shop, COLD_FIRST, "B-1")
    shop.did(4, "temper", "B-1")
    (act,) = shop.acts(8, *BLADES)
    assert act.kind == "second temper"


def test_a_recipe_that_states_one_temper_asks_for_one(shop: Workshop) -> None:
    hardened(shop, PLAIN, "B-1")
    shop.did(4, "temper", "B-1")
    assert shop.acts(8, *BLADES) == []


def test_the_second_temper_is_asked_until_the_blade_was_ground(shop: Workshop) -> None:
    hardened(shop, TWICE, "B-1")
    shop.did(4, "temper", "B-1")
    assert [act.kind for act in shop.acts(8, *BLADES)] == ["second temper"]
    shop.did(9, "straightening", "B-1")
    assert [act.kind for act in shop.acts(12, *BLADES)] == ["second temper"]
    shop.did(13, "grinding", "B-1")
    assert shop.acts(16, *BLADES) == []


def test_grinding_before_any_temper_takes_nothing_away(shop: Workshop) -> None:
    hardened(shop, PLAIN, "B-1")
    shop.did(4, "grinding", "B-1")
    assert [act.kind for act in shop.acts(8, *BLADES)] == ["temper"]


def test_hardness_after_the_first_of_two_tempers_is_not_the_end(shop: Workshop) -> None:
    hardened(shop, TWICE, "B-1")
    shop.hard(5, "B-1")
    assert [act.kind for act in shop.acts(8, *BLADES)] == ["second temper"]
    shop.hard(9, "B-1", "second temper")
    assert shop.acts(12, *BLADES) == []


def test_coupons_and_empty_runs_wait_for_nothing(shop: Workshop) -> None:
    shop.pieces("C-1", coupon=True)
    shop.run(0, PLAIN, "C-1", pull=[(1.5, [])])
    assert shop.acts(8, *BLADES) == []
    run = shop.run(9, PLAIN)
    assert len(shop.acts(12, *BLADES)) == 1
    enter_load(shop.book, run=run, empty=True, stamp=stamp(12))
    assert shop.acts(12, *BLADES) == []


def test_what_nobody_named_waits_until_something_nameless_was_tempered(shop: Workshop) -> None:
    run = shop.run(0, PLAIN)
    (act,) = shop.acts(5, *BLADES)
    assert str(act.says) == (
        "What was hardened in shed, no piece named: quenched 2 h 58 min ago or longer, no temper on record."
    )
    assert act.settle == f"soakwitness piece charge {run} PIECE"
    shop.run(6, TEMPER)
    assert shop.acts(12, *BLADES) == []


@pytest.mark.parametrize(("recipe", "top_c"), [(TEMPER, 205.0), (PLAIN, 600.0)], ids=["a temper", "never got hot"])
def test_a_run_that_hardens_nothing_leaves_nothing_to_temper(shop: Workshop, recipe: str, top_c: float) -> None:
    shop.pieces("B-1")
    shop.run(0, recipe, "B-1", top_c=top_c, pull=[(1.5, [])])
    assert shop.acts(30, *BLADES) == []


def test_heat_measured_of_an_earlier_state_of_a_run_says_nothing(shop: Workshop) -> None:
    """A run that goes on was looked at while it was cold; since then the blade was heated and pulled."""
    run = shop.run(0, PLAIN, pull=[(1.5, ["B-1"])], goes_on=True, top_c=600.0)
    assert shop.acts(2, *BLADES) == []
    with shop.book.writing(stamp(2)):
        shop.book.connection.execute("UPDATE run_heat SET files = 'open samples.csv 12' WHERE run = ?", (run,))
    assert [act.kind for act in shop.acts(2, *BLADES)] == ["temper"]


def test_without_a_recipe_heat_and_a_pull_mark_tell(shop: Workshop) -> None:
    shop.pieces("B-1", "B-2")
    shop.run(0, None, "B-1", pull=[(1.5, [])])
    shop.run(4, None, "B-2")  # as hot and nobody pulled it: annealed, for all that is known
    assert shop.says(8, *BLADES) == ["B-1: quenched 6 h 30 min ago, no temper on record."]
    shop.run(9, None, "B-1", top_c=205.0)
    assert shop.acts(20, *BLADES) == []


def test_a_temper_of_which_nobody_said_what_it_held_is_offered_for_the_blades(shop: Workshop) -> None:
    hardened(shop, PLAIN, "B-1", "B-2", "B-3")
    run = shop.run(4, TEMPER)
    (act,) = shop.acts(8.5, *BLADES)
    assert str(act.says) == (
        "B-1 to B-3: quenched 7 h ago, no temper on record; the temper of 2026-03-02 11:00 names no piece."
    )
    assert act.settle == f"soakwitness piece charge {run} B-1..B-3"


def test_a_temper_before_the_quench_is_not_offered(shop: Workshop) -> None:
    shop.run(0, TEMPER)
    shop.pieces("B-1")
    shop.run(4, PLAIN, "B-1", pull=[(1.5, [])])
    assert shop.says(8.5, *BLADES) == ["B-1: quenched 3 h ago, no temper on record."]


def test_pieces_that_only_marks_name_are_to_be_entered_first(shop: Workshop) -> None:
    shop.run(0, PLAIN, pull=[(1.4, ["B-1"]), (1.5, ["B-2"])])
    (act,) = shop.acts(3, *BLADES)
    assert act.settle == "soakwitness piece add B-1 B-2"


def test_hardened_again_begins_anew(shop: Workshop) -> None:
    hardened(shop, PLAIN, "B-1")
    shop.did(4, "temper", "B-1")
    shop.run(30, PLAIN, "B-1", pull=[(1.5, [])])
    assert shop.says(33.5, *BLADES) == ["B-1: quenched 2 h ago, no temper on record."]


def test_what_is_long_past_is_not_asked_and_can_be(shop: Workshop) -> None:
    hardened(shop, PLAIN, "B-1")
    assert len(shop.acts(1.5 + 29 * 24, *BLADES)) == 1
    assert shop.acts(1.5 + 31 * 24, *BLADES) == []
    (act,) = shop.acts(1.5 + 31 * 24, *BLADES, days=60)
    assert str(act.says).startswith("B-1: quenched 31 days ago")


def test_hardness_is_missing_where_the_recipe_has_limits_and_all_tempers_are_done(shop: Workshop) -> None:
    hardened(shop, TWICE, "B-1", "B-2")
    shop.did(4, "temper", "B-1", "B-2")
    assert shop.acts(7, "hardness") == []  # one temper to come
    shop.did(8, "temper", "B-1", "B-2")
    (act,) = shop.acts(12, "hardness")
    assert str(act.says) == "B-1 and B-2: no final hardness on record; the recipe has 58 to 61 HRC."
    assert act.settle == "soakwitness piece hardness B-1 HRC --after temper"
    shop.hard(13, "B-1", "second temper")
    assert [c.name for a in shop.acts(14, "hardness") for c in a.concerns if c.about == "piece"] == ["B-2"]
    shop.hard(13, "B-2", "finish")
    assert shop.acts(14, "hardness") == []


def test_hardness_as_quenched_is_not_the_final_one(shop: Workshop) -> None:
    hardened(shop, PLAIN, "B-1")
    shop.hard(3, "B-1", "quench")
    shop.did(4, "temper", "B-1")
    assert len(shop.acts(8, "hardness")) == 1


def test_a_coupon_speaks_for_its_run_and_no_limits_ask_for_none(shop: Workshop) -> None:
    shop.pieces("C-1", coupon=True)
    shop.pieces("B-1", "B-2")
    shop.run(0, PLAIN, "B-1", "C-1", pull=[(1.5, [])])
    shop.run(3, PLAIN.replace("[hardness]\nfinal = [58, 61]\n", ""), "B-2", pull=[(1.5, [])])
    shop.did(6, "temper", "B-1", "B-2")
    assert [c.name for a in shop.acts(10, "hardness") for c in a.concerns if c.about == "piece"] == ["B-1"]
    shop.hard(10, "C-1")
    assert shop.acts(11, "hardness") == []


def test_a_working_day_from_the_first_heat_to_the_second_temper(shop: Workshop) -> None:
    """Six blades and a coupon, hour by hour; what waits is what a maker would do next."""
    shop.pieces("B-041..B-046")
    shop.pieces("C-1", coupon=True)
    everyone = ("B-041..B-046",)
    run = shop.run(0, COLD_FIRST, *SIX, "C-1", pull=[(1.5 + 0.02 * k, [name]) for k, name in enumerate([*SIX, "C-1"])])
    shop.verdict(run, "pass")
    seen = [(2, shop.says(2, *BLADES, "hardness"))]
    shop.did(3, "cold treatment", *everyone)
    seen.append((6, shop.says(6, *BLADES, "hardness")))
    temper = shop.run(7, TEMPER, *SIX, "C-1")
    shop.verdict(temper, "pass")
    seen.append((10, shop.says(10, *BLADES, "hardness")))
    shop.verdict(shop.run(11, TEMPER, *SIX, "C-1"), "pass")
    seen.append((14, shop.says(14, *BLADES, "hardness")))
    shop.hard(15, "C-1", "second temper")
    seen.append((16, shop.says(16, *BLADES, "hardness", "look", "decision")))
    assert seen == [
        (2, ["B-041 to B-046: quenched 30 min ago, no cold treatment on record."]),
        (6, ["B-041 to B-046: quenched 4 h 30 min ago, no temper on record."]),
        # the temper's record ends at 9:02, two minutes after its last hour
        (10, ["B-041 to B-046: the second temper is not on record; the step before it ended 58 min ago."]),
        (14, ["B-041 to B-046: no final hardness on record; the recipe has 58 to 61 HRC."]),
        (16, []),
    ]
