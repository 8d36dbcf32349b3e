"""The map of a blade: every place lies on the blade, shades go with the numbers, words stay words."""

from __future__ import annotations

import subprocess
import sys
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.hardness import HardnessEntry
from soakwitness.analysis.logbook.places_on_blade import PlaceOnBlade, place_on_blade, spot_words
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from soakwitness.cli.charts.blade_map import blade_svg, cells, outline, placed, point, shade

SHARE = st.floats(0, 100)


def read_at(
    *readings: float, along: float | None = None, across: float | None = None, spot: str | None = None
) -> HardnessEntry:
    test = HardnessReading(readings)
    return HardnessEntry(
        1, "B-041", "2026-11-26T10:00:00Z", "after temper", test, spot, None, None, "", "A", along, across
    )


def inside(x: float, y: float, corners: list[tuple[float, float]]) -> bool:
    """Ray casting; a point on the line counts as inside within a pixel."""
    found = False
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        if (ay > y) != (by > y) and x < (bx - ax) * (y - ay) / (by - ay) + ax:
            found = not found
    return found


@given(SHARE.filter(lambda v: 1 < v < 97), SHARE.filter(lambda v: 3 < v < 97))
def test_every_place_lies_on_the_blade(along: float, across: float) -> None:
    assert inside(*point(PlaceOnBlade(along, across)), outline())


@given(st.lists(st.floats(20, 70), min_size=1, max_size=12))
def test_a_harder_place_is_never_shaded_softer(means: list[float]) -> None:
    shades = [shade(mean, means) for mean in sorted(means)]
    assert shades == sorted(shades)
    assert all(0 <= one <= 5 for one in shades)


def test_half_a_point_is_not_made_a_difference_of_black_and_yellow() -> None:
    """Two points are spread over six shades, so that 0.5 HRC, within a tester's error, are two of them at most."""
    assert abs(shade(60.0, [60.0, 60.5]) - shade(60.5, [60.0, 60.5])) <= 2


def test_a_finger_finds_every_part_on_a_phone() -> None:
    """WCAG 2.2, 2.5.8: at least 24 CSS pixels; the picture is 340 of them wide."""
    for cell in cells():
        (x1, y1), (x2, y2) = (
            point(PlaceOnBlade(cell.middle.along_pct, cell.middle.across_pct + side * cell.half_across_pct))
            for side in (-1, 1)
        )
        assert abs(y1 - y2) * 0.34 >= 16
        assert x1 == x2
    widths = {round(2 * cell.half_along_pct, 6) for cell in cells()}
    assert widths == {12.5}


def test_readings_at_one_place_are_one_number() -> None:
    (one, two) = placed(
        [read_at(60.0, 61.0, along=30, across=50), read_at(62.0, along=30, across=50), read_at(58, spot="Tip")]
    )
    assert (one.mean, two.mean) == (61.0, 58.0)
    assert placed([read_at(60.0, spot="under the logo")]) == []


def test_words_stay_words_and_it_is_whole_xml() -> None:
    nasty = '"><script>alert(1)</script>'
    text = blade_svg([read_at(60.0, along=30, across=50, spot=nasty)], link=lambda p: f'/x?a={p.along_pct}&"<b>')
    root = ElementTree.fromstring(text)
    assert [e.tag for e in root.iter() if e.tag not in ("svg", "polygon", "a", "title", "g", "rect", "text")] == []
    assert " style=" not in text
    assert len([e for e in root.iter("a")]) == len(list(cells()))


def test_what_is_not_told_is_not_drawn() -> None:
    assert "no reading is placed on it yet" in blade_svg([])
    assert "60.1" in blade_svg([read_at(60.1, spot="edge")])


def test_a_place_is_two_shares() -> None:
    assert place_on_blade(None, None) is None
    assert spot_words(PlaceOnBlade(95, 10)) == "tip, edge"
    assert spot_words(PlaceOnBlade(50, 50)) == "middle, flat"
    for along, across, says in ((10, None, "--across is missing"), (None, 10, "--along is"), (-1, 50, "0 to 100")):
        with pytest.raises(LogBookError, match=says):
            place_on_blade(along, across)


def test_it_loads_no_plotting() -> None:
    code = "import sys, soakwitness.cli.charts.blade_map; print({'matplotlib', 'numpy'} & set(sys.modules))"
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "set()"
