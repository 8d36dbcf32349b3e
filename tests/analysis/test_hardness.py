from __future__ import annotations

import pytest

from soakwitness.analysis.metallurgy import hardness_readings as hardness
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading

# HRC -> HV of non-austenitic steel: ASTM A370, read in a public copy (CHECKS.md section 2, S)
A370 = {55: 595, 56: 613, 57: 633, 58: 653, 59: 674, 60: 697, 61: 720, 62: 746, 63: 772, 64: 800, 65: 832}


@pytest.mark.parametrize(("hrc", "hv"), A370.items())
def test_conversion_is_the_table_of_astm_a370_in_whole_points(hrc: int, hv: int) -> None:
    assert hardness.hv_of_hrc(hrc) == hv
    assert hardness.hv_of_hrc(hrc + 0.4) == hv
    assert hardness.hrc_of_hv(hv) == hrc


@pytest.mark.parametrize("outside", [54.4, 65.6, 20.0])
def test_nothing_is_converted_outside_the_table(outside: float) -> None:
    assert hardness.hv_of_hrc(outside) is None
    assert hardness.hrc_of_hv(594.0) is None
    assert hardness.hrc_of_hv(833.0) is None


@pytest.mark.parametrize(("depth_mm", "hrc"), [(0.08, 60.0), (0.2, 0.0), (0.0, 100.0)])
def test_rockwell_c_is_a_depth(depth_mm: float, hrc: float) -> None:
    # HRC = 100 - h/0.002 mm: ISO 6508-1 / ASTM E18 (CHECKS.md section 2, S)
    assert hardness.depth_of_hrc(hrc) == pytest.approx(depth_mm)


def test_the_total_load_of_hrc_is_known() -> None:
    # total 1471 N: ISO 6508-1 / ASTM E18 (CHECKS.md section 2, S)
    assert hardness.ROCKWELL_LOADS_N["HRC"] == 1471.0
    assert any("does not belong" in w for w in hardness.warnings_of(HardnessReading((60.0,) * 3, load_n=588.0)))
    assert not any("does not belong" in w for w in hardness.warnings_of(HardnessReading((60.0,) * 3, load_n=1471.0)))


@pytest.mark.parametrize(
    ("hrc", "diameter_mm"),
    [
        # 120 degree cone, tip radius 0.2 mm: they meet at depth 0.2 (1 - sin 60) = 0.026795 and half width 0.1;
        # 60 HRC: h 0.08, 2 (0.1 + (0.08 - 0.026795) x 1.7320508) = 0.384308
        (60.0, 0.384308),
        # 90 HRC: h 0.02 within the tip: 2 sqrt(0.02 x (0.4 - 0.02)) = 0.174356
        (90.0, 0.174356),
    ],
)
def test_an_indentation_s_width_follows_the_indenter_s_shape(hrc: float, diameter_mm: float) -> None:
    assert hardness.indent_diameter_mm(hrc) == pytest.approx(diameter_mm, abs=1e-6)


def test_spacing_and_edge_are_judged_in_diameters() -> None:
    # 3 d centre to centre, 2.5 d to an edge: ISO 6508-1 (CHECKS.md section 2, S); d at 60 HRC as derived above
    block = {"block_value": 60.0, "block_readings": (60.0,)}
    near = HardnessReading((60.0, 60.0, 60.0), spacing_mm=1.15, edge_mm=0.96, **block)  # type: ignore[arg-type]
    far = HardnessReading((60.0, 60.0, 60.0), spacing_mm=1.16, edge_mm=0.97, **block)  # type: ignore[arg-type]
    assert [w.split(":")[0] for w in hardness.warnings_of(near)] == [
        "indentations 1.15 mm apart",
        "0.96 mm from an edge",
    ]
    assert hardness.warnings_of(far) == ()


def test_block_non_uniformity_is_highest_minus_lowest() -> None:
    # Hmax - Hmin over five readings: ASTM E18-19 as CHECKS.md section 2 defines it (P)
    assert hardness.block_nonuniformity([60.1, 60.3, 59.9, 60.2, 60.0]) == pytest.approx(0.4)
    even = HardnessReading((60.0,) * 3, block_value=60.0, block_readings=(60.1, 60.3, 59.9, 60.2, 60.0))
    uneven = HardnessReading((60.0,) * 3, block_value=60.0, block_readings=(60.1, 61.3, 59.1, 60.2, 59.5))
    assert hardness.warnings_of(even) == ()
    assert hardness.warnings_of(uneven) == ("the block's readings range over 2.2: block or tester.",)


def test_a_good_test_has_nothing_to_say_and_a_poor_one_much() -> None:
    good = HardnessReading((60.1, 60.3, 59.9), block_value=60.3, block_readings=(60.2, 60.4), thickness_mm=3.0)
    assert hardness.warnings_of(good) == ()
    poor = HardnessReading((60.0, 57.0), thickness_mm=0.7)
    found = " ".join(hardness.warnings_of(poor))
    for word in ("at least 3", "block was not read", "range over 2", "thin"):
        assert word in found
    assert "1 reading: take at least 3." in hardness.warnings_of(HardnessReading((60.0,), thickness_mm=3.0))


def test_what_the_tester_cannot_tell_apart() -> None:
    steady = HardnessReading((60.0, 60.0, 60.0))
    # twice the machine error of +-0.5 at 60 HRC (ASTM E18-19 table A1.3, CHECKS.md section 2, P)
    assert hardness.least_difference_hrc(steady, steady) == 1.0
    uneven = HardnessReading((58.0, 60.0, 62.0))
    # s = 2, standard error 2/sqrt(3) = 1.1547 each; 2 sqrt(1.1547^2 x 2) = 3.2660
    assert hardness.least_difference_hrc(uneven, uneven) == pytest.approx(3.2660, abs=1e-4)
    off = HardnessReading((60.0, 60.0, 60.0), block_value=60.0, block_readings=(58.5,))
    assert hardness.least_difference_hrc(off, steady) == pytest.approx(2.5)
