"""From where to where a placed hold goes, on the chamber and on a load sensor. Standard library only."""

from __future__ import annotations

import math

from soakwitness.analysis.verification.rules.course import Course, coldest_c, hottest_c, last_s
from soakwitness.analysis.verification.rules.edges import Edges
from soakwitness.analysis.verification.rules.places import Placed, Places
from soakwitness.analysis.verification.rules.states import ROOM_C

FEWEST_ALIKE, NO_WARMER_C = 5, 1.0
WARM_C, MOST_COMPARED = 60.0, 2000
# A load sensor that lies outside: it does not climb while the furnace is so much hotter; engineering guesses.
RISES_C, OUTSIDE_C, CLIMBS_S = 50.0, 200.0, 300.0


def extent_of(every: Places, number: int, course: Course, here: Edges, start_s: float) -> tuple[float, float]:
    """Where the way to a hold begins and where the next one does [s]; ``start_s`` [s] is where the run does."""
    placed = every[number]
    following = next((p for p in every[number + 1 :] if p is not None), None)
    begin = start_s if placed is None or placed.window_s is None else placed.window_s
    limit = following.stays[0].start_s if following else last_s(course)
    return min(begin, here.enter_s), max(limit, here.leave_s)


def begins_s(placed: Placed | None, start_s: float) -> float:
    """When a hold was entered, or begins beside its band [s]; where it is not, the run's start [s]."""
    if placed is None:
        return start_s
    return placed.edges.enter_s if placed.edges is not None else placed.stays[0].start_s


def chamber_leaves_s(placed: Placed | None, *, chamber_last_s: float, load_last_s: float) -> float | None:
    """When the chamber left a hold [s]; None where it has none, or was read no more while the load was [s]."""
    if placed is None:
        return None
    if placed.edges is None:
        return placed.stays[-1].end_s
    return None if not placed.edges.left and load_last_s > chamber_last_s else placed.edges.leave_s


def as_slow(load: Course, gone: Course) -> bool:
    """Whether a load sensor was no warmer than one that was lost, while both read hot: then it speaks for it too."""
    size = len(gone.t_s)
    hot_c = max((hottest_c(gone, 0, size) + ROOM_C) / 2.0, WARM_C)
    warmer = [
        load.at(float(gone.t_s[k])) - float(gone.temp_c[k])
        for k in range(0, size, max(1, size // MOST_COMPARED))
        if gone.temp_c[k] > hot_c
    ]
    return len(warmer) >= FEWEST_ALIKE and math.fsum(warmer) / len(warmer) <= NO_WARMER_C


def lies_outside(load: Course, chamber: Course, load_s: float) -> bool:
    """Whether a load sensor has not climbed since a charge went in [s], though the furnace is far hotter than it."""
    low, high = load.between(load_s, math.inf)
    if high <= low or last_s(load) - load_s < CLIMBS_S:
        return False
    if hottest_c(load, low, high) - coldest_c(load, low, high) > RISES_C:
        return False
    return chamber.at(last_s(load)) > float(load.temp_c[high - 1]) + OUTSIDE_C
