"""Hardness over a blade: its outline with what was read where, as an SVG element for a page. It imports no plotting.

A blade of no special make: what counts is heel and tip, edge and spine. Shades are light for hard and dark for soft, go
by the readings themselves and tell no more than the numbers on them; they differ in grey too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from statistics import fmean
from typing import TYPE_CHECKING

from soakwitness.analysis.logbook.places_on_blade import PlaceOnBlade, place_of_spot, spot_words
from soakwitness.cli.words.hardness_words import one_reading

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.hardness import HardnessEntry

WIDTH, HEIGHT = 1000, 400
_HEEL_X, _TIP_X = 120.0, 985.0
_SPINE_Y, _EDGE_Y, _TIP_Y = 30.0, 300.0, 92.0
SHADES = (
    "#00224e",
    "#35456c",
    "#666970",
    "#948e77",
    "#c8b866",
    "#fee838",
)  # cividis: for colour-blind eyes and in grey
_FIRST_LIGHT = 3
_LEAST_RANGE = 2.0  # points: a smaller difference gets no strong shades, a tester shows hardly less than one
COLUMNS, MOST_ROWS = 8, 3
_LEAST_HEIGHT = 66.0  # of a place to be picked, so that a finger hits it on a phone
Link = Callable[[PlaceOnBlade], str]


@dataclass(frozen=True)
class ReadAt:
    """What was read at one place: the mean of all readings there."""

    place: PlaceOnBlade
    mean: float
    scale: str
    says: str


def placed(tests: Sequence[HardnessEntry]) -> list[ReadAt]:
    """Tests whose place is told, those at one place as one."""
    at: dict[PlaceOnBlade, list[HardnessEntry]] = {}
    for test in tests:
        place = _place_of(test)
        if place is not None:
            at.setdefault(place, []).append(test)
    return [_read_at(place, there) for place, there in at.items()]


def _place_of(test: HardnessEntry) -> PlaceOnBlade | None:
    if test.along_pct is None or test.across_pct is None:
        return place_of_spot(test.spot)
    return PlaceOnBlade(test.along_pct, test.across_pct)


def _read_at(place: PlaceOnBlade, tests: Sequence[HardnessEntry]) -> ReadAt:
    readings = [value for test in tests for value in test.test.readings]
    scale = tests[0].test.scale
    each = "  ".join(one_reading(value, scale) for value in readings)
    return ReadAt(place, fmean(readings), scale, f"{tests[0].spot or spot_words(place)}: {each} {scale}")


def point(place: PlaceOnBlade) -> tuple[float, float]:
    """Where a place lies in the picture."""
    along = place.along_pct / 100.0
    spine, edge = _spine_y(along), _edge_y(along)
    return _HEEL_X + along * (_TIP_X - _HEEL_X), edge - place.across_pct / 100.0 * (edge - spine)


def _spine_y(along: float) -> float:
    return _SPINE_Y + (_TIP_Y - _SPINE_Y) * math.pow(max(0.0, (along - 0.45) / 0.55), 2.0)


def _edge_y(along: float) -> float:
    return _EDGE_Y - (_EDGE_Y - _TIP_Y) * math.pow(max(0.0, (along - 0.3) / 0.7), 2.7)


def outline() -> list[tuple[float, float]]:
    """The blade's outline with its tang, from the tang's end along the spine to the tip, and back along the edge."""
    shares = [100.0 * k / 50 for k in range(51)]
    spine = [point(PlaceOnBlade(share, 100.0)) for share in shares]
    edge = [point(PlaceOnBlade(share, 0.0)) for share in reversed(shares)]
    return [(8.0, 60.0), (_HEEL_X, 50.0), *spine, *edge, (_HEEL_X, 170.0), (8.0, 150.0)]


def shade(mean: float, means: Sequence[float]) -> int:
    """Which shade a reading has among others: 0 is the softest, 5 the hardest."""
    middle = (min(means) + max(means)) / 2.0
    reach = max(max(means) - min(means), _LEAST_RANGE) / 2.0
    return min(len(SHADES) - 1, int((mean - middle + reach) / (2.0 * reach) * len(SHADES)))


@dataclass(frozen=True)
class Cell:
    """A part of the blade that can be picked: its middle, and how far it reaches to either side of it [%]."""

    middle: PlaceOnBlade
    half_along_pct: float
    half_across_pct: float


def light(number: int) -> bool:
    """Whether a shade takes black words."""
    return number >= _FIRST_LIGHT


def cells() -> Iterator[Cell]:
    """The parts of the blade that can be picked: as many above each other as a finger can tell apart."""
    for column in range(COLUMNS):
        along = 100.0 * (column + 0.5) / COLUMNS
        height = _edge_y(along / 100.0) - _spine_y(along / 100.0)
        rows = max(1, min(MOST_ROWS, int(height / _LEAST_HEIGHT)))
        for row in range(rows):
            yield Cell(PlaceOnBlade(along, 100.0 * (row + 0.5) / rows), 50.0 / COLUMNS, 50.0 / rows)


def blade_svg(tests: Sequence[HardnessEntry], *, link: Link | None = None, chosen: PlaceOnBlade | None = None) -> str:
    """The map as an SVG element.

    ``tests``: of one stage and one scale. ``link``: where picking a place leads to; none can be picked without it.
    ``chosen``: the place that was picked.
    """
    read = placed(tests)
    means = [one.mean for one in read]
    parts = [
        f'<polygon points="{_points(outline())}" fill="var(--blade-fill, #f4f2ec)" stroke="var(--ink, #1b1b1b)" '
        'stroke-width="4" stroke-linejoin="round"/>',
        *(_cell(cell, link, cell.middle == chosen) for cell in (cells() if link is not None else ())),
        *(_number(one, shade(one.mean, means)) for one in read),
        *([_ring(chosen)] if chosen is not None else []),
        _word(_HEEL_X + 8, 345.0, "heel", "start"),
        _word(_TIP_X, 345.0, "tip", "end"),
        *(_legend(read) if len(read) > 1 else ()),
    ]
    says = "; ".join(one.says for one in read) or "no reading is placed on it yet"
    return (
        f'<svg class="blade-map" viewBox="0 0 {WIDTH} {HEIGHT}" role="{"group" if link else "img"}" '
        f'aria-label="{escape(f"The blade, heel left, tip right, edge below: {says}")}">{"".join(parts)}</svg>'
    )


def _points(corners: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)


def _cell(cell: Cell, link: Link | None, chosen: bool) -> str:
    assert link is not None
    middle = cell.middle
    corners = [
        point(
            PlaceOnBlade(
                middle.along_pct + side * cell.half_along_pct, middle.across_pct + height * cell.half_across_pct
            )
        )
        for side, height in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    words = f"{spot_words(middle)}, {middle.along_pct:.0f} % from the heel"
    return (
        f'<a href="{escape(link(middle))}" class="{"cell chosen" if chosen else "cell"}" '
        f'aria-label="{escape(words)}"><title>{escape(words)}</title>'
        f'<polygon points="{_points(corners)}" fill="transparent" stroke="var(--line, #bdb8ab)" stroke-width="2"/></a>'
    )


def _number(one: ReadAt, number: int) -> str:
    x, y = point(one.place)
    ink, kind = ("#000000", "on-light") if light(number) else ("#ffffff", "on-dark")
    return (
        f'<g class="read" pointer-events="none"><title>{escape(one.says)}</title>'
        f'<rect x="{x - 50:.1f}" y="{y - 25:.1f}" width="100" height="50" rx="10" fill="{SHADES[number]}" '
        'stroke="var(--paper, #ffffff)" stroke-width="3"/>'
        f'<text x="{x:.1f}" y="{y + 14:.1f}" text-anchor="middle" class="{kind}" font-size="40" fill="{ink}">'
        f"{one_reading(one.mean, one.scale)}</text></g>"
    )


def _ring(place: PlaceOnBlade) -> str:
    x, y = point(place)
    return (
        f'<g class="chosen-place" pointer-events="none"><circle cx="{x:.1f}" cy="{y:.1f}" r="34" fill="none" '
        'stroke="var(--ink, #1b1b1b)" stroke-width="8"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="34" fill="none" stroke="var(--band, #f0e442)" stroke-width="3"/></g>'
    )


def _word(x: float, y: float, word: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="40" fill="var(--soft, #555555)">{word}</text>'
    )


def _legend(read: Sequence[ReadAt]) -> Iterator[str]:
    """Softest and hardest, with the shades between them that are used."""
    means = [one.mean for one in read]
    low, high = min(means), max(means)
    first, last = shade(low, means), shade(high, means)
    width, x = 56.0, 300.0
    yield _word(x - 12, 388.0, one_reading(low, read[0].scale), "end")
    for number in range(first, last + 1):
        yield f'<rect x="{x:.1f}" y="356" width="{width}" height="34" fill="{SHADES[number]}"/>'
        x += width
    yield _word(x + 12, 388.0, f"{one_reading(high, read[0].scale)} {read[0].scale}", "start")
