"""degF at the edges, degC and kelvin inside."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.firmware_bridge.common.units import from_celsius, from_kelvin, to_celsius, to_kelvin


@pytest.mark.parametrize("unit", ["C", "F"])
def test_units_go_there_and_back(unit: str) -> None:
    temp = np.array([-40.0, 0.0, 1050.0])
    assert from_celsius(temp, "F")[0] == -40.0  # where both scales meet
    assert to_celsius(from_celsius(temp, unit), unit) == pytest.approx(temp)
    assert to_kelvin(from_kelvin(12.5, unit), unit) == pytest.approx(12.5)


def test_fahrenheit() -> None:
    # Definition of the degree Fahrenheit; 1050 degF is 565.6 degC, 200 degF is 93.3 (CHECKS.md section 4).
    assert to_celsius(np.array([32.0, 212.0]), "F") == pytest.approx([0.0, 100.0])
    assert to_celsius(np.array([1050.0, 200.0]), "F") == pytest.approx([565.6, 93.3], abs=0.05)
    assert to_kelvin(3.6, "F") == pytest.approx(2.0)


def test_what_is_not_known_stays_so() -> None:
    assert to_celsius(None, "F") is None
    assert from_celsius(None, "F") is None
    assert to_kelvin(None, "F") is None
    assert from_kelvin(None, None) is None
