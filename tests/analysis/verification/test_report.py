"""The JSON that other programs rely on: every key of the schema, null for what is not known."""

from __future__ import annotations

import json

import numpy as np

from soakwitness.analysis.verification.model import FINDING_CODES
from soakwitness.analysis.verification.report import as_json
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.model import Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

HOLD = [(0, 20), (1960, 1000), (3160, 1000), (5000, 80)]
# Keys as DESIGN.md section 6 lists them.
TOP = {"schema", "run", "recipe", "verdict", "decided_on", "temperature_from", "steps", "findings", "record"}
RAMP = {"step", "kind", "to_c", "found", "start_s", "end_s", "rate_c_per_h", "end_to_end_rate_c_per_h"}
STEP = {
    "step", "kind", "target_c", "band_c", "found", "required_s", "enter_s", "leave_s", "in_band_s", "soak_s",
    "overshoot_c", "overshoot_is_at_least", "above_band_s", "lag_s", "as_read", "at_true_temperature",
    "error_it_stands_c", "verdict", "pieces",
}  # fmt: skip
FINDING = {"code", "severity", "step", "says", "next"}
RECORD = {"rows", "bad_rows", "gaps_s", "sealed", "intact"}


def report(recipe_minutes: float = 10.0, **facts: object) -> dict:  # type: ignore[type-arg]
    t_s, temp_c = drawn(HOLD)
    run = make_run(t_s, {"furnace": temp_c}, **facts)  # type: ignore[arg-type]
    return as_json(verify(run, simple_recipe((1000, recipe_minutes, 5))))


def test_all_keys_are_there():
    found = report()
    ramp, hold = found["steps"]
    assert found["schema"] == "soakwitness/verify/1"
    assert set(found) >= TOP
    assert set(ramp) >= RAMP
    assert set(hold) >= STEP
    assert set(found["record"]) >= RECORD
    assert set(found["findings"][0]) >= FINDING
    for name in ("continuous", "cumulative", "above_lower_edge"):
        assert set(hold["in_band_s"][name]) == {"low", "best", "high"}
    assert hold["lag_s"] is None
    assert hold["band_c"] == [995, 1005]


def test_a_hold_that_is_not_there_has_null_figures():
    t_s, temp_c = drawn([(0, 20), (3000, 400), (6000, 50)])
    found = as_json(verify(make_run(t_s, {"furnace": temp_c}), simple_recipe((1000, 10, 5))))
    hold = found["steps"][1]
    assert hold["found"] is False
    assert [hold[k] for k in ("enter_s", "leave_s", "soak_s", "overshoot_c", "error_it_stands_c")] == [None] * 5
    assert hold["verdict"] == "fail"


def test_pieces():
    marks = (Mark(0, "load", ("A",)), Mark(2700, "pull", ("A",)), Mark(2720, "plates", ("A",)))
    (piece,) = report(marks=marks)["steps"][1]["pieces"]
    assert piece["piece"] == "A"
    assert piece["verdict"] == "pass"
    assert piece["quench_delay_s"] == 20
    assert set(piece["soak_s"]) == {"low", "best", "high"}


def test_it_is_strict_json():
    text = json.dumps(report(25), allow_nan=False)
    assert json.loads(text)["verdict"] == "fail"


def test_every_code_is_known():
    t_s, temp_c = drawn(HOLD)
    temp_c[2200:2600] = np.nan
    columns = [sensor(), sensor("other", "survey")]
    run = make_run(t_s, {"furnace": temp_c, "other": temp_c}, columns=columns)
    for finding in as_json(verify(run, simple_recipe((700, 10, 5), (1000, 30, 5))))["findings"]:
        assert finding["code"] in FINDING_CODES
        assert finding["severity"] in ("fail", "warn", "note")
        assert finding["says"].endswith(".")
        assert finding["next"].endswith(".")
