"""Corrections: what they add, where they have an uncertainty, and that the log book gives them back unchanged."""

from __future__ import annotations

import json

import numpy as np
import pytest

from soakwitness.analysis.calibration.correction import (
    Correction,
    CorrectionError,
    CorrectionPoint,
    correction_from_dict,
    correction_to_dict,
)

MADE = Correction(
    furnace="shed",
    sensor="chamber",
    model="line",
    why="line: two points",
    points=(CorrectionPoint(500.0, -1.0, 1.5), CorrectionPoint(1000.0, -3.0, 2.0)),
    table_reading_c=(490.0, 500.0, 1000.0, 1010.0),
    table_correction_c=(-0.96, -1.0, -3.0, -3.04),
    table_expanded_c=(1.5, 1.5, 2.0, 2.0),
    done_on="2026-03-02",
    due_on="2026-09-02",
    done_by="J. Smith",
)


def test_between_the_points_and_beyond_them() -> None:
    # by hand: halfway between -1 and -3, and between 1.5 and 2.0
    assert float(MADE.correct(750.0)) == pytest.approx(748.0)
    assert float(MADE.expanded_c(750.0)) == pytest.approx(1.75)
    readings = np.array([750.0, 20.0, 1100.0])
    assert MADE.correct(readings) == pytest.approx([748.0, 19.04, 1096.96])
    assert np.isnan(MADE.expanded_c(readings)[1:]).all()
    assert MADE.covers([489.9, 490.0, 1010.0, 1010.1]).tolist() == [False, True, True, False]


def test_due_day() -> None:
    assert not MADE.overdue_on("2026-09-02")
    assert MADE.overdue_on("2026-09-03T00:10:00Z")


def test_there_and_back_through_json() -> None:
    assert correction_from_dict(json.loads(json.dumps(correction_to_dict(MADE)))) == MADE


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"format": 2}, "needs a newer version"),
        ({"table": {"reading_c": [1, 2]}}, "cannot be read"),
        ({"points": [{"reading": 3}]}, "cannot be read"),
        ({"table": {"reading_c": [2, 1], "correction_c": [0, 0], "expanded_c": [1, 1]}}, "does not rise"),
        ({"table": {"reading_c": [1, 2], "correction_c": [0, None], "expanded_c": [1, 1]}}, "cannot be read"),
    ],
)
def test_a_damaged_correction_is_refused(change: dict[str, object], says: str) -> None:
    with pytest.raises(CorrectionError, match=says):
        correction_from_dict(correction_to_dict(MADE) | change)
