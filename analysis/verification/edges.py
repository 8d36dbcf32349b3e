"""Where a hold begins and ends: confirmed, interpolated crossings of the band's edges.

Definitions: page ``definitions`` of the guide (*enter*, *leave*).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakwitness.analysis.recipes.model import Hold
from soakwitness.analysis.runs import FloatArray
from soakwitness.analysis.verification.assignment import Stay

GAP_PERIODS = 3.0
CONFIRM_S = 30.0
CONFIRM_READINGS = 2
TAKEN_BACK_S = 120.0
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
    if after_s > readings.t_s[-1]:
        return None
    low, high = readings.between(after_s, stay.start_s)
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


def leave(
    readings: Readings,
    hold: Hold,
    stay: Stay,
    *,
    enter_s: float,
    before_s: float,
    climbs: bool,
    hotter_follows: bool = True,
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
    hotter_follows : bool
        The recipe goes on to a hotter hold, found or not; else what stands up to a band's width above it is still it.

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
    if not hotter_follows:
        left = _first_not_taken_back(readings, hold, start, before_s, hold.upper_c + hold.below_c + hold.above_c)
        if not left[2]:
            return left
    return _first_not_taken_back(readings, hold, start, before_s, hold.upper_c)


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
    readings: Readings, hold: Hold, start: int, before_s: float, upper_c: float
) -> tuple[float, bool, bool]:
    """First crossing of either edge that is not taken back within 120 s."""
    stop = readings.between(before_s, before_s)[1]
    t, y = readings.t_s[start:stop], readings.temp_c[start:stop]
    inside = np.flatnonzero((y >= hold.lower_c) & (y <= upper_c))
    if not inside.size:
        return float(readings.t_s[start]), False, False
    back_s = SWING_S if hold.judge_by == "mean" else TAKEN_BACK_S
    gone = t[np.append(inside[1:], t.size - 1)] - t[np.minimum(inside + 1, t.size - 1)] > back_s
    gone &= np.diff(inside, append=t.size) > 1
    last = int(inside[np.argmax(gone)]) if gone.any() else int(inside[-1])
    if last == t.size - 1:
        return float(t[-1]), False, False
    upward = bool(y[last + 1] > upper_c)
    return crossing_s(readings, start + last, hold.upper_c if upward else hold.lower_c), True, upward
