"""The first days of campaigns/foreign_days.py, whose author had not read the rules of when a run begins and ends."""

from __future__ import annotations

from tests.campaigns.foreign_days import tally


def test_each_heating_of_the_first_days_is_one_run_and_nothing_else_is() -> None:
    counts, lines = tally(range(8))
    assert counts["heatings"] > 10
    for kind in ("missed", "invented", "split", "merged", "begun late", "sealed early"):
        assert not counts[kind], [line for line in lines if kind in line]
