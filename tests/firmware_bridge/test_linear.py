"""Converters that take the curve for a straight line, against printed tables and an independent program."""

from __future__ import annotations

import pytest
import thermocouple_its90

from soakwitness.firmware_bridge.common.reference_functions import REFERENCE_FUNCTIONS, temp_of_c, voltage_mv
from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace
from soakwitness.firmware_bridge.errors import FurnaceFileError
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links.linear import straightened_c
from soakwitness.firmware_bridge.links.textlines import LineReader

# NIST SRD 60, type K: E(25) = 1.000, E(780) = 32.453, E(1040) = 42.826 mV; the line is cold + (E - E(cold)) / 0.041276
PRINTED_MV = {25.0: 1.000, 780.0: 32.453, 1040.0: 42.826}


def shown(temp_c: float) -> float:
    return 25.0 + (PRINTED_MV[temp_c] - PRINTED_MV[25.0]) / 0.041276


@pytest.mark.parametrize(("temp_c", "error_c"), [(780.0, 7.0), (1040.0, -1.7)])
def test_the_errors_of_the_page_and_their_undoing(temp_c: float, error_c: float) -> None:
    assert shown(temp_c) - temp_c == pytest.approx(error_c, abs=0.05)
    assert straightened_c(shown(temp_c), 25.0, uv_per_c=41.276, kind="K") == pytest.approx(temp_c, abs=0.05)


@pytest.mark.parametrize("kind", sorted(REFERENCE_FUNCTIONS))
def test_the_function_and_its_inverse_against_an_independent_program(kind: str) -> None:
    theirs = thermocouple_its90.TYPES[kind]
    for temp_c in (60.0, 350.0, 399.0, 780.0, 1000.0):
        if not REFERENCE_FUNCTIONS[kind][0].low_c <= temp_c <= REFERENCE_FUNCTIONS[kind][-1].high_c:
            continue
        ours = voltage_mv(kind, temp_c)
        assert ours == pytest.approx(theirs.emf(temp_c), abs=1e-9)
        assert ours is not None
        assert temp_of_c(kind, ours) == pytest.approx(temp_c, abs=1e-4)


@pytest.mark.parametrize(
    ("kind", "uv_per_c"),
    [("E", 76.373), ("J", 57.953), ("K", 41.276), ("N", 36.256), ("R", 10.506), ("S", 9.587)],
)
def test_the_sensitivities_of_the_page_are_mean_slopes(kind: str, uv_per_c: float) -> None:
    assert voltage_mv(kind, 1000.0) == pytest.approx(uv_per_c, abs=0.0005)  # mV over 1000 degC is the slope in uV/degC


def furnace(more: str, unit: str = "C") -> Furnace:
    return parse_furnace(
        f'name = "x"\nunit = "{unit}"\n[link]\nkind = "lines"\nport = "P"\nseparator = ","\n'
        f'[[sensor]]\nname = "work"\nrole = "load"\nfield = 1\n{more}'
        '[[sensor]]\nname = "terminals"\nrole = "ambient"\nfield = 2\n',
        "f.toml",
    )


LINEAR = 'thermocouple = "K"\nlinear_uv_per_c = 41.276\ncold_junction = "terminals"\n'


@pytest.mark.parametrize("unit", ["C", "F"])
def test_the_reader_undoes_it_where_the_furnace_file_says_so(unit: str) -> None:
    def degrees(temp_c: float) -> float:
        return temp_c if unit == "C" else temp_c * 1.8 + 32

    text = f"{degrees(shown(780.0)):.2f},{degrees(25.0):.1f}".encode()
    line = LineReader(furnace(LINEAR, unit)).parse(text)
    assert line is not None
    assert line.values["work"] == pytest.approx(degrees(780.0), abs=0.1)
    assert line.values["terminals"] == degrees(25.0)


def test_without_the_cold_junction_there_is_no_reading() -> None:
    line = LineReader(furnace(LINEAR)).parse(b"787.0,OPEN")
    assert line is not None
    assert line.values["work"] is None
    assert line.faults["work"] == "cold junction not had"
    line = LineReader(furnace(LINEAR)).parse(b"1800,25.0")
    assert line is not None
    assert (line.values["work"], line.faults["work"]) == (None, "beyond type K")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("linear_uv_per_c = 41.276\n", "thermocouple"),
        ('thermocouple = "K"\nlinear_uv_per_c = 41.276\n', "cold_junction"),
        (LINEAR.replace("terminals", "nowhere"), "must be the name of another sensor: terminals"),
        (LINEAR.replace('"terminals"', '"work"'), "must be the name of another sensor"),
    ],
)
def test_what_is_missing_for_it_is_said(more: str, says: str) -> None:
    with pytest.raises(FurnaceFileError, match=says):
        furnace(more)
