"""Where a hold begins and ends: confirmed crossings of the band's edges, and stays that only pass through.

Definitions: DESIGN section 4 (*enter*, *leave*) and section 9, steps 4 and 5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.runs import FloatArray
from soakwitness.analysis.verification.assignment import ROOM_C, Stay

GAP_PERIODS = 3.0
CONFIRM_S = 30.0
CONFIRM_READINGS = 2
TAKEN_BACK_S = 120.0
SWING_S = 1800.0  # a kitchen-type oven swings faster than that; common practice, no source
PASSING = 1.6
SPEED_S = 120.0
SPEED_READINGS = 6
STOP_S = (60.0, 120.0, 180.0, 240.0)
STOP_READINGS = 3
STOP_SHARE = 1.0 / 3.0
SURE_SHARE = 0.15
LEAST_STAY_S = 30.0


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


@dataclass(frozen=True)
class Readings:
    """A trace without its holes: times [s], temperatures [degC], shape (n,), resolution [K], nominal period [s].

    ``thin`` marks, shape (n - 1,), which intervals are gaps where readings in between were left out on purpose.
    """

    t_s: FloatArray
    temp_c: FloatArray
    resolution_c: float
    period_s: float
    thin: npt.NDArray[np.bool_] | None = None

    def is_gap(self, part: slice) -> npt.NDArray[np.bool_]:
        """Which intervals within a part of the readings are gaps: over three nominal periods."""
        wide = np.diff(self.t_s[part]) > GAP_PERIODS * self.period_s
        return wide if self.thin is None else self.thin[part][: wide.size]

    def between(self, start_s: float, end_s: float) -> tuple[int, int]:
        """Index range of the readings from ``start_s`` to ``end_s``, both inclusive."""
        return int(np.searchsorted(self.t_s, start_s)), int(np.searchsorted(self.t_s, end_s, side="right"))

    @property
    def back_c(self) -> float:
        """How far a confirmed crossing may go back past its edge [K]: the larger of the resolution and 1 degC."""
        return max(self.resolution_c, 1.0)


def crossing_s(readings: Readings, index: int, level_c: float) -> float:
    """Interpolate the time at which the chord from reading ``index`` to the next crosses a level.

    Parameters
    ----------
    readings : Readings
        The trace.
    index : int
        Reading before the crossing.
    level_c : float
        The level [degC].

    Returns
    -------
    float
        Time of the crossing [s].
    """
    t, y = readings.t_s[index : index + 2], readings.temp_c[index : index + 2]
    return float(t[0] + (level_c - y[0]) / (y[1] - y[0]) * (t[1] - t[0]))


def confirmed_crossing(
    readings: Readings, level_c: float, *, upward: bool, start_s: float, end_s: float, at_once: bool = False
) -> float | None:
    """Find the first confirmed crossing of a level.

    Parameters
    ----------
    readings : Readings
        The trace.
    level_c : float
        The edge [degC].
    upward : bool
        Direction of the crossing.
    start_s, end_s : float
        Where to look [s].
    at_once : bool
        Take the first crossing as it is: an oven that swings goes back and forth.

    Returns
    -------
    float or None
        Interpolated time [s]: of the first crossing that does not go back past the edge by more than the larger of
        resolution and 1 degC for 30 s or two further readings, whichever is longer; else of the last crossing; None
        without any.
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
    """Indices of the readings inside the band.

    Parameters
    ----------
    readings : Readings
        The trace.
    hold : Hold
        The hold.
    start_s, end_s : float
        Where to look [s].

    Returns
    -------
    ndarray
        Indices, shape (k,).
    """
    low, high = readings.between(start_s, end_s)
    part = readings.temp_c[low:high]
    return low + np.flatnonzero((part >= hold.lower_c) & (part <= hold.upper_c))


def enter(
    readings: Readings, hold: Hold, stay: Stay, *, after_s: float, from_above: bool
) -> tuple[float, bool, bool, float] | None:
    """Find when a hold was entered.

    Parameters
    ----------
    readings : Readings
        The trace.
    hold : Hold
        The hold.
    stay : Stay
        Its first stay.
    after_s : float
        End of what came before [s].
    from_above : bool
        The found hold before it is hotter.

    Returns
    -------
    tuple or None
        Time [s], whether a crossing was seen, whether it was reached from above, where the way to it began [s]; None if
        it was never in the band.
    """
    low, high = readings.between(after_s, stay.start_s)
    high = max(high, low + 1)
    before = readings.temp_c[low:high]
    coldest, hottest = low + int(before.argmin()), low + int(before.argmax())
    below = readings.temp_c[coldest] < hold.lower_c
    if from_above and readings.temp_c[coldest] >= hold.lower_c - (hold.below_c + hold.above_c):
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


def leave(
    readings: Readings, hold: Hold, stay: Stay, *, enter_s: float, before_s: float, climbs: bool
) -> tuple[float, bool, bool]:
    """Find when a hold was left.

    Parameters
    ----------
    readings : Readings
        The trace.
    hold : Hold
        The hold.
    stay : Stay
        Its last stay.
    enter_s : float
        When it was entered [s].
    before_s : float
        Begin of the next found hold's stay, or the end of the record [s].
    climbs : bool
        The next found hold is hotter.

    Returns
    -------
    tuple
        Time [s], whether a crossing was seen, whether upward.
    """
    inside = in_band(readings, hold, enter_s, max(stay.end_s, enter_s))
    start = int(inside[-1]) if inside.size else readings.between(enter_s, enter_s)[0]
    if climbs:
        at = _last_climb(readings, hold, start, before_s)
        if at is not None:
            return at, True, True
    return _first_not_taken_back(readings, hold, start, before_s)


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


def _first_not_taken_back(readings: Readings, hold: Hold, start: int, before_s: float) -> tuple[float, bool, bool]:
    """First crossing of either edge that is not taken back within 120 s."""
    stop = readings.between(before_s, before_s)[1]
    t, y = readings.t_s[start:stop], readings.temp_c[start:stop]
    inside = np.flatnonzero((y >= hold.lower_c) & (y <= hold.upper_c))
    if not inside.size:
        return float(readings.t_s[start]), False, False
    back_s = SWING_S if hold.judge_by == "mean" else TAKEN_BACK_S
    gone = t[np.append(inside[1:], t.size - 1)] - t[np.minimum(inside + 1, t.size - 1)] > back_s
    gone &= np.diff(inside, append=t.size) > 1
    last = int(inside[np.argmax(gone)]) if gone.any() else int(inside[-1])
    if last == t.size - 1:
        return float(t[-1]), False, False
    upward = bool(y[last + 1] > hold.upper_c)
    return crossing_s(readings, start + last, hold.upper_c if upward else hold.lower_c), True, upward


def passes_through(
    readings: Readings, hold: Hold, edges: Edges, *, after_s: float = -np.inf, before_s: float = np.inf
) -> bool:
    """Tell a stay from a mere passing through the band.

    Parameters
    ----------
    readings : Readings
        The trace.
    hold : Hold
        The hold.
    edges : Edges
        Where it was entered and left.
    after_s, before_s : float
        End of the hold before and begin of the next one [s]: speeds are taken between.

    Returns
    -------
    bool
        True if it went on in the direction it came from, stayed no longer than 1.6 x the time that its speed before and
        after the band asks for, and did not stop on the way.
    """
    if not (edges.entered and edges.left):
        return False
    window_s = max(SPEED_S, SPEED_READINGS * readings.period_s)
    before = _speed(readings, edges.enter_s, edges.enter_s - window_s, after_s)
    after = _speed(readings, edges.leave_s, edges.leave_s + window_s, before_s)
    if before * after <= 0.0 or (after > 0.0) != edges.left_upward:
        return False
    expected = hold.below_c / abs(before) + hold.above_c / abs(after)
    if edges.leave_s - edges.enter_s >= PASSING * expected:
        return False
    return not _stops(readings, edges, min(abs(before), abs(after)))


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


def only_passes(readings: Readings, hold: Hold, stay: Stay, before_s: float) -> bool:
    """Tell whether a further stay after an interruption is only the trace falling through the band.

    Parameters
    ----------
    readings : Readings
        The trace.
    hold : Hold
        The hold.
    stay : Stay
        The stay.
    before_s : float
        Where the next found hold begins, or the end of the record [s].

    Returns
    -------
    bool
        Whether it falls through without a stop; on the way up it may be the rest of the hold.
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


def later_stay(readings: Readings, hold: Hold, edges: Edges, before_s: float) -> Stay | None:
    """Find a further stay in the band after a hold was left, such as the rest of a hold after a power cut.

    Parameters
    ----------
    readings : Readings
        The trace.
    hold : Hold
        The hold.
    edges : Edges
        Its edges so far.
    before_s : float
        Where the next found hold begins, or the end of the record [s].

    Returns
    -------
    Stay or None
        The first stretch in the band that is no mere passing through, found before the furnace is half cold.
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
        if readings.temp_c[since : run[0] + 1].min() < (hold.target_c + ROOM_C) / 2.0:
            return None
        stretch = Edges(float(t[run[0]]), float(t[run[-1]]), left_upward=_goes_up(readings, int(run[-1])))
        if t[run[-1]] - t[run[0]] >= LEAST_STAY_S and not passes_through(readings, hold, stretch, before_s=before_s):
            return Stay(stretch.enter_s, stretch.leave_s)
    return None


def _goes_up(readings: Readings, index: int) -> bool:
    after = min(index + 1, readings.t_s.size - 1)
    return bool(readings.temp_c[after] > readings.temp_c[index])
