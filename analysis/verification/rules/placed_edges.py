"""Edges of a hold on a course: those of its band, or of a band about its own level where it stood beside it.

Standard library only.
"""

from __future__ import annotations

from dataclasses import replace

from soakwitness.analysis.verification.rules.course import Course, last_s
from soakwitness.analysis.verification.rules.edges import Edges, enter, leave
from soakwitness.analysis.verification.rules.places import Placed, Places

FEWEST_READINGS = 5
Placements = Places


def placed_edges(every: Places, number: int, course: Course) -> Edges | None:
    """Edges of a hold on a course; those of its stays where it was level beside its band, None where it is not."""
    placed = every[number]
    if placed is None or placed.edges is not None:
        return placed.edges if placed is not None else None
    following = next((p for p in every[number + 1 :] if p is not None), None)
    return _edges_beside(placed, following, course)


def _edges_beside(placed: Placed, following: Placed | None, course: Course) -> Edges:
    """Edges of a hold that was level beside its band: those of a band about its own level."""
    last = placed.stays[-1].end_s
    climbs = following is not None and following.hold.target_c > placed.hold.target_c
    left = last < last_s(course) - 2.0 * course.period_s
    of_stays = Edges(placed.stays[0].start_s, last, left=left, left_upward=climbs)
    low, high = course.between(placed.stays[0].start_s, last)
    if high - low < FEWEST_READINGS:
        return of_stays
    moved = replace(placed.hold, target_c=course.median_c(low, high))
    since_s = placed.window_s if placed.window_s is not None else float(course.t_s[0])
    entered = enter(course, moved, placed.stays[0], after_s=since_s, from_above=False)
    before_s = following.stays[0].start_s if following is not None else last_s(course)
    gone = leave(course, moved, placed.stays[-1], enter_s=of_stays.enter_s, before_s=before_s, climbs=climbs)
    return replace(
        of_stays,
        enter_s=min(entered[0], of_stays.enter_s) if entered is not None else of_stays.enter_s,
        leave_s=max(gone[0], of_stays.leave_s),
        left_upward=gone[2] if gone[1] else climbs,
    )
