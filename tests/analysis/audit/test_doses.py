"""How much hardness a cause can have cost: the figures, their words, and what they rule out."""

from __future__ import annotations

import pytest

from soakwitness.analysis.audit.causes import doses
from soakwitness.analysis.audit.contrasts.dose import GUESS, Dose, Explained, between, explained

# Engineering guesses for 3 mm of air-hardening stainless, as they were set down before the rules were written
TABLE = [
    (doses.short_soak(0.9, 1500.0), -0.1, 0.0),
    (doses.short_soak(0.7, 1500.0), -0.5, 0.0),
    (doses.short_soak(0.5, 1500.0), -1.0, -0.3),
    (doses.short_soak(300.0 / 1500.0, 1500.0), -4.0, -1.0),
    (doses.level(-10.0), -0.5, -0.2),
    (doses.level(-20.0), -1.2, -0.5),
    (doses.level(30.0), -1.5, 0.5),
    (doses.level(30.0, then_cold=True), 0.0, 1.0),
    (doses.late_quench(20.0, "plates"), -0.3, 0.0),
    (doses.late_quench(60.0, "plates"), -1.0, 0.0),
    (doses.cold_late(3600.0), 0.0, 0.0),
    (doses.cold_late(5 * 3600.0), -0.3, 0.0),
    (doses.cold_late(24 * 3600.0), -0.7, 0.0),
    (doses.NO_COLD, -3.0, -1.0),
    (doses.COLD_AFTER_TEMPER, -1.5, -0.5),
]


@pytest.mark.parametrize(("dose", "low", "high"), TABLE)
def test_the_doses_are_those_of_the_table(dose: Dose, low: float, high: float) -> None:
    assert (dose.low, dose.high) == (pytest.approx(low), pytest.approx(high))


def test_a_temper_goes_by_the_published_figures_of_its_steel() -> None:
    # S44004: 60 HRC at 149, 59 at 204, 57 at 260 degC: 1/55 to 2/56 of a point a kelvin, a tenth more on either side
    dose = doses.temper(30.0, 204.0, "S44004")
    assert dose.high == pytest.approx(-0.9 * 30.0 / 56.0, abs=0.02)  # 1 point over 56 K from 260 to 316
    assert dose.low == pytest.approx(-1.1 * 30.0 * 2.0 / 56.0, abs=0.02)
    assert "published" in dose.basis
    other = doses.temper(30.0, 204.0, "no such steel")
    assert other.low < dose.low < dose.high < other.high
    assert other.basis == GUESS
    assert doses.temper(-30.0, 204.0, "S44004").high == pytest.approx(-dose.low)


def test_a_liquid_stands_for_a_steel_that_cannot_wait() -> None:
    assert doses.late_quench(10.0, "oil").low < -5.0 < doses.late_quench(10.0, "plates").low


def test_no_dose_comes_without_its_basis() -> None:
    known = {GUESS, "its test block", "measured here"}
    every = [value for value in vars(doses).values() if isinstance(value, Dose)]
    assert len(every) > 8
    for dose in (*every, *(d for d, _, _ in TABLE), doses.tester_off(-0.9), doses.measured(2.0)):
        assert dose.basis in known or "Koistinen" in dose.basis or "± 0.5" in dose.basis


def test_lines_between_the_rows_and_level_beyond_them() -> None:
    rows = ((0.0, 0.0, 0.0), (10.0, -2.0, 1.0))
    assert between(5.0, rows) == Dose(-1.0, 0.5)
    assert between(50.0, rows) == Dose(-2.0, 1.0)
    assert between(-3.0, rows) == Dose(0.0, 0.0)


def test_what_is_explained_is_said_in_points_with_the_basis() -> None:
    # half of the soak can cost 0.3 to 1 point; 4 were lost
    found = explained(Dose(-1.0, -0.3), -4.0)
    assert found.says == "can explain 0.3 to 1.0 of the 4.0 points lost (engineering guess)"
    assert found.reach == pytest.approx(0.25)
    assert explained(Dose(0.0, 0.5), -4.0).says.startswith("can explain none of")
    assert explained(Dose(-9.0, -5.0), -4.0).says.startswith("can explain all of the 4.0 points lost")
    hard = explained(Dose(1.0, 5.0), 2.0)
    assert hard == Explained(1.0, 5.0, -2.0, GUESS)
    assert "1.0 to 2.0 of the 2.0 points that they are too hard" in hard.says
