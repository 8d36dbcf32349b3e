"""Runs that wait for a decision or a look, and those that do not."""

from __future__ import annotations

from soakwitness.analysis.logbook.dispositions import add_disposition
from soakwitness.analysis.logbook.doubting import confirm_run
from soakwitness.analysis.logbook.run_loads import enter_load
from soakwitness.analysis.logbook.sensors import add_survey
from soakwitness.analysis.logbook.striking import strike_run
from tests.waiting_days import PLAIN, Workshop, stamp

SHORT, LATE = ("short soak", 4), ("late quench", None)


def test_a_failed_run_waits_for_a_decision(shop: Workshop) -> None:
    run = shop.run(0, PLAIN)
    shop.verdict(run, "fail", SHORT, LATE)
    (act,) = shop.acts(5, "decision")
    assert str(act.says) == (
        "The run of 2026-03-02 07:00 in shed failed (short soak and late quench), and no decision is on record."
    )
    assert act.settle == f"soakwitness disposition {run} --decide DECISION --why REASON"
    add_disposition(shop.book, run, "scrap", stamp=stamp(5))
    assert shop.acts(6, "decision") == []


def test_a_decision_about_one_finding_leaves_the_other(shop: Workshop) -> None:
    run = shop.run(0, PLAIN)
    shop.verdict(run, "fail", SHORT, LATE)
    add_disposition(shop.book, run, "use as it is", finding="short soak", stamp=stamp(5))
    (act,) = shop.acts(6, "decision")
    assert "(late quench)" in str(act.says)
    add_disposition(shop.book, run, "use as it is", finding="late quench", stamp=stamp(6))
    assert shop.acts(7, "decision") == []


def test_runs_that_passed_or_are_not_proven_wait_for_none(shop: Workshop) -> None:
    shop.verdict(shop.run(0, PLAIN), "pass")
    shop.verdict(shop.run(3, PLAIN), "not proven")
    assert shop.acts(8, "decision", "look") == []


def test_an_empty_run_that_failed_is_asked_for_no_decision(shop: Workshop) -> None:
    run = shop.run(0, PLAIN)
    shop.verdict(run, "fail", SHORT)
    enter_load(shop.book, run=run, empty=True, stamp=stamp(3))
    assert shop.acts(5, "decision") == []


BRICKS = [(0.0, "doubtful", "level above 70 °C, by the heater or by hot bricks")]


def test_doubtful_runs_are_one_sentence_until_they_are_settled(shop: Workshop) -> None:
    """Such a run is asked for neither verdict nor decision: nobody knows whether it was a heating."""
    first = shop.run(0, PLAIN, events=BRICKS)
    (act,) = shop.acts(3, "doubtful", "look", "decision")
    assert str(act.says) == (
        "The run of 2026-03-02 07:00 in shed may be no heating: level above 70 °C, by the heater or by hot bricks."
    )
    assert act.settle == "soakwitness runs --doubtful"
    assert (act.page, act.urgency) == (("run", first), "when it suits")
    newest = shop.run(3, PLAIN, events=BRICKS)
    shop.run(6, PLAIN, events=BRICKS, goes_on=True)  # the watch may settle it yet
    (act,) = shop.acts(9, "doubtful")
    assert str(act.says) == "2 runs may be no heatings, the latest of 2026-03-02 10:00 in shed."
    assert [c.name for c in act.concerns] == [newest, first]
    confirm_run(shop.book, newest, stamp=stamp(10))
    strike_run(shop.book, first, why="hot bricks", stamp=stamp(10))
    assert shop.acts(10, "doubtful") == []
    assert [c.name for act in shop.acts(10, "look") for c in act.concerns] == [newest]


def test_runs_without_a_verdict_are_one_sentence(shop: Workshop) -> None:
    first = shop.run(0, PLAIN)
    assert shop.says(3, "look") == ["The run of 2026-03-02 07:00 in shed has no verdict yet."]
    newest = shop.run(3, PLAIN)
    shop.run(6, PLAIN, goes_on=True)  # still being recorded
    (act,) = shop.acts(9, "look")
    assert str(act.says) == "2 runs have no verdict yet, the latest of 2026-03-02 10:00 in shed."
    assert act.settle == f"soakwitness verify {newest}"
    assert [c.name for c in act.concerns] == [newest, first]


def test_a_run_without_a_recipe_needs_one_unless_it_was_empty_or_a_survey(shop: Workshop) -> None:
    empty, survey = shop.run(0, None), shop.run(3, None)
    assert len(shop.acts(8, "look")[0].concerns) == 2
    enter_load(shop.book, run=empty, empty=True, stamp=stamp(8))
    (act,) = shop.acts(8, "look")
    assert str(act.says) == "The run of 2026-03-02 10:00 in shed has no recipe, and so no verdict."
    assert act.settle == f"soakwitness verify {survey} --recipe RECIPE.toml"
    add_survey(shop.book, "shed", done_on="2026-03-02", due_on=None, result={}, run=survey, stamp=stamp(8))
    assert shop.acts(8, "look") == []
