"""What is other in two answers about one run, in words."""

from __future__ import annotations

from typing import Any

import pytest

from soakwitness.analysis.logbook.kept import KeptVerdict
from soakwitness.analysis.recomputing.changes import what_changed

HOLD = {"step": 2, "kind": "hold", "found": True, "verdict": "pass", "as_read": "pass", "soak_s": {"best": 1500.0}}
ANSWER: dict[str, Any] = {
    "verdict": "pass",
    "decided_on": "reading",
    "temperature_from": "control",
    "sensor_error": {"source": "none", "says": "nothing is on record"},
    "steps": [HOLD],
    "findings": [
        {"code": "no calibration", "severity": "warn", "step": None},
        {"code": "overshoot", "severity": "warn", "step": 2},
    ],
}
CALIBRATED = {"source": "calibration", "says": "calibration of 2026-02-01"}
OVERDUE = {"source": "calibration", "says": "calibration of 2026-02-01, overdue since 2026-08-01"}


def why(
    new: dict[str, Any] | None, *, old: dict[str, Any] = ANSWER, digest: str = "r", trouble: str | None = None
) -> str:
    kept = KeptVerdict("run", "r", "2", "2026-11-25T09:00:00Z", old["verdict"], old)
    return what_changed(kept, new, recipe_digest=digest, trouble=trouble)


def test_the_same_says_nothing_figures_or_not() -> None:
    assert why(ANSWER) == ""
    assert why(ANSWER | {"steps": [HOLD | {"soak_s": {"best": 1400.0}}], "record": {"rows": 3}}) == ""
    assert why(ANSWER | {"rules": "3", "packet": None}) == ""  # rules 2 named neither


@pytest.mark.parametrize(
    ("new", "said"),
    [
        ({"verdict": "not proven"}, "verdict: pass, now not proven"),
        ({"decided_on": "true temperature"}, "decided on: reading, now true temperature"),
        ({"sensor_error": CALIBRATED}, "sensor error: none, now calibration"),
        ({"packet": {"file": "dummy.toml", "digest": "d"}}, "measured packet: none, now dummy.toml"),
        (
            {"steps": [HOLD | {"as_read": "fail", "soak_s": {"best": 900.0}}]},
            "step 2, as read: pass, now fail; step 2, soak: 25 min, now 15 min",
        ),
        ({"steps": [HOLD | {"found": False}]}, "step 2, found: yes, now no"),
        ({"findings": []}, "gone: no calibration, overshoot (step 2)"),
        (
            {"findings": [*ANSWER["findings"], {"code": "short soak", "severity": "fail", "step": 2}]},
            "new: short soak (step 2) that fails",
        ),
    ],
)
def test_what_is_other_is_named(new: dict[str, Any], said: str) -> None:
    assert why(ANSWER | new) == said


def test_a_calibration_that_lapsed_is_another_basis() -> None:
    said = why(ANSWER | {"sensor_error": OVERDUE}, old=ANSWER | {"sensor_error": CALIBRATED})
    assert said == "sensor error: calibration of 2026-02-01, now calibration of 2026-02-01, overdue since 2026-08-01"


def test_another_recipe_and_no_verdict_any_more() -> None:
    assert why(ANSWER, digest="other") == "judged by another recipe"
    assert why(None, trouble="no readings.") == "verdict: pass, now none (no readings)"
