"""Edges of a hold on a trace: those of its band, or of a band about its own level where it stood beside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from soakwitness.analysis.verification.holds.edges import Edges, enter, leave
from soakwitness.analysis.verification.holds.placing import Placed
from soakwitness.analysis.verification.inputs.readings import Readings

FEWEST_READINGS = 5
Placements = tuple[Placed | None, ...]


def placed_edges(every: Placements, number: int, trace: Readings) -> Edges | None:
    """Edges of a hold on a trace; those of its stays where it was level beside its band."""
    placed = every[number]
    if placed is None or placed.edges is not None:
        return placed.edges if placed is not None else None
    following = next((p for p in every[number + 1 :] if p is not None), None)
    return _edges_beside(placed, following, trace)


def _edges_beside(placed: Placed, following: Placed | None, trace: Readings) -> Edges:
    """Edges of a hold that was level beside its band: those of a band about its own level."""
    last = placed.stays[-1].end_s
    climbs = following is not None and following.hold.target_c > placed.hold.target_c
    left = last < trace.t_s[-1] - 2.0 * trace.period_s
    of_stays = Edges(placed.stays[0].start_s, last, left=left, left_upward=climbs)
    low, high = trace.between(placed.stays[0].start_s, last)
    if high - low < FEWEST_READINGS:
        return of_stays
    moved = replace(placed.hold, target_c=float(np.median(trace.temp_c[low:high])))
    since_s = placed.window_s if placed.window_s is not None else float(trace.t_s[0])
    entered = enter(trace, moved, placed.stays[0], after_s=since_s, from_above=False)
    before_s = following.stays[0].start_s if following is not None else float(trace.t_s[-1])
    gone = leave(trace, moved, placed.stays[-1], enter_s=of_stays.enter_s, before_s=before_s, climbs=climbs)
    return replace(
        of_stays,
        enter_s=min(entered[0], of_stays.enter_s) if entered is not None else of_stays.enter_s,
        leave_s=max(gone[0], of_stays.leave_s),
        left_upward=gone[2] if gone[1] else climbs,
    )
