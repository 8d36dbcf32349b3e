"""Where a hold begins and ends: confirmed, interpolated crossings of the band's edges.

Definitions: page ``definitions`` of the guide (*enter*, *leave*).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.holds.assignment import BandStay
from soakwitness.analysis.verification.inputs.readings import Readings, crossing_s

CONFIRM_S = 30.0
CONFIRM_READINGS = 2
TAKEN_BACK_S = 120.0
STANDS_SHARE = 0.25  # of what is asked: so long a stay is a hold, done or cut short, not one that was left out
SWING_S = 1800.0  # a kitchen-type oven swings faster than that; common practice, no source


@dataclass(frozen=True)
class Edges:
    """Enter and leave of one hold [s].

    ``entered``: a crossing was seen (False: the record begins inside the band). ``left``: a crossing out was seen
    (False: the record ends inside). ``upward`` how it was left. ``from_above``: reached from above the band.
    """

    enter_s: float
    leave_s: float
    entered: bool = True
    left: bool = True
    left_upward: bool = False
    from_above: bool = False


def confirmed_crossing(
    readings: Readings, level_c: float, *, upward: bool, start_s: float, end_s: float, at_once: bool = False
) -> float | None:
    """Find the first confirmed crossing of a level.

    ``at_once``: take the first crossing as it is: an oven that swings goes back and forth. Returns interpolated time
    [s]: of the first crossing that does not go back past the edge by more than the larger of resolution and 1 degC for
    30 s or two further readings, whichever is longer; else of the last crossing; None without any.
    """
    low, high = readings.between(start_s, end_s)
    sign = 1.0 if upward else -1.0
    part = sign * (readings.temp_c[low:high] - level_c)
    crossings = low + np.flatnonzero((part[:-1] < 0.0) & (part[1:] >= 0.0))
    for index in crossings:
        if at_once or _confirmed(readings, int(index), level_c, sign):
            return crossing_s(readings, int(index), level_c)
    return crossing_s(readings, int(crossings[-1]), level_c) if crossings.size else None


def _confirmed(readings: Readings, index: int, level_c: float, sign: float) -> bool:
    at = crossing_s(readings, index, level_c)
    stop = max(int(np.searchsorted(readings.t_s, at + CONFIRM_S, side="right")), index + 2 + CONFIRM_READINGS)
    after = sign * (readings.temp_c[index + 1 : stop] - level_c)
    return bool(after.min() >= -readings.back_c)


def in_band(readings: Readings, hold: Hold, start_s: float, end_s: float) -> np.ndarray:
    """Indices of the readings inside the band."""
    low, high = readings.between(start_s, end_s)
    part = readings.temp_c[low:high]
    return low + np.flatnonzero((part >= hold.lower_c) & (part <= hold.upper_c))


def enter(
    readings: Readings, hold: Hold, stay: BandStay, *, after_s: float, from_above: bool
) -> tuple[float, bool, bool, float] | None:
    """Find when a hold was entered.

    Returns time [s], whether a crossing was seen, whether it was reached from above, where the way to it began [s];
    None if it was never in the band.
    """
    if after_s > readings.t_s[-1]:
        return None
    low, high = readings.between(after_s, stay.start_s)
    if 0 < low < readings.t_s.size and readings.gaps_in(low - 1, low + 1).size:
        low -= 1  # it went on unseen: the way begins at the last reading before
    high = max(high, low + 1)
    before = readings.temp_c[low:high]
    coldest, hottest = low + int(before.argmin()), low + int(before.argmax())
    below = readings.temp_c[coldest] < hold.lower_c
    if from_above and below and _only_dips(readings, hold, coldest):
        below = False
    above = not below and readings.temp_c[hottest] > hold.upper_c
    if not below and not above:
        first = float(max(readings.t_s[low], after_s))
        return first, False, from_above, first
    begin = float(readings.t_s[coldest if below else hottest])
    level = hold.lower_c if below else hold.upper_c
    swings = hold.judge_by == "mean"
    at = confirmed_crossing(readings, level, upward=bool(below), start_s=begin, end_s=stay.end_s, at_once=swings)
    return None if at is None else (at, True, not below, begin)


def _only_dips(readings: Readings, hold: Hold, coldest: int) -> bool:
    """Whether what comes from above falls below the band by no more than its width, or comes back at once."""
    y = readings.temp_c
    if y[coldest] >= hold.lower_c - (hold.below_c + hold.above_c):
        return True
    before, after = np.flatnonzero(y[:coldest] >= hold.lower_c), np.flatnonzero(y[coldest:] >= hold.lower_c)
    if not before.size or not after.size:
        return False
    below_s = readings.t_s[coldest + after[0]] - readings.t_s[before[-1]]
    return bool(below_s <= max(hold.dip_s, TAKEN_BACK_S))


def limit_c(hold: Hold) -> float:
    """How hot a hold may be [degC]: its upper edge, or its stated overshoot where that is more."""
    return max(hold.upper_c, hold.target_c + (hold.max_overshoot_c or 0.0))


def leave(
    readings: Readings,
    hold: Hold,
    stay: BandStay,
    *,
    enter_s: float,
    before_s: float,
    climbs: bool,
    hotter_follows: bool = True,
) -> tuple[float, bool, bool]:
    """When a hold was left [s], whether a crossing was seen, whether upward.

    ``stay`` is its last stay, ``before_s`` the begin of the next found one, or the record's end [s]. ``climbs``:
    that next one is hotter. ``hotter_follows``: the recipe goes on to a hotter hold, found or not. A furnace that goes
    on by itself, beyond the limit and not back, has left the hold.
    """
    inside = in_band(readings, hold, enter_s, max(stay.end_s, enter_s))
    start = int(inside[-1]) if inside.size else readings.between(enter_s, enter_s)[0]
    if climbs:
        at = _last_climb(readings, hold, start, before_s)
        if at is not None:
            return at, True, True
    left = _first_not_taken_back(readings, hold, start, before_s, limit_c(hold))
    met = left[0] - enter_s >= hold.required_s
    if hotter_follows or not left[2] or met:
        return left
    # Not met yet: what stands a little above its limit is this hold all the same, and too hot.
    return _first_not_taken_back(readings, hold, start, before_s, limit_c(hold) + hold.below_c + hold.above_c)


def _last_climb(readings: Readings, hold: Hold, start: int, before_s: float) -> float | None:
    """Last upward crossing of the upper edge before the trace is a band's width above; None if it fell away first."""
    stop = readings.between(before_s, before_s)[1]
    part = readings.temp_c[start:stop]
    width = hold.below_c + hold.above_c
    gone = np.flatnonzero(part > hold.upper_c + width)
    part = part[: gone[0] + 1] if gone.size else part
    if not part.size or part.min() < hold.lower_c - width:
        return None
    ups = np.flatnonzero((part[:-1] <= hold.upper_c) & (part[1:] > hold.upper_c))
    return crossing_s(readings, start + int(ups[-1]), hold.upper_c) if ups.size else None


def _first_not_taken_back(
    readings: Readings, hold: Hold, start: int, before_s: float, most_c: float
) -> tuple[float, bool, bool]:
    """First crossing of the lower edge, or of the upper one on the way beyond ``most_c``, not taken back in 120 s."""
    stop = readings.between(before_s, before_s)[1]
    t, y = readings.t_s[start:stop], readings.temp_c[start:stop]
    inside = np.flatnonzero((y >= hold.lower_c) & (y <= most_c))
    if not inside.size:
        return float(readings.t_s[start]), False, False
    back_s = SWING_S if hold.judge_by == "mean" else TAKEN_BACK_S
    gone = t[np.append(inside[1:], t.size - 1)] - t[np.minimum(inside + 1, t.size - 1)] > back_s
    gone &= np.diff(inside, append=t.size) > 1
    last = int(inside[np.argmax(gone)]) if gone.any() else int(inside[-1])
    if last == t.size - 1:
        return float(t[-1]), False, False
    if y[last + 1] < hold.lower_c:
        return crossing_s(readings, start + last, hold.lower_c), True, False
    below = np.flatnonzero(y[: last + 1] <= hold.upper_c)
    last = int(below[-1]) if below.size else last
    return crossing_s(readings, start + last, min(hold.upper_c, y[last + 1])), True, True


def leave_after(
    readings: Readings, hold: Hold, enter_s: float, chamber_leaves_s: float, *, climbs: bool
) -> tuple[float, bool, bool]:
    """When a load sensor left a hold that the chamber left at ``chamber_leaves_s`` [s], whether it did, whether upward.

    Inside the band then, it leaves at its first crossing of either edge after that; below it, at its last fall before;
    above it, at its last rise before where the furnace ``climbs`` on, else when it comes down.
    """
    t, y = readings.t_s, readings.temp_c
    at = min(readings.between(chamber_leaves_s, chamber_leaves_s)[1], t.size) - 1
    first = readings.between(enter_s, enter_s)[0]
    if at <= first:
        at = min(first, t.size - 1)
    if y[at] < hold.lower_c:
        above = np.flatnonzero(y[first:at] >= hold.lower_c)
        last = first + int(above[-1]) if above.size else first
        return _crossed(readings, last, hold.lower_c), True, False
    if y[at] > hold.upper_c and climbs:
        below = np.flatnonzero(y[first:at] <= hold.upper_c)
        last = first + int(below[-1]) if below.size else first
        return _crossed(readings, last, hold.upper_c), True, True
    outside = y[at:] < hold.lower_c
    if y[at] <= hold.upper_c:
        outside |= y[at:] > hold.upper_c
    out = np.flatnonzero(outside)
    if not out.size:
        return float(t[-1]), False, False
    upward = bool(y[at + int(out[0])] > hold.upper_c)
    return _crossed(readings, at + int(out[0]) - 1, hold.upper_c if upward else hold.lower_c), True, upward


def _crossed(readings: Readings, index: int, level_c: float) -> float:
    """Crossing of a level after a reading [s]; the reading's own time where the chord does not cross it."""
    index = max(index, 0)
    y = readings.temp_c[index : index + 2]
    if y.size < 2 or (y[0] - level_c) * (y[1] - level_c) > 0.0 or y[0] == y[1]:
        return float(readings.t_s[index])
    return crossing_s(readings, index, level_c)
