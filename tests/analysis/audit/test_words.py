from __future__ import annotations

import pytest

from soakwitness.analysis.audit.words import kelvin, minutes, percent, rendered, temp


@pytest.mark.parametrize(
    ("temp_c", "unit", "expected"), [(1050.0, "C", "1050 °C"), (1050.0, "F", "1922 °F"), (-78.0, "F", "-108 °F")]
)
def test_temperatures_are_converted_with_32(temp_c: float, unit: str, expected: str) -> None:
    assert rendered(f"at {temp(temp_c)}.", unit) == f"at {expected}."


@pytest.mark.parametrize(
    ("difference_c", "unit", "expected"), [(-5.0, "C", "5.0 °C"), (5.0, "F", "9.0 °F"), (20.0, "F", "36 °F")]
)
def test_differences_are_converted_without_32(difference_c: float, unit: str, expected: str) -> None:
    assert rendered(f"by {kelvin(difference_c)}", unit) == f"by {expected}"


def test_times_and_shares_in_words() -> None:
    assert [minutes(s) for s in (45.0, 750.0, 11520.0)] == ["45 s", "12.5 min", "3.2 h"]
    assert percent(0.618) == "62 %"
