"""The first cases of campaigns/foreign_batches.py, whose author had not read the rules of the audit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.campaigns.foreign_batches import RIGHT, ask
from tests.foreign_batch_entry import entered
from tests.foreign_causes import CAUSES, NOWHERE, a_case
from tests.foreign_metallurgy import Stay, Steel, hardness

STEEL = Steel(best_c=1040.0, peak=64.6, ms_c=150.0, tau_s=300.0)
RIGHTLY = Stay(trace=((1500.0, 1040.0),), plates_s=12.0)


def test_a_case_is_the_same_again_down_to_its_files(tmp_path: Path) -> None:
    assert a_case(4) == a_case(4) != a_case(5)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    first, again = (entered(a_case(4), tmp_path / name) for name in "ab")
    rows = [[p.read_bytes() for p in sorted(folder.glob("runs/*/samples.csv"))] for folder in (first, again)]
    assert rows[0] == rows[1]
    assert len(rows[0]) > 3


@pytest.mark.parametrize(
    ("change", "low", "high"),
    [
        ({"trace": ((1500.0, 1020.0),)}, 0.3, 1.5),
        ({"trace": ((240.0, 1040.0),)}, 1.0, 4.0),
        ({"trace": ((1350.0, 1040.0),)}, -0.1, 0.2),
        ({"plates_s": 72.0}, 0.0, 1.0),
        ({"cold_hours": None}, 1.0, 3.0),
        ({"cold_hours": 24.0}, 0.0, 1.1),
        ({"temper_c": 230.0}, 0.5, 1.1),
    ],
)
def test_each_fault_costs_about_what_smiths_say(change: dict[str, object], low: float, high: float) -> None:
    came = hardness(STEEL, replace(RIGHTLY, **change))  # type: ignore[arg-type]
    assert low <= hardness(STEEL, RIGHTLY).final - came.final <= high


def test_every_cause_has_its_right_answers() -> None:
    assert {cause.name for cause in (*CAUSES, NOWHERE)} == set(RIGHT)


def test_a_good_batch_is_not_accused() -> None:
    answer = ask(0)
    assert answer.case.sort == "good"
    assert not answer.claimed
