"""View factors against published ones, against contour integrals and Hottel's strings, and the laws they obey."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.packet.view_factors import between, parallel_rectangles, perpendicular_rectangles
from tests.rack_oracle import contour_view_factor, gap_transfer, ground, strips_to_chamber, upright


def incropera_aligned(x: float, y: float, apart: float) -> float:
    """Incropera, 6th edition, table 13.2, aligned parallel rectangles, written out (the formula from memory)."""
    x, y = x / apart, y / apart
    return (
        2
        / (math.pi * x * y)
        * (
            math.log(math.sqrt((1 + x**2) * (1 + y**2) / (1 + x**2 + y**2)))
            + x * math.sqrt(1 + y**2) * math.atan(x / math.sqrt(1 + y**2))
            + y * math.sqrt(1 + x**2) * math.atan(y / math.sqrt(1 + x**2))
            - x * math.atan(x)
            - y * math.atan(y)
        )
    )


@pytest.mark.parametrize(
    ("factor", "published"),
    [
        # Unit cubes, opposite and adjacent faces: 0.1998 and 0.2000, tabulated in every text on radiation (from memory:
        # Howell, configurations C-11 and C-14); they make 1 with four adjacent faces.
        (parallel_rectangles(1.0, 1.0, 1.0, 1.0), 0.1998),
        (perpendicular_rectangles(1.0, 1.0, 1.0), 0.2000),
        # Discs of the chart, Incropera figure 13.4 (read off, from memory): X/L = Y/L = 10 gives about 0.83.
        (parallel_rectangles(10.0, 10.0, 10.0, 1.0), 0.827),
    ],
)
def test_published_figures(factor: float, published: float) -> None:
    assert factor == pytest.approx(published, abs=0.0006)


@pytest.mark.parametrize("apart", [3.0, 8.0, 12.0, 40.0, 150.0])
def test_equal_rectangles_are_those_of_the_table(apart: float) -> None:
    assert parallel_rectangles(250, 40, 40, apart) == pytest.approx(incropera_aligned(250, 40, apart), abs=1e-9)


def test_without_end_they_are_the_crossed_strings() -> None:
    # Hottel's crossed strings for two strips of height H, a gap d apart: sqrt(1 + (d/H)^2) - d/H.
    for d in (0.1, 0.3, 1.0):
        assert parallel_rectangles(1e4, 1.0, 1.0, d) == pytest.approx(math.hypot(1, d) - d, abs=2e-4)
        # A wall of height 1 and a floor of depth d: (1 + d - sqrt(1 + d^2)) / 2.
        assert perpendicular_rectangles(1e4, 1.0, d) == pytest.approx((1 + d - math.hypot(1, d)) / 2, abs=2e-4)


@pytest.mark.parametrize(("one", "other", "apart"), [(40, 25, 12), (25, 40, 12), (40, 60, 30), (15, 80, 60)])
def test_unequal_ones_by_the_contour_integral(one: float, other: float, apart: float) -> None:
    expected = contour_view_factor(upright(250, one, 0), upright(250, other, apart))
    assert parallel_rectangles(250, one, other, apart) == pytest.approx(expected, abs=2e-4)
    down = contour_view_factor(upright(250, one, 0), ground(250, 0, apart), 400)
    assert perpendicular_rectangles(250, one, apart) == pytest.approx(down, abs=1e-3)


sizes = st.floats(5.0, 200.0)


@given(length=st.floats(50.0, 500.0), one=sizes, other=sizes, apart=st.floats(1.0, 100.0), floor=st.booleans())
def test_what_leaves_arrives(length: float, one: float, other: float, apart: float, floor: bool) -> None:
    mine, theirs = between(length, one, other, apart, floor=floor)
    for views in (mine, theirs):
        assert min(views.itself, views.neighbour, views.chamber) >= 0.0
        assert views.itself + views.neighbour + views.chamber == pytest.approx(1.0, abs=1e-9)
    assert one * mine.neighbour == pytest.approx(other * theirs.neighbour, abs=1e-6 * max(one, other))


def test_one_radiosity_for_a_whole_face_is_near_to_many_strips() -> None:
    # A face of one radiosity against forty strips, equally warm: the chamber is seen 2 to 8 % too well at most.
    for gap in (7.0, 12.0, 30.0):
        seen = math.hypot(40.0, gap) - gap
        across = seen / 40.0
        eps = 0.6
        whole = eps * (1 - across) / (1 - (1 - eps) * across)
        assert strips_to_chamber(40.0, gap, eps, 1) == pytest.approx(whole, rel=1e-9)
        assert 1.0 <= whole / strips_to_chamber(40.0, gap, eps, 40) < 1.09


@pytest.mark.parametrize("floor", [False, True])
def test_heat_goes_nowhere_where_all_is_equally_warm(floor: bool) -> None:
    assert gap_transfer(250, 40, 25, 12, 0.6, 0.8, floor).sum(axis=1) == pytest.approx([0, 0], abs=1e-9)
