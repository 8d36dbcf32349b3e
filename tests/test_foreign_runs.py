"""Runs of a generator whose author had not read the rules: short form of campaigns/foreign_verifications.py."""

from __future__ import annotations

from tests.foreign_truth import foreign_tally


def test_no_verdict_is_false_and_the_truth_lies_within():
    tally = foreign_tally(range(5000, 5060))
    assert len(tally["clear"]) > 30
    assert tally["false pass"] == tally["false fail"] == []
    assert tally["standing hold called missing"] == []
    # Demanded of 1,000 runs: 99.5 % of the soaks, 95 % of the causes, 98 % of what is clear decided.
    assert len(tally["soak outside low..high"]) <= 1
    assert len(tally["cause named wrongly"]) <= 1
    assert len(tally["not decided though clear"]) <= 1
