"""The decision rule and the error that a requirement stands."""

from __future__ import annotations

import pytest

from soakwitness.analysis.verification import requirements as req
from soakwitness.analysis.verification.model import RULE_REFERENCES, SensorErrors
from soakwitness.analysis.verification.shift import extremes, stands


def upper_limit(reading_c: float, expanded_c: float | None) -> req.Outcome:
    """A reading against TL = 100, true = reading - e."""
    return req.judged(
        "limit", lambda e: reading_c - e, lambda e: reading_c - e, 100.0, at_least=False, expanded_c=expanded_c
    )


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
    outcome = upper_limit(reading_c, 4.0)
    assert (outcome.as_read, outcome.at_true_temperature) == (as_read, at_true)


def test_the_rule_is_named():
    assert RULE_REFERENCES == ("ILAC-G8:09/2019", "JCGM 106:2012")


def test_the_error_a_requirement_stands_is_the_distance_to_its_limit():
    # true = 97.4 - e <= 100 for e >= -2.6, whatever U is; nothing bounds it on the other side.
    low, high = upper_limit(97.4, 1.0).stands_c or (0, 0)
    assert low == pytest.approx(-2.6, abs=0.05)
    assert low >= -2.6
    assert high == req.MOST_ERROR_C
    assert upper_limit(101.0, 1.0).stands_c is None


def test_without_u_nothing_is_proven_at_true_temperature():
    assert upper_limit(50.0, None).at_true_temperature == "not proven"
    assert upper_limit(50.0, None).as_read == "pass"


def test_gaps_at_their_worst_and_best_make_it_not_proven():
    outcome = req.judged("soak", lambda e: 500.0, lambda e: 700.0, 600.0, at_least=True, expanded_c=0.0)
    assert outcome.as_read == "not proven"
    assert outcome.at_true_temperature == "not proven"


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
    assert req.judged("x", lambda e: e, lambda e: e, 2.0, at_least=False, expanded_c=2.0).at_true_temperature == "pass"


def test_worst_and_common():
    assert req.worst(["pass", "not proven", "fail"]) == "fail"
    assert req.worst(["pass", "not proven"]) == "not proven"
    assert req.worst([]) == "pass"
    assert req.common([(-3, 5), (-8, 2)]) == (-3, 2)
    assert req.common([(-3, 5), None]) is None


@pytest.mark.parametrize(
    ("errors", "word", "basis"),
    [
        (SensorErrors(3.0, "stated"), None, "true temperature"),
        (SensorErrors(3.0, "calibration"), None, "true temperature"),
        (SensorErrors(3.0, "calibration", overdue=True), None, "reading"),
        (SensorErrors(7.9, "tolerance class"), None, "reading"),
        (SensorErrors(), None, "reading"),
        (SensorErrors(), "true temperature", "true temperature"),
        (SensorErrors(3.0, "stated"), "reading", "reading"),
    ],
)
def test_what_the_verdict_rests_on(errors: SensorErrors, word: str | None, basis: str):
    assert req.basis_of(errors, word) == basis  # type: ignore[arg-type]
