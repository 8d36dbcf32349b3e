"""Decision rules against ILAC-G8:09/2019 and JCGM 106:2012."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.calibration.uncertainty.decision import acceptance_limit, conformity, decide, wrong_acceptance


@pytest.mark.parametrize(("guard", "percent"), [(0.0, 50.0), (0.83, 4.846), (1.0, 2.275), (1.5, 0.135)])
def test_largest_wrong_acceptance(guard: float, percent: float) -> None:
    # CHECKS section 2 (computed; ILAC-G8 table 1 states < 50 %, < 5 %, < 2.5 %, < 0.16 %)
    assert 100.0 * wrong_acceptance(guard) == pytest.approx(percent, abs=6e-4)


def test_vector_of_one_upper_limit() -> None:
    # CHECKS section 2: TL 100, U 4, y 97.4, w = U: AL 96, not accepted, P(conforms) = 0.9032
    found = decide(97.4, 4.0, upper=100.0)
    assert found.accept_to == 96.0
    assert found.verdict == "not proven"
    assert found.conformity == pytest.approx(0.9032, abs=5e-5)
    assert decide(96.0, 4.0, upper=100.0).verdict == "pass"
    assert decide(104.1, 4.0, upper=100.0).verdict == "fail"
    assert decide(97.4, 4.0, upper=100.0, guard=0.0).verdict == "pass"


def test_lower_limit_and_both() -> None:
    # mirrored: the normal distribution is symmetric
    assert acceptance_limit(-100.0, 4.0, side="lower") == -96.0
    assert decide(-97.4, 4.0, lower=-100.0).conformity == pytest.approx(0.9032, abs=5e-5)
    two = decide(0.0, 2.0, lower=-3.0, upper=3.0)
    # JCGM 106 7.4: Phi(3) - Phi(-3) = 0.9973 for u = 1
    assert two.conformity == pytest.approx(0.9973, abs=5e-5)
    assert two.verdict == "pass"
    # U larger than half the tolerance leaves nothing to accept
    assert decide(0.0, 4.0, lower=-3.0, upper=3.0).verdict == "not proven"


def test_without_uncertainty_the_value_decides() -> None:
    assert conformity(3.0, 0.0, -3.0, 3.0) == 1.0
    assert conformity(3.1, 0.0, -3.0, 3.0) == 0.0


@given(value=st.floats(-20, 20), u=st.floats(0.01, 5), guard=st.floats(0, 2))
def test_pass_and_fail_never_meet(value: float, u: float, guard: float) -> None:
    found = decide(value, u, lower=-10.0, upper=10.0, guard=guard)
    mirrored = decide(-value, u, lower=-10.0, upper=10.0, guard=guard)
    assert found.verdict == mirrored.verdict
    if found.verdict == "pass":
        assert found.conformity >= 0.5 - 1e-9 or guard == 0.0
    if found.verdict == "fail":
        assert abs(value) > 10.0
