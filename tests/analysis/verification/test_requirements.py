"""The decision rule and the error that a requirement stands."""

from __future__ import annotations

import pytest

from soakwitness.analysis.verification.judging import requirements as req
from soakwitness.analysis.verification.judging.error_shift import extremes, stands
from soakwitness.analysis.verification.results.verification import RULE_REFERENCES


def upper_limit(reading_c: float) -> req.Requirement:
    """A reading against TL = 100, true = reading - e."""
    return req.at_most("limit", lambda e: reading_c - e, lambda e: reading_c - e, 100.0)


@pytest.mark.parametrize(
    ("reading_c", "as_read", "at_true"),
    [
        # ILAC-G8:09/2019 and JCGM 106:2012 as in CHECKS.md section 2: TL 100, U 4, guard band w = U gives AL 96;
        # y = 97.4 is not accepted, though as read it is inside.
        (97.4, "pass", "not proven"),
        (95.9, "pass", "pass"),
        (100.5, "fail", "not proven"),
        (104.1, "fail", "fail"),
    ],
)
def test_guard_band_of_u(reading_c: float, as_read: str, at_true: str):
    asked = upper_limit(reading_c)
    assert (req.as_read(asked), req.at_true_temperature([asked], 4.0)) == (as_read, at_true)


def test_the_rule_is_named():
    assert RULE_REFERENCES == ("ILAC-G8:09/2019", "JCGM 106:2012")


def test_the_error_a_requirement_stands_is_the_distance_to_its_limit():
    # true = 97.4 - e <= 100 for e >= -2.6, whatever U is; nothing bounds it on the other side.
    low, high = req.interval_of(upper_limit(97.4), 1.0) or (0, 0)
    assert low == pytest.approx(-2.6, abs=0.05)
    assert low >= -2.6
    assert high == req.MOST_ERROR_C
    assert req.interval_of(upper_limit(101.0), 1.0) is None


def test_gaps_at_their_worst_and_best_make_it_not_proven():
    asked = req.at_least("soak", lambda e: 500.0, lambda e: 700.0, 600.0)
    assert req.as_read(asked) == "not proven"
    assert req.at_true_temperature([asked], 0.0) == "not proven"


def test_no_single_error_that_meets_both_is_a_failure_though_each_may_be_met():
    # true = reading - e: the upper edge asks e >= 3, the lower one e <= 2; a U of 5 allows each, and no e both.
    upper = req.at_most("upper", lambda e: 103.0 - e, lambda e: 103.0 - e, 100.0)
    lower = req.at_least("lower", lambda e: 97.0 - e, lambda e: 97.0 - e, 95.0)
    assert [req.at_true_temperature([one], 5.0) for one in (upper, lower)] == ["not proven", "not proven"]
    assert req.at_true_temperature([upper, lower], 5.0) == "fail"
    # The same with edges that touch at e = 2.5 alone: one error is enough to leave it open.
    touching = req.at_most("upper", lambda e: 102.5 - e, lambda e: 102.5 - e, 100.0)
    just = req.at_least("lower", lambda e: 97.5 - e, lambda e: 97.5 - e, 95.0)
    assert req.at_true_temperature([touching, just], 5.0) == "not proven"


@pytest.mark.parametrize(
    ("read", "old", "verdict"),
    [
        ("pass", "pass", "pass"),
        ("pass", "not proven", "not proven"),
        ("pass", "fail", "not proven"),
        ("fail", "pass", "not proven"),
        ("fail", "fail", "fail"),
        ("not proven", "fail", "not proven"),
    ],
)
def test_an_overdue_calibration_earns_no_pass_and_excuses_no_failure(read: str, old: str, verdict: str):
    assert req.with_lapsed(read, old) == verdict  # type: ignore[arg-type]


def test_extremes_look_between_the_ends_too():
    assert extremes(lambda e: -e * e, lambda e: 4 - e * e, 2.0) == (-4.0, 4.0)


def test_stands_finds_both_ends_to_a_twentieth_on_the_safe_side():
    low, high = stands(lambda e: -7.33 <= e <= 2.21, 60.0) or (0, 0)
    assert -7.33 <= low <= -7.28
    assert 2.16 <= high <= 2.21
    assert stands(lambda e: e > 1, 60.0) is None


def test_an_error_of_exactly_u_is_tried_itself():
    # Met up to exactly 2: halving steps end a little below it, yet for U = 2 it is met all over [-U, U].
    low, high = stands(lambda e: -3.0 <= e <= 2.0, 60.0, 2.0) or (0, 0)
    assert high == 2.0
    assert -3.0 <= low <= -2.95
    assert req.at_true_temperature([req.at_most("x", lambda e: e, lambda e: e, 2.0)], 2.0) == "pass"


def test_worst_and_common():
    assert req.worst(["pass", "not proven", "fail"]) == "fail"
    assert req.worst(["pass", "not proven"]) == "not proven"
    assert req.worst([]) == "pass"
    assert req.common([(-3, 5), (-8, 2)]) == (-3, 2)
    assert req.common([(-3, 5), None]) is None
