"""The foreign generator of faults: the same from the same seed, its loops by the tables, and that it can be entered.

Type K by NIST SRD 60: 25 degC 1.000, 60 degC 2.436, 900 degC 37.326, 950 degC 39.314, 1000 degC 41.276 mV.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.campaigns.foreign_diagnoses import OUTCOMES, tally_of
from tests.foreign_diagnosis_cases import FAULTS, KINDS, Circuit, diagnosis_case

SOUND = Circuit("K", "K", 1000.0, 60.0, 25.0, 25.0, "K")


def shown(circuit: Circuit) -> float:
    found = circuit.shown_c()
    assert found is not None
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_a_seed_is_one_case(kind: str) -> None:
    case = diagnosis_case(7, kind)
    assert case == diagnosis_case(7, kind)
    assert case.truth.kind == kind
    assert len(case.readings) >= 2


def test_every_kind_has_its_fault() -> None:
    assert set(FAULTS) == set(KINDS)
    assert len(KINDS) == 17


def test_a_sound_loop_shows_its_tip_whatever_its_head() -> None:
    assert shown(SOUND) == pytest.approx(1000.0, abs=1e-4)


def test_a_lead_reversed_twice_loses_twice_the_heads_emf() -> None:
    """41.276 - 2 x (2.436 - 1.000) = 38.404 mV, between 37.326 at 900 and 39.314 at 950."""
    between = 900.0 + 50.0 * (38.404 - 37.326) / (39.314 - 37.326)
    assert shown(replace(SOUND, lead_sign=-1.0)) == pytest.approx(between, abs=0.4)


def test_a_copper_lead_loses_it_once() -> None:
    """41.276 - 1.436 = 39.840 mV, between 39.314 at 950 and 41.276 at 1000."""
    between = 950.0 + 50.0 * (39.840 - 39.314) / (41.276 - 39.314)
    assert shown(replace(SOUND, lead="")) == pytest.approx(between, abs=0.4)


def test_a_cold_junction_taken_for_zero_loses_the_rooms_emf() -> None:
    """41.276 - 1.000 = 40.276 mV."""
    between = 950.0 + 50.0 * (40.276 - 39.314) / (41.276 - 39.314)
    assert shown(replace(SOUND, taken_c=0.0)) == pytest.approx(between, abs=0.4)


def test_type_k_on_an_input_set_to_n() -> None:
    """Type K at 800 degC is 33.275 mV; type N has 32.371 mV at 900 degC and 34.319 mV at 950 degC (terminals at 0)."""
    circuit = Circuit("K", "N", 800.0, 0.0, 0.0, 0.0, "K")
    between = 900.0 + 50.0 * (33.275 - 32.371) / (34.319 - 32.371)
    assert shown(circuit) == pytest.approx(between, abs=0.4)


def test_a_reversed_sensor_leaves_the_range_when_warm() -> None:
    """Below -200 degC (-5.891 mV) the display shows no number: with all reversed and 25 degC, above some 193 degC."""
    at = replace(SOUND, sensor_sign=-1.0, lead_sign=-1.0)
    assert shown(replace(at, tip_c=180.0)) < -150.0
    assert replace(at, tip_c=205.0).shown_c() is None


def test_cases_can_be_entered() -> None:
    tally, _ = tally_of(range(3))
    assert sum(len(found[told]) for found in tally.values() for told in OUTCOMES) == 3
