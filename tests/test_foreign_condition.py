"""What campaigns/foreign_condition.py rests on: a year is the same again, and its faults are felt as they should be."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.campaigns.foreign_condition import NEEDED, RIGHT, Lived, Said
from tests.foreign_years import FAULTS, KINDS, REPAIRED, RUNS_A_YEAR, a_year, happened


@pytest.mark.parametrize("kind", KINDS)
def test_a_year_is_the_same_again(kind: str) -> None:
    year = a_year(3, kind)
    assert year == a_year(3, kind) != a_year(4, kind)
    assert happened(year.runs[-1]) == happened(year.runs[-1])


def test_a_healthy_year_has_46_runs_within_its_days() -> None:
    days = [run.day for run in a_year(0, "healthy").runs]
    assert len(days) == RUNS_A_YEAR
    assert days == sorted(set(days))
    assert days[-1] < 366.0


def test_less_power_is_later_at_780() -> None:
    run = a_year(0, "healthy").runs[5]
    whole, weak = happened(run), happened(replace(run, firing=replace(run.firing, heater=5.0 / 6.0)))

    def at_780_s(moments: tuple[object, ...]) -> float:
        return next(m.t_s for m in moments if m.chamber_c > 770.0)  # type: ignore[attr-defined]

    # without losses it would take 6/5 of the time; losses make the lack of power count for more
    assert at_780_s(weak.moments) > 1.2 * at_780_s(whole.moments)


def test_each_fault_has_its_right_answer() -> None:
    assert set(RIGHT) == {*FAULTS, REPAIRED}
    assert set(NEEDED) == set(FAULTS)


def test_runs_are_counted_from_where_the_fault_shows() -> None:
    year = replace(a_year(0, "one of six elements"), begins=20, shows=20)
    said = (Said(20, "well", ()), Said(22, "3 figures moved", ()), Said(24, "x", (("less power: element", ""),)))
    lived = Lived(year, said)
    assert (lived.needed, len(lived.before), len(lived.after)) == (4, 1, 2)
    assert lived.after[0].moved
