"""Soak of one piece in one hold, counted over the readings that are kept. Standard library only."""

from __future__ import annotations

import math
from dataclasses import dataclass

from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.verification.rules.course import coldest_c, crossing_s
from soakwitness.analysis.verification.rules.edges import SWING_S

Span = tuple[float, float]


@dataclass(frozen=True)
class Count:
    """Time at or above a hold's lower edge [s].

    ``soak_s`` is the stretch at hand, ``longest_s`` the longest: a dip of at most the hold's ``dip_s`` pauses it, a
    longer one starts it again. ``unseen_s`` is what of the stretch at hand went by without a reading,
    ``longest_seen_s`` the longest without such time; ``above_s`` the whole time, dips or not; ``last_s`` when it was
    there last (None: never), ``in_band`` whether it still counts at the newest reading.
    """

    soak_s: float = 0.0
    longest_s: float = 0.0
    unseen_s: float = 0.0
    longest_seen_s: float = 0.0
    above_s: float = 0.0
    last_s: float | None = None
    in_band: bool = False


def count_soak(work: KeptReadings, hold: Hold, start_s: float, end_s: float, noise_c: float) -> Count:
    """Count the soak of a work temperature between two moments [s]: the best figure of ``verification.soak``.

    A dip that stays within the noise [K] of a reading from the edge does not start it again. A hold that is judged by
    its mean counts from the first to the last time there.
    """
    spans = _spans(work, hold.lower_c, start_s, end_s)
    if not spans:
        return Count()
    swings = hold.judge_by == "mean"
    dip_s = max(hold.dip_s, SWING_S) if swings else hold.dip_s
    stretches: list[list[Span]] = [[spans[0]]]
    for before, span in zip(spans, spans[1:], strict=False):
        long = span[0] - before[1] > dip_s
        if long and coldest_c(work, *work.between(before[1], span[0])) < hold.lower_c - noise_c:
            stretches.append([span])
        else:
            stretches[-1].append(span)
    soaks = [part[-1][1] - part[0][0] if swings else sum(b - a for a, b in part) for part in stretches]
    unseen = [sum(work.gaps_between(a, b) for a, b in part) for part in stretches]
    last_s = spans[-1][1]
    return Count(
        soak_s=soaks[-1],
        longest_s=max(soaks),
        unseen_s=unseen[-1],
        longest_seen_s=max(a - b for a, b in zip(soaks, unseen, strict=True)),
        above_s=sum(b - a for a, b in spans),
        last_s=last_s,
        in_band=last_s >= work.t_s[-1] - 1e-6,
    )


def _spans(work: KeptReadings, lower_c: float, start_s: float, end_s: float) -> list[Span]:
    """Stretches (from, to) [s] at or above a level between two moments, along the chords between readings."""
    if end_s <= start_s or len(work) < 2:
        return []
    low, high = work.between(start_s, end_s)
    low, high = max(low - 1, 0), min(high + 1, len(work))
    spans: list[Span] = []
    for first, last in work.runs(low, high, lower_c, math.inf):
        begin = work.t_s[first] if first == 0 else crossing_s(work, first - 1, lower_c) if first > low else start_s
        end = work.t_s[last] if last + 1 >= len(work) else crossing_s(work, last, lower_c) if last + 1 < high else end_s
        begin, end = max(begin, start_s), min(end, end_s)
        if end > begin:
            spans.append((begin, end))
    return spans
