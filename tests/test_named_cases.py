"""Every named case is answered as its truth asks."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest

from soakwitness.analysis.verification.model import Verification
from soakwitness.analysis.verification.verifying import verify
from tests.named_cases import named_cases

Rule = Callable[[Verification], bool]
CASES = named_cases()


def codes(found: Verification) -> set[str]:
    return {f.code for f in found.findings}


def words(found: Verification) -> str:
    return " ".join(f"{f.says} {f.next}" for f in found.findings).lower()


def soak_high_s(found: Verification) -> float:
    soak = found.holds[0].soak_s
    return soak.high if soak is not None else 0.0


def verdict(*allowed: str) -> Rule:
    return lambda found: found.verdict in allowed


def silent(*said: str) -> Rule:
    return lambda found: not any(word in words(found) for word in said)


def without(code: str) -> Rule:
    return lambda found: code not in codes(found)


NO_FAIL, NO_PASS, FAIL = verdict("pass", "not proven"), verdict("fail", "not proven"), verdict("fail")
BAD_READING = {"sensor fault", "stuck reading", "gap in record"}
# A name that ends in _ stands for every case that begins so.
RULES: dict[str, list[Rule]] = {
    "hump_missing": [verdict("pass"), without("hold missing")],
    "loose_contact": [NO_FAIL, lambda found: bool(codes(found) & BAD_READING)],
    "loose_contact_5s": [NO_FAIL, silent("door")],
    "one_bad_reading_slow_logger": [verdict("pass")],
    "frozen_reading": [NO_PASS],
    "empty_overshoot": [NO_FAIL],
    "noise_at_the_end_": [silent("power")],
    "on_off_cycling": [silent("power cut", "door")],
    "short_power_cut": [silent("door")],
    "door_at_temper": [silent("power")],
    "wrong_unit_chance": [NO_FAIL],
    "invented_wrong_unit": [FAIL, without("wrong unit suspected")],
    "wrong_story": [lambda found: not any(f.code == "run ended early" and f.step == 2 for f in found.findings)],
    "cut_that_ended_it": [FAIL, lambda found: "power" in words(found)],
    "load_never_there_": [NO_PASS, lambda found: soak_high_s(found) <= 1500],
    "beside_then_hotter": [FAIL],
    "load_pass_by_later_heat": [FAIL, lambda found: soak_high_s(found) <= 1500],
    "load_pass_by_later_heat_2holds": [FAIL, lambda found: soak_high_s(found) <= 1500],
    "control_beside_later_heat_": [FAIL],
    "temper_50_too_hot_for_20_min": [FAIL],
    "hardening_50_too_hot_for_12_min": [FAIL],
    "record_ends_in_hold": [NO_FAIL],
    "record_ends_in_hold_whole": [verdict("pass")],
    "record_ends_in_ringing_": [NO_FAIL],
    "record_ends_after_overshoot": [NO_FAIL],
    "ripple_in_the_climb_": [NO_FAIL],
    "temper_stands_at_250_after_1040": [FAIL, lambda found: "too hot" in found.holds[1].unmet],
    "equalising_stands_at_1000": [FAIL],
    "level_above_within_max_overshoot": [FAIL, lambda found: found.holds[0].unmet == ("level",)],
    "peak_5_7_over_max_overshoot_4": [FAIL, lambda found: found.holds[0].unmet == ("overshoot",)],
    "hotter_after_the_last_hold_judged_": [FAIL, lambda found: "too hot" in found.holds[0].unmet],
    "overshoot_before_the_load_mark": [verdict("pass")],
    "sag_then_hotter": [FAIL, lambda found: soak_high_s(found) <= 760],
    "sag_then_hotter_2holds": [FAIL, lambda found: soak_high_s(found) <= 760],
    "sag_then_hotter_2nd_not_judged": [FAIL, lambda found: soak_high_s(found) <= 760],
    "load_in_band_said_never_": [
        silent("never reached"),
        lambda found: soak_high_s(found) >= 600,
        without("short soak"),
    ],
    "burnt_out_in_the_hold_": [verdict("not proven")],
}


def rules_of(name: str) -> list[Rule]:
    return RULES.get(name) or next(many for key, many in RULES.items() if key.endswith("_") and name.startswith(key))


@cache
def answer(name: str) -> Verification:
    return verify(CASES[name].run, CASES[name].recipe)


@pytest.mark.parametrize("name", CASES)
def test_a_named_case(name: str) -> None:
    found = answer(name)
    assert [number for number, rule in enumerate(rules_of(name)) if not rule(found)] == [], (
        found.verdict,
        words(found),
    )
