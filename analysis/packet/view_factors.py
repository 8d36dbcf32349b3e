"""View factors of rectangles, and what two facing ones see of each other and the chamber. Standard library only."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product


def parallel_rectangles(length: float, height: float, other_height: float, distance: float) -> float:
    """View factor from one upright rectangle to a parallel one of the same length, their lower edges level.

    All in one unit of length. Returns the factor on the first's area [-].

    Source: Howell, Menguc, Siegel, Thermal Radiation Heat Transfer, configuration C-13 (rectangles in parallel planes);
    with equal heights Incropera, 6th edition, table 13.2.
    """
    total = 0.0
    for i, j, k, m in product((0, 1), repeat=4):
        along, up = length * (i - k), height * j - other_height * m
        total += (-1) ** (i + j + k + m) * _corner(along, up, distance)
    return min(max(total / (length * height), 0.0), 1.0)


def _corner(along: float, up: float, distance: float) -> float:
    one, other = math.hypot(along, distance), math.hypot(up, distance)
    atans = up * one * math.atan(up / one) + along * other * math.atan(along / other)
    return (atans - 0.5 * distance**2 * math.log(along**2 + up**2 + distance**2)) / (2.0 * math.pi)


def perpendicular_rectangles(length: float, height: float, depth: float) -> float:
    """View factor from an upright rectangle to one on the floor with which it shares an edge of ``length``.

    All in one unit of length. Returns the factor on the upright's area [-].

    Source: Incropera, 6th edition, table 13.2, perpendicular rectangles with a common edge.
    """
    w, h = height / length, depth / length
    both = 1.0 + w * w + h * h
    far = math.hypot(w, h)
    logs = math.log((1.0 + w * w) * (1.0 + h * h) / both)
    logs += w * w * math.log(w * w * both / ((1.0 + w * w) * far**2))
    logs += h * h * math.log(h * h * both / ((1.0 + h * h) * far**2))
    atans = w * math.atan(1.0 / w) + h * math.atan(1.0 / h) - far * math.atan(1.0 / far)
    return min(max((atans + 0.25 * logs) / (math.pi * w), 0.0), 1.0)


@dataclass(frozen=True)
class Between:
    """What a face between two packets sees [-]: itself (by way of the floor), its neighbour, the chamber."""

    itself: float
    neighbour: float
    chamber: float


def between(
    length: float, height: float, other_height: float, distance: float, *, floor: bool
) -> tuple[Between, Between]:
    """Views of two facing rectangles that stand on a shelf, or on a floor that gives back what falls on it.

    The chamber is seen through the openings. The floor takes no heat and has none to give (a reradiating surface), so
    what it gets from a face it gives to both faces and the chamber by its own views of them.
    """
    across, back = (
        parallel_rectangles(length, one, other, distance)
        for one, other in ((height, other_height), (other_height, height))
    )
    if not floor:
        return Between(0.0, across, 1.0 - across), Between(0.0, back, 1.0 - back)
    down, other_down = (perpendicular_rectangles(length, one, distance) for one in (height, other_height))
    up, other_up = down * height / distance, other_down * other_height / distance  # reciprocity
    one = Between(down * up, across + down * other_up, 0.0)
    other = Between(other_down * other_up, back + other_down * up, 0.0)
    return _closed(one), _closed(other)


def _closed(views: Between) -> Between:
    return Between(views.itself, views.neighbour, max(1.0 - views.itself - views.neighbour, 0.0))
