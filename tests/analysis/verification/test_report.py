"""The JSON that other programs rely on: every key of the schema, null for what is not known."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest

from soakwitness.analysis.verification.model import FINDING_CODES, Verification
from soakwitness.analysis.verification.report import as_json
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says
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
    findings = as_json(verify(run, simple_recipe((700, 10, 5), (1000, 30, 5))))["findings"]
    assert {finding["code"] for finding in findings} >= {"hold missing", "gap in record", "no calibration"}
    for finding in findings:
        assert finding["code"] in FINDING_CODES
        assert finding["severity"] in ("fail", "warn", "note")
        assert finding["says"].endswith(".")
        assert finding["next"].endswith(".")


def plain(thing: object, unit: Unit) -> object:
    """A value of the result as JSON has it."""
    if isinstance(thing, Says):
        return thing.text(unit)
    if isinstance(thing, tuple):
        return [plain(part, unit) for part in thing]
    if is_dataclass(thing):
        return {f.name: plain(getattr(thing, f.name), unit) for f in fields(thing)}
    return thing


def differing(told: dict[str, Any], thing: object, unit: Unit) -> list[str]:
    """Keys that have the name of a field and another value; where a value has several, those that it has are asked."""
    wrong = []
    for key, value in told.items():
        if not hasattr(thing, key):
            continue
        expected = plain(getattr(thing, key), unit)
        if isinstance(expected, dict) and isinstance(value, dict):
            expected = {name: expected[name] for name in value}
        if key not in ("steps", "findings", "dips", "pieces", "record", "compared") and value != expected:
            wrong.append(key)
    return wrong


def pairs(told: dict[str, Any], verified: Verification) -> list[tuple[dict[str, Any], object]]:
    """Each dict of the report with what it tells of."""
    hold, found = told["steps"][1], verified.holds[0]
    every = [(told, verified), (told["record"], verified.record)]
    for many, things in (
        (told["steps"], verified.steps),
        (told["findings"], verified.findings),
        (hold["dips"], found.dips),
        (hold["pieces"], found.pieces),
    ):
        assert things
        every += zip(many, things, strict=True)
    return every


@pytest.mark.parametrize("unit", ["C", "F"])
@pytest.mark.parametrize("facts", [{}, {"max_overshoot_c": 6.0, "at_most_s": 1200.0, "judged": False}])
def test_every_key_has_the_value_of_its_name(unit: Unit, facts: dict[str, object]):
    # A load sensor that is late and hotter, a dip, and two pieces of which one is short: much of it is there.
    t_s, temp_c = drawn([*HOLD[:2], (2400, 1000), (2430, 960), (2500, 960), (2530, 1000), *HOLD[2:]])
    values = {"furnace": temp_c, "blade": np.round(np.interp(t_s - 60.0, t_s, temp_c), 1) + 1.0}
    columns = [sensor(expanded_uncertainty=2.0), sensor("blade", "load", expanded_uncertainty=3.0)]
    marks = [Mark(0, "load", ("A", "B")), Mark(2300, "pull", ("A",)), Mark(2320, "plates", ("A",))]
    run = make_run(t_s, values, columns=columns, marks=[*marks, Mark(3100, "pull", ("B",))])
    verified = verify(run, replace(simple_recipe((1000, 10, 5), **facts), decide_on="true temperature"))
    told, hold = as_json(verified, unit), verified.holds[0]
    assert [wrong for one, thing in pairs(told, verified) if (wrong := differing(one, thing, unit))] == []
    known = told["steps"][1]["sensor_error"]
    assert (known["source"], known["expanded_c"], known["correction_c"]) == ("stated", 3.0, 0.0)
    assert told["steps"][1]["decided_on"] == hold.known.basis == "true temperature"
    assert told["steps"][1]["would_prove"] == [says.text(unit) for says in hold.proves]
