"""Thermocouple functions against the printed tables, the published text and an independent program."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import thermocouple_its90
from hypothesis import given, settings
from hypothesis import strategies as st

from soakwitness.analysis.thermocouples.reference_functions import (
    TYPES,
    ThermocoupleError,
    emf_mv,
    seebeck_uv_per_c,
    temperature_c,
    tolerance_c,
    type_range,
)
from soakwitness.analysis.thermocouples.tolerance import MEMORY, tolerance_of

HERE = Path(__file__).resolve().parent
NIST = HERE.parents[2] / "shared" / "reference_data" / "nist_its90"
HALF_A_DIGIT_MV = 0.0005
# From here up a type's emf has one temperature: type B from its published inverse range (250 degC, 0.291 mV).
SINGLE_FROM_C = {kind: (250.0 if kind == "B" else type_range(kind).low_c) for kind in TYPES}


def printed_tables() -> dict[str, dict[int, float]]:
    """All printed points of the NIST tables; rows of the <= 0 block descend, the 0 row stands twice."""
    tables = {}
    for kind in TYPES:
        points: dict[int, float] = {}
        step = 1
        text = (NIST / f"type_{kind.lower()}.tab").read_text(encoding="latin-1")
        for line in text[: text.index("reference function")].splitlines():
            if head := re.match(r"\s*.C\s+0\s+(-?)1\s", line):
                step = -1 if head.group(1) else 1
            elif row := re.match(r"\s*(-?\d+)((?:\s+-?\d+\.\d{3})+)\s*$", line):
                for column, value in enumerate(row.group(2).split()):
                    points[int(row.group(1)) + step * column] = float(value)
        tables[kind] = points
    return tables


@pytest.mark.skipif(not NIST.is_dir(), reason=f"the NIST tables are not at {NIST}")
def test_all_printed_points_of_the_nist_tables() -> None:
    tables = printed_tables()
    assert sum(len(points) for points in tables.values()) == 12_026  # CHECKS: as counted by thermocouple-its90
    for kind, points in tables.items():
        temp = np.array(list(points), dtype=float)
        printed = np.array(list(points.values()))
        # 1e-6: type B at 1752 degC stands exactly at the rounding limit
        assert np.abs(emf_mv(temp, kind) - printed).max() <= HALF_A_DIGIT_MV + 1e-6, kind
        usable = (temp >= SINGLE_FROM_C[kind]) & (printed >= (0.291 if kind == "B" else -99))
        back = temperature_c(printed[usable], kind)
        slope_mv = seebeck_uv_per_c(temp[usable], kind) / 1e3
        assert np.all(np.abs(back - temp[usable]) * slope_mv <= HALF_A_DIGIT_MV * 1.5), kind


def test_printed_points_kept_in_the_project() -> None:
    # every 50th degree of the tables of NIST SRD 60; source in the file's first lines
    rows = [
        line.split(",")
        for line in (HERE / "data" / "nist_its90_points.csv").read_text(encoding="utf-8").splitlines()
        if not line.startswith("#")
    ]
    assert {kind for kind, _, _ in rows} == set(TYPES)
    for kind, temp, printed in rows:
        assert emf_mv(float(temp), kind) == pytest.approx(float(printed), abs=HALF_A_DIGIT_MV + 1e-6), (kind, temp)


# CHECKS section 1: NIST SRD 60, printed to three decimals; six decimals computed from the published definition
TABLE = """
B 300 0.431 (0.430648); 800 3.154 (3.153610); 1200 6.786 (6.786427); 1700 12.433 (12.432543)
E -100 -5.237 (-5.237184); 100 6.319 (6.318930); 500 37.005 (37.005354); 900 68.787 (68.786591)
J -100 -4.633 (-4.632524); 100 5.269 (5.268916); 500 27.393 (27.392631); 1000 57.953 (57.953410)
K -100 -3.554 (-3.553631); 300 12.209 (12.208566); 800 33.275 (33.275380); 1050 43.211 (43.211248)
N -100 -2.407 (-2.406811); 300 9.341 (9.341152); 800 28.455 (28.454520); 1100 40.087 (40.086606)
R 100 0.647 (0.647396); 600 5.583 (5.583451); 1050 11.173 (11.172763); 1500 17.451 (17.450653)
S 100 0.646 (0.645913); 600 5.239 (5.238690); 1050 10.168 (10.168009); 1500 15.582 (15.581669)
T -150 -4.648 (-4.648468); -50 -1.819 (-1.819036); 100 4.279 (4.278519); 350 17.819 (17.818669)
"""
ROWS = [
    (line[0], *(float(number) for number in re.match(r"\s*(\S+) (\S+) \((\S+)\)", cell).groups()))  # type: ignore[union-attr]
    for line in TABLE.strip().splitlines()
    for cell in line[1:].split(";")
]


@pytest.mark.parametrize(("kind", "temp", "printed", "exact"), ROWS)
def test_table_values(kind: str, temp: float, printed: float, exact: float) -> None:
    assert emf_mv(temp, kind) == pytest.approx(exact, abs=6e-7)
    assert round(emf_mv(temp, kind), 3) == printed
    assert temperature_c(emf_mv(temp, kind), kind) == pytest.approx(temp, abs=1e-9)


@pytest.mark.parametrize("kind", TYPES)
def test_between_the_table_points_against_an_independent_program(kind: str) -> None:
    oracle = thermocouple_its90.TYPES[kind]
    limits = type_range(kind)
    temp = np.random.default_rng(90).uniform(limits.low_c, limits.high_c, 400)
    assert emf_mv(temp, kind) == pytest.approx([oracle.emf(t) for t in temp], abs=1e-9)
    assert seebeck_uv_per_c(temp, kind) == pytest.approx([1e3 * oracle.seebeck(t) for t in temp], abs=1e-6)
    # the other program's rounding is amplified where a degree is under 0.01 mV: there only the round trip is checked
    warm = temp[temp > max(SINGLE_FROM_C[kind], -200.0)]
    mv = emf_mv(warm, kind)
    assert temperature_c(mv, kind) == pytest.approx([oracle.temperature(e) for e in mv], abs=1e-7)


@pytest.mark.parametrize("kind", TYPES)
def test_round_trip_over_the_whole_range(kind: str) -> None:
    temp = np.linspace(SINGLE_FROM_C[kind], type_range(kind).high_c, 60_001)
    if kind == "B":
        temp = temp[emf_mv(temp, "B") >= 0.291]
    error = np.abs(temperature_c(emf_mv(temp, kind), kind) - temp)
    # At a published joint the two pieces differ by up to 2.2e-9 mV (B 630.615, R and S 1664.5 degC), downward: within
    # 4e-7 degC above it one emf belongs to two temperatures. No grid point falls there.
    assert error.max() < 1e-9


@given(data=st.data(), kind=st.sampled_from(TYPES), reference=st.floats(0, 60))
@settings(max_examples=60, deadline=None)
def test_round_trip_with_a_reference_junction(data: st.DataObject, kind: str, reference: float) -> None:
    temp = data.draw(st.floats(251.0, type_range(kind).high_c))
    assert temperature_c(emf_mv(temp, kind, reference), kind, reference) == pytest.approx(temp, abs=1e-6)


@pytest.mark.parametrize(
    ("kind", "temp", "uv"), [("K", 1050, 38.4386), ("N", 1100, 37.9803), ("S", 1050, 11.6975), ("R", 1050, 13.4397)]
)
def test_seebeck(kind: str, temp: float, uv: float) -> None:
    # CHECKS section 1, computed from the published definition
    assert seebeck_uv_per_c(temp, kind) == pytest.approx(uv, abs=6e-5)


def test_published_cold_junction_example() -> None:
    # README of thermocouple-its90: type K, 4.096 mV at a reference junction of 25 degC is 124.3 degC
    assert round(temperature_c(4.096, "K", 25.0), 1) == 124.3


@pytest.mark.parametrize(
    ("wired", "set_to", "shown", "true"),
    [("K", "N", 200, 153), ("K", "N", 800, 692), ("K", "N", 1050, 930), ("N", "K", 200, 256), ("N", "K", 1050, 1174)]
    + [("J", "K", 1050, 769), ("S", "R", 1000, 1079)],
)
def test_wrong_type_set_in_the_instrument(wired: str, set_to: str, shown: float, true: float) -> None:
    # CHECKS section 1, cold junction 25 degC
    assert round(temperature_c(emf_mv(shown, set_to, 25.0), wired, 25.0)) == true


def test_type_b_is_refused_where_it_has_two_temperatures() -> None:
    assert np.isnan(temperature_c([0.0, 0.1, 0.2909], "B")).all()
    assert temperature_c(0.291, "B") == pytest.approx(250.0, abs=0.2)  # published start of the inverse, 250 degC
    with pytest.raises(ThermocoupleError, match="0.2909 mV is outside type B, 0.291"):
        temperature_c(0.2909, "B", on_range="raise")


@pytest.mark.parametrize("kind", TYPES)
def test_outside_the_range(kind: str) -> None:
    limits = type_range(kind)
    outside = [limits.low_c - 0.01, limits.high_c + 0.01]
    assert np.isnan(emf_mv(outside, kind)).all()
    assert np.isnan(seebeck_uv_per_c(outside, kind)).all()
    assert np.isnan(temperature_c([limits.low_mv - 0.001, limits.high_mv + 0.001], kind)).all()
    with pytest.raises(ThermocoupleError, match="is outside type"):
        emf_mv(outside, kind, on_range="raise")
    assert not np.isnan(emf_mv([limits.low_c, limits.high_c], kind)).any()


def test_what_is_not_a_number_stays_so_and_shapes_are_kept() -> None:
    given = np.array([[20.0, np.nan, 500.0], [-300.0, 0.0, 1400.0]])
    answer = emf_mv(given, "K", on_range="nan")
    assert answer.shape == (2, 3)
    assert np.isnan(answer).tolist() == [[False, True, False], [True, False, True]]
    assert np.isnan(emf_mv(np.nan, "K", on_range="raise"))
    assert emf_mv(0.0, "K") == 0.0
    assert emf_mv([], "K").shape == (0,)
    assert isinstance(emf_mv(100, "k"), float)


def test_unknown_words_are_refused() -> None:
    with pytest.raises(ThermocoupleError, match="type 'X' is not known. Types: B E J K N R S T"):
        emf_mv(100.0, "X")
    with pytest.raises(ThermocoupleError, match="class '3' is not known"):
        tolerance_c("K", "3", 100.0)
    with pytest.raises(ThermocoupleError, match="on_range is 'clip'"):
        emf_mv(100.0, "K", on_range="clip")  # type: ignore[arg-type]


# Tolerance of new wire: several public copies of IEC 60584-1 / ASTM E230 agree (CHECKS section 1). Breakpoints follow
# from the two terms: class 1 of K 1.5/0.004 = 375, class 2 2.5/0.0075 = 333.3, special 1.1/0.004 = 275, standard
# 2.2/0.0075 = 293.3; R and S class 2 1.5/0.0025 = 600, special 0.6/0.001 = 600.
TOLERANCES = """
K 1        -40 1.5, 375 1.5, 375.1 1.5004, 1000 4.0, 1000.1 nan, 1050 nan
N 2        -40.1 nan, 20 2.5, 333 2.5, 334 2.505, 1050 7.875, 1200 9.0
K special  -0.1 nan, 0 1.1, 275 1.1, 276 1.104, 1050 4.2, 1261 nan
N standard 293 2.2, 294 2.205, 1050 7.875, 1260 9.45
S 1        0 1.0, 1050 1.0, 1100 1.0, 1101 1.003, 1600 2.5, 1601 nan
R 2        600 1.5, 601 1.5025, 1050 2.625, 1600 4.0
S special  600 0.6, 601 0.601, 1050 1.05, 1480 1.48, 1481 nan
S standard 1050 2.625, 1480 3.7, 1481 nan
"""
WANTED = [
    (line.split()[0], line.split()[1], *(float(number) for number in cell.split()))
    for line in TOLERANCES.strip().splitlines()
    for cell in line.split(maxsplit=2)[2].split(",")
]


@pytest.mark.parametrize(("kind", "name", "temp", "want"), WANTED)
def test_tolerance_of_new_wire(kind: str, name: str, temp: float, want: float) -> None:
    got = float(tolerance_c(kind, name, temp))
    assert got == pytest.approx(want, abs=1e-9, nan_ok=True)


def test_figures_from_memory_say_so() -> None:
    # CHECKS gives public copies for K, N, R and S only
    for kind in "BEJT":
        row = tolerance_of(kind, "2")
        assert row is not None
        assert row.origin == MEMORY
    assert tolerance_of("B", "1") is None
    assert np.isnan(tolerance_c("B", "1", [700.0, 800.0])).all()
