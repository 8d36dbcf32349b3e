"""What was held over a limit for as long as counts, over the readings that are kept. Standard library only."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.verification.rules.course import below
from soakwitness.analysis.verification.rules.limits import HELD_S, SETTLES_S, Limit

FEWEST = 3
ROUNDS = 8
Row = tuple[float, float]  # time [s], over the limit [K]


@dataclass(frozen=True)
class HeldHeat:
    """What was held over a limit [K], the limit [degC] and when that began [s]."""

    by_c: float
    limit_c: float
    at_s: float


def too_hot(
    work: KeptReadings,
    limits: Sequence[Limit],
    number: int,
    inside_s: tuple[float, float],
    *,
    bare_s: float | None,
    noise_c: float,
    lower_c: float,
) -> HeldHeat | None:
    """What a work temperature held over the limits of one hold while a charge was inside (from load to pull).

    ``bare_s`` [s] is how long a bare chamber reading may be over, None where the work itself is known; ``lower_c`` the
    hold's lower edge: after the last hold, without a pull, the work counts until it falls below that. None where it was
    not over, beyond the noise of a reading [K], for as long as counts. See ``verification.too_hot``.
    """
    rows: list[Row] = []
    limit_at: list[tuple[float, float]] = []
    for limit in sorted((one for one in limits if one.number == number), key=lambda one: one.start_s):
        start, stop = max(limit.start_s, inside_s[0]), min(limit.end_s, inside_s[1])
        if bare_s is not None and limit.before_first:
            start = max(start, inside_s[0] + SETTLES_S)
        low, high = work.between(start, stop)
        if limit.after_last and not math.isfinite(inside_s[1]):
            falls = work.first_in(low, len(work), upper_c=below(lower_c))
            high = high if falls is None else min(high, falls + 1)
        if high > low and stop > start:
            rows += [(work.t_s[k], work.temp_c[k] - limit.limit_c) for k in range(low, high)]
            limit_at.append((stop, limit.limit_c))
    held = held_over(rows, HELD_S if bare_s is None else bare_s, noise_c)
    if held is None:
        return None
    by_c, at_s = held
    return HeldHeat(by_c, next((most for stop, most in limit_at if at_s <= stop), limit_at[-1][1]), at_s)


def held_over(rows: Sequence[Row], least_s: float, noise_c: float) -> Row | None:
    """When (first) and by how much (second) three readings in a row at least, over a time [s], stood over nought.

    By more than the noise of a reading [K]; a single reading that is back by no more than that does not break the row.
    """
    if max((over for _, over in rows), default=-math.inf) <= noise_c:
        return None
    rows = _mended(rows, noise_c)
    began = _row(rows, noise_c, least_s)
    if began is None:
        return None
    low, high = noise_c, max(over for _, over in rows)
    for _ in range(ROUNDS):
        middle = (low + high) / 2.0
        found = _row(rows, middle, least_s)
        low, high, began = (middle, high, found) if found is not None else (low, middle, began)
    return low, began


def highest_held(work: KeptReadings, low: int, high: int, target_c: float) -> float | None:
    """Highest temperature above a target [K] that was held for 30 s or three readings; None without so many."""
    rows = [(work.t_s[k], work.temp_c[k] - target_c) for k in range(low, high)]
    if len(rows) < FEWEST or rows[-1][0] - rows[0][0] < HELD_S:
        return None
    least, most = min(over for _, over in rows), max(over for _, over in rows)
    for _ in range(ROUNDS + 4):
        middle = (least + most) / 2.0
        least, most = (middle, most) if _row(rows, middle, HELD_S) is not None else (least, middle)
    return least


def _mended(rows: Sequence[Row], back_c: float) -> list[Row]:
    """Single readings that are back by no more than noise, raised to their neighbours."""
    mended = list(rows)
    for k in range(1, len(rows) - 1):
        beside = min(rows[k - 1][1], rows[k + 1][1])
        mended[k] = rows[k][0], max(rows[k][1], min(beside, rows[k][1] + back_c))
    return mended


def _row(rows: Sequence[Row], level_c: float, least_s: float) -> float | None:
    """When the first row at or above a level began that is long enough [s], its ends interpolated; None without one."""
    first = None
    for k in range(len(rows) + 1):
        over = k < len(rows) and rows[k][1] >= level_c
        if over and first is None:
            first = k
        elif not over and first is not None:
            came = rows[first][0] if first == 0 else _crossed(rows[first - 1], rows[first], level_c)
            went = rows[k - 1][0] if k == len(rows) else _crossed(rows[k - 1], rows[k], level_c)
            if k - first >= FEWEST and went - came >= least_s - 1e-6:
                return came
            first = None
    return None


def _crossed(one: Row, other: Row, level_c: float) -> float:
    return one[0] + (level_c - one[1]) / (other[1] - one[1]) * (other[0] - one[0])
