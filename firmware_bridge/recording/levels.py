"""Levels that only heat can hold: where a furnace left to itself would have fallen, or bricks have nothing left. Pure.

- *held*: level for an hour and a half, with no door that bricks may be coming back from;
- *caught*: a fall that went on by itself, and stopped;
- *stopped sharply*: a fast climb to a level, where bricks come to theirs slowly;
- *maybe held*: level for half an hour, which bricks could do as well;
- *climbed again*: a second level above the one to which the bricks had come back.
"""

from __future__ import annotations

from itertools import pairwise

from soakwitness.firmware_bridge.recording.bricks import ROOM_C, STRAY_C
from soakwitness.firmware_bridge.recording.trail import HALF_HOUR_S, LEVEL_C, SLOWEST_H, Trail, swing_c

KNEE_S = 2700.0
SHARP_S = 1200.0  # so fast is a climb that stops sharply
CAUGHT_WITHIN_S = (HALF_HOUR_S / 3, HALF_HOUR_S * 2 / 3)


def was_held(trail: Trail, least_c: float) -> bool:
    """Whether it was level for an hour and a half, neither falling nor just turning.

    Behind a door it tells nothing: the best of slow bricks is level for as long.
    """
    thirds = trail.thirds_c(HALF_HOUR_S)
    if trail.may_come_back or not thirds or min(thirds) < least_c:
        return False
    first, second, third = thirds
    fall_c = min(2.0, (third - ROOM_C) / SLOWEST_H / 2)
    all_c = sorted(minute.temp_c for minute in trail.since(trail.minutes[-1].t_s - 3 * HALF_HOUR_S))
    flat = all_c[len(all_c) // 10] >= third - swing_c(third)
    return flat and -fall_c <= third - first <= 10.0 and first - 2 * second + third >= -fall_c


def held_since_s(trail: Trail, least_c: float, climb_c: float) -> float:
    """When a hold began that may have had no climb."""
    onset_s, now_s = trail.onset_s(ceiling_c=float("inf")), trail.minutes[-1].t_s
    ago_s, again_s = caught_s(trail, least_c), climbed_again_s(trail, climb_c)
    if ago_s is not None:
        return max(min(onset_s, now_s - ago_s), trail.left_alone_s)
    return onset_s if again_s is None else max(onset_s, again_s)


def maybe_held_since_s(trail: Trail, least_c: float, climb_c: float) -> float | None:
    """When a level of half an hour began that bricks at the top of their curve could hold too; None without one."""
    thirds = trail.thirds_c(HALF_HOUR_S / 3)
    if not thirds or min(thirds) < least_c:
        return None
    if abs(thirds[2] - thirds[0]) > LEVEL_C or max(thirds) - min(thirds) > 2 * LEVEL_C:
        return None
    onset_s, now = trail.onset_s(ceiling_c=float("inf")), trail.minutes[-1]
    foot_c = trail.at_c(onset_s)
    climbed = foot_c is not None and now.temp_c >= foot_c + climb_c
    first_s = now.t_s - HALF_HOUR_S * 5 / 6  # the middle of the first third
    return onset_s if climbed else max(first_s, trail.left_alone_s)


def stopped_sharply(trail: Trail, climb_c: float, within_s: float = SHARP_S) -> bool:
    """Whether it climbed within so long to a level that it kept for 45 minutes."""
    before_c, thirds = trail.at_c(trail.minutes[-1].t_s - KNEE_S - within_s), trail.thirds_c(KNEE_S / 3)
    if before_c is None or not thirds or thirds[1] - before_c < climb_c:
        return False
    first, second, third = thirds
    share = (thirds[1] - before_c) / 50.0
    settles = -max(2.0, 1.5 * share) <= third - first <= max(1.0, share)
    return settles and first - 2 * second + third >= -LEVEL_C


def climbed_again_s(trail: Trail, climb_c: float) -> float | None:
    """When it began to climb from the level to which bricks had come back to another; None where it did not.

    Behind a door it came up so far, then stood or fell for half an hour, and climbed with no door before it: bricks
    that have come back have nothing left for a second level.
    """
    for within_s in (SHARP_S, 2 * SHARP_S):
        from_s = trail.minutes[-1].t_s - KNEE_S - within_s
        if stopped_sharply(trail, climb_c, within_s) and _had_come_back(trail, from_s, climb_c):
            return from_s
    return None


def _had_come_back(trail: Trail, until_s: float, climb_c: float) -> bool:
    earlier = [minute for minute in trail.since(until_s - 3 * HALF_HOUR_S) if minute.t_s <= until_s]
    rest = [minute.temp_c for minute in earlier if minute.t_s >= until_s - HALF_HOUR_S]
    low_c = min((minute.temp_c for minute in earlier if minute.t_s < until_s - HALF_HOUR_S), default=float("inf"))
    if len(rest) < 3 or low_c > rest[-1] - climb_c:
        return False
    stood = rest[-1] - climb_c / 2 <= min(rest) and max(rest) <= rest[-1] + STRAY_C
    return stood and min(minute.temp_c for minute in trail.since(until_s)) >= min(rest) - STRAY_C


def caught_s(trail: Trail, least_c: float) -> float | None:
    """How long ago at least a fall that went on by itself ended; None where it did not, or goes on."""
    return next((3 * s for s in CAUGHT_WITHIN_S if _was_caught(trail, least_c, s)), None)


def _was_caught(trail: Trail, least_c: float, window_s: float) -> bool:
    """In windows of so long: fell through seven of them, and through the last three no more.

    The rate of a fall by itself is a sum of terms that die away: it slows down ever less, r3 >= r2 * r2 / r1.
    """
    now_s = trail.minutes[-1].t_s
    at = [trail.mean_c(now_s - back * window_s, window_s) for back in (9, 6, 3, 2, 1, 0)]
    known = [temp_c for temp_c in at if temp_c is not None]
    if len(known) < 6 or min(known) < least_c:
        return False
    first, second = known[0] - known[1], known[1] - known[2]
    if first <= 0.0 or not 0.5 * first <= second <= 1.1 * first:
        return False
    if not _fell_with_its_bricks(trail, now_s - 9 * window_s, now_s - 3 * window_s):
        return False
    must_c = second * second / first / 3.0
    most_c = min(must_c / 3, STRAY_C / 2)
    third, *_, last = after = known[3:]
    stands = third - last <= 1.5 * most_c and all(a - b <= most_c for a, b in pairwise(after))
    return must_c >= 1.0 and known[2] - third <= must_c and stands


def _fell_with_its_bricks(trail: Trail, from_s: float, until_s: float) -> bool:
    """Whether both lost the same share of their heat, within a tenth: no door took the chamber from them."""
    start = next(minute for minute in trail.minutes if minute.t_s >= from_s)
    end = next(minute for minute in trail.minutes if minute.t_s >= until_s)
    left = (end.temp_c - ROOM_C) / max(start.temp_c - ROOM_C, 1.0)
    return end.bricks.most_c - ROOM_C <= (left + 0.1) * (start.bricks.most_c - ROOM_C)
