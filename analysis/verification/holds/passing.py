"""Stays that are none: the trace only climbs or falls through the band; and the rest of a hold after an interruption.

Definition: page ``definitions`` of the guide (where a hold is).
"""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.holds.assignment import BandStay
from soakwitness.analysis.verification.holds.edges import STANDS_SHARE, TAKEN_BACK_S, Edges, in_band, limit_c
from soakwitness.analysis.verification.inputs.readings import ROOM_C, Readings

PASSING = 1.6
ARRIVED = 0.2  # of the speed before: so slow behind the band it had arrived, and drifted on
SPEED_S = 120.0
SPEED_READINGS = 6
STOP_S = (60.0, 120.0, 180.0, 240.0)
STOP_READINGS = 3
STOP_SHARE = 1.0 / 3.0
SURE_SHARE = 0.15
LEAST_STAY_S = 30.0
KEPT_SHARE = 0.4  # of its heat above the room: a furnace that lost more began anew; common practice, no source
APART_S = 60.0  # noise at the edges does not part a stay


def passes_through(
    readings: Readings, hold: Hold, edges: Edges, *, after_s: float = -np.inf, before_s: float = np.inf
) -> bool:
    """Tell a stay from a mere passing through the band.

    ``after_s``, ``before_s``: end of the hold before and begin of the next one [s]: speeds are taken between. Returns
    true if it went on in the direction it came from, stayed no longer than 1.6 x the time that its speed before and
    after the band asks for, and did not stop on the way.
    """
    if not (edges.entered and edges.left):
        return False
    before, after = _speeds(readings, edges, after_s, before_s)
    if before * after <= 0.0 or (after > 0.0) != edges.left_upward or 0.0 < after < ARRIVED * before:
        return False
    expected = hold.below_c / abs(before) + hold.above_c / abs(after)
    if edges.leave_s - edges.enter_s >= PASSING * expected:
        return False
    return not _stops(readings, edges, min(abs(before), abs(after)))


def _speeds(readings: Readings, edges: Edges, after_s: float, before_s: float) -> tuple[float, float]:
    """Speeds before enter and after leave [K/s]."""
    window_s = max(SPEED_S, SPEED_READINGS * readings.period_s)
    return (
        _speed(readings, edges.enter_s, edges.enter_s - window_s, after_s),
        _speed(readings, edges.leave_s, edges.leave_s + window_s, before_s),
    )


def longer_than_passing_s(readings: Readings, hold: Hold, since_s: float, until_s: float) -> float:
    """Tell how much longer the longest stretch in a hold's band is than its speed around it explains.

    Returns time [s]; 0 without a stretch that goes on in the direction it came from.
    """
    inside = in_band(readings, hold, since_s, until_s)
    if not inside.size:
        return 0.0
    run = max(np.split(inside, np.flatnonzero(np.diff(readings.t_s[inside]) > APART_S) + 1), key=len)
    stretch = Edges(float(readings.t_s[run[0]]), float(readings.t_s[run[-1]]))
    before, after = _speeds(readings, stretch, -np.inf, np.inf)
    if before * after <= 0.0:
        return 0.0
    # Noise at the edges lengthens the stretch, but not the count of readings inside.
    return run.size * readings.period_s - hold.below_c / abs(before) - hold.above_c / abs(after)


def _stops(readings: Readings, edges: Edges, speed_c_per_s: float) -> bool:
    """Whether a short stay has a level part: a minute or more at less than a third of the speed around it.

    Where the noise hides that, it does not.
    """
    low, high = readings.between(edges.enter_s, edges.leave_s)
    t, y = readings.t_s[low:high], readings.temp_c[low:high]
    if t.size < 2 * STOP_READINGS:
        return False
    scatter = float(np.median(np.abs(y[1:-1] - (y[:-2] + y[2:]) / 2.0))) + readings.resolution_c / 4.0
    for window_s in STOP_S:
        half = max(STOP_READINGS, int(np.ceil(window_s / 2.0 / readings.period_s)))
        unsure = 2.0 * scatter / np.sqrt(half) / (half * readings.period_s)
        if t.size >= 2 * half and unsure < SURE_SHARE * speed_c_per_s:
            return _slowest(t, y, half) < STOP_SHARE * speed_c_per_s
    return False


def _slowest(t_s: FloatArray, temp_c: FloatArray, half: int) -> float:
    """Smallest slope [K/s] between the means of two neighbouring runs of ``half`` readings."""
    sums, times = np.concatenate(([0.0], np.cumsum(temp_c))), np.concatenate(([0.0], np.cumsum(t_s)))
    mean, middle = (sums[half:] - sums[:-half]) / half, (times[half:] - times[:-half]) / half
    return float(np.min(np.abs(mean[half:] - mean[:-half]) / (middle[half:] - middle[:-half])))


def _speed(readings: Readings, from_s: float, away_s: float, limit_s: float) -> float:
    """Mean speed [K/s] on one side of a crossing: between the means of the two halves of the readings there.

    At least six readings count, as far as ``limit_s`` allows.
    """
    t, y = readings.t_s, readings.temp_c
    if away_s < from_s:
        low, high = readings.between(max(away_s, limit_s), from_s)
        low = max(min(low, high - SPEED_READINGS), readings.between(limit_s, limit_s)[0], 0)
    else:
        low, high = readings.between(from_s, min(away_s, limit_s))
        high = min(max(high, low + SPEED_READINGS), readings.between(limit_s, limit_s)[1], t.size)
    low, high = max(min(low, high - 2), 0), min(max(high, low + 2), t.size)
    if high - low < 2:
        return 0.0
    middle = (low + high) // 2
    run = float(t[middle:high].mean() - t[low:middle].mean())
    return float(y[middle:high].mean() - y[low:middle].mean()) / run


def standing(readings: Readings, hold: Hold, since_s: float, until_s: float) -> BandStay | None:
    """A stretch [s] in which a trace stood in a hold's band, or above it within its limit; None without one.

    It is the longest whose breaks are at most two minutes, a quarter of what is asked at least, and no mere passing
    through; some of it must lie inside the band. A trace that turned round within a band's width above its limit was
    never meant to go farther.
    """
    low, high = readings.between(max(since_s, readings.t_s[0]), min(until_s, readings.t_s[-1]))
    part = readings.temp_c[low:high]
    width = hold.below_c + hold.above_c
    turned = until_s > readings.t_s[-1] and part.max(initial=-np.inf) < limit_c(hold) + width
    near = low + np.flatnonzero((part >= hold.lower_c) & (part <= limit_c(hold) + (width if turned else 0.0)))
    if not near.size:
        return None
    t = readings.t_s
    for run in sorted(np.split(near, np.flatnonzero(np.diff(t[near]) > TAKEN_BACK_S) + 1), key=len, reverse=True):
        first, last = float(t[run[0]]), float(t[run[-1]])
        if (
            run[-1] == t.size - 1
            and last - first >= LEAST_STAY_S
            and hold.lower_c <= readings.temp_c[-1] <= hold.upper_c
        ):
            return BandStay(first, last)  # the record ends in it
        if last - first < max(STANDS_SHARE * hold.required_s, LEAST_STAY_S, 3.0 * readings.period_s):
            return None
        stretch = Edges(first, last, left_upward=_goes_up(readings, int(run[-1])))
        inside = in_band(readings, hold, first, last).size
        if inside >= 3 and not passes_through(readings, hold, stretch):
            return BandStay(first, last)
    return None


def only_passes(readings: Readings, hold: Hold, stay: BandStay, before_s: float) -> bool:
    """Tell whether a further stay after an interruption is only the trace falling through the band.

    ``before_s``: where the next found hold begins, or the end of the record [s]. Returns whether it falls through
    without a stop; on the way up it may be the rest of the hold.
    """
    inside = in_band(readings, hold, stay.start_s, stay.end_s)
    if not inside.size:
        return True
    y, first, last = readings.temp_c, int(inside[0]), int(inside[-1])
    while first > 0 and hold.lower_c <= y[first - 1] <= hold.upper_c:
        first -= 1
    if first == 0 or y[first - 1] <= hold.upper_c or last == y.size - 1 or _goes_up(readings, last):
        return False
    stretch = Edges(float(readings.t_s[first]), float(readings.t_s[last]))
    return passes_through(readings, hold, stretch, before_s=before_s)


def later_stay(readings: Readings, hold: Hold, edges: Edges, before_s: float) -> BandStay | None:
    """Find a further stay in the band after a hold was left, such as the rest of a hold after a power cut.

    ``before_s``: where the next found hold begins, or the end of the record [s]. Returns the first stretch in the band
    that is no mere passing through, found before the furnace has lost three fifths of its heat.
    """
    inside = in_band(readings, hold, edges.leave_s, before_s)
    inside = inside[readings.t_s[inside] > edges.leave_s]
    t = readings.t_s
    for run in np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1):
        if run.size < 3:
            continue
        if t[min(run[-1] + 1, t.size - 1)] > before_s:
            return None  # it goes on into the next hold, and is that one's
        since, _ = readings.between(edges.leave_s, edges.leave_s)
        if readings.temp_c[since : run[0] + 1].min() < began_anew_c(hold.target_c):
            return None
        stretch = Edges(float(t[run[0]]), float(t[run[-1]]), left_upward=_goes_up(readings, int(run[-1])))
        if t[run[-1]] - t[run[0]] >= LEAST_STAY_S and not passes_through(readings, hold, stretch, before_s=before_s):
            return BandStay(stretch.enter_s, stretch.leave_s)
    return None


def earlier_stay(readings: Readings, hold: Hold, stay: BandStay, after_s: float) -> BandStay | None:
    """Find where a hold stood before its first stay: an interruption ended that one, and what came after was longer.

    Returns the longest stretch in the band since, a quarter of what is asked at least and no mere passing through, from
    which the furnace neither went hotter nor lost three fifths of its heat before the stay.
    """
    t, y = readings.t_s, readings.temp_c
    inside = in_band(readings, hold, after_s, stay.start_s)
    for run in sorted(np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1), key=len, reverse=True):
        if run.size < 3 or t[run[-1]] - t[run[0]] < max(STANDS_SHARE * hold.required_s, LEAST_STAY_S) or not run[0]:
            return None
        between = y[run[-1] : readings.between(stay.start_s, stay.start_s)[0] + 1]
        if between.max() > limit_c(hold) or between.min() < began_anew_c(hold.target_c):
            continue
        stretch = Edges(float(t[run[0]]), float(t[run[-1]]), left_upward=_goes_up(readings, int(run[-1])))
        if between.min() < hold.lower_c and not passes_through(readings, hold, stretch, before_s=stay.start_s):
            return BandStay(stretch.enter_s, stretch.leave_s)
    return None


def began_anew_c(hot_c: float) -> float:
    """Tell from when on a furnace that cools has begun anew.

    Returns below this [degC] what comes next is no rest of what went before.
    """
    return ROOM_C + KEPT_SHARE * (hot_c - ROOM_C)


def _goes_up(readings: Readings, index: int) -> bool:
    after = min(index + 1, readings.t_s.size - 1)
    return bool(readings.temp_c[after] > readings.temp_c[index])
