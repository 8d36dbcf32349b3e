"""How one lot stands in the hold at hand, as the sentence and the alarms take it. Standard library only."""

from __future__ import annotations

from dataclasses import replace

from soakwitness.analysis.live.aiming import Aim
from soakwitness.analysis.live.clock_charges import Lot
from soakwitness.analysis.live.counting import Count
from soakwitness.analysis.live.standing import LotTemperature, Standing
from soakwitness.analysis.live.state import PieceState
from soakwitness.analysis.recipes.recipe import Hold

OVERDUE_AFTER_S = 600.0  # beyond the required soak where the recipe names no longest: common practice, no source


def piece_state(
    standing: Standing, lot: Lot, aim: Aim, now_s: float, chamber_c: float, *, take_out: bool
) -> PieceState:
    """How a lot stands at a moment [s], the chamber then at ``chamber_c`` [degC] as it reads."""
    assert aim.number is not None
    shown = aim.shown if aim.shown is not None else aim.number
    work, figures = standing.deciding(lot, shown)
    hold = work.on.holds[shown]
    added_c = work.on.followed.sensor.added_at(shown)
    now_c = work.best.temp_c[-1] if len(work.best) else chamber_c
    slow_c = work.slow.temp_c[-1] if len(work.slow) else now_c
    best, slow = figures.count, figures.slow
    if len(work.best) and now_s - work.best.t_s[-1] <= work.best.gap_s:  # a sensor that broke tells no more
        best, slow = _gone_on(best, now_c, hold, now_s, aim), _gone_on(slow, slow_c, hold, now_s, aim)
    complete = best.longest_s >= hold.required_s
    left_s, sure_s = _left(work, hold, (best, slow), (now_c, slow_c), chamber_c, now_s)
    from_s = _complete_s(best, hold, now_s, left_s, sure=False)
    longest = hold.at_most_s if hold.at_most_s is not None else hold.required_s + OVERDUE_AFTER_S
    return PieceState(
        charge=lot.charge,
        pieces=lot.pieces,
        source=work.source,
        work_c=now_c + added_c,
        in_band=now_c >= hold.lower_c and aim.phase != "before",
        short_c=max(hold.lower_c - now_c, 0.0),
        soak_s=best.soak_s,
        dip_s=0.0 if best.last_s is None or best.in_band else max(now_s - best.last_s, 0.0),
        required_s=hold.required_s,
        left_s=0.0 if complete else left_s,
        sure_in_s=sure_s,
        complete=complete,
        overdue=complete and best.above_s > longest and (take_out or hold.at_most_s is not None),
        troubles=standing.troubles(lot, shown),
        from_s=from_s,
        sure_from_s=_complete_s(slow, hold, now_s, sure_s, sure=True),
        until_s=_until_s(best, hold, now_s, from_s),
    )


def _complete_s(count: Count, hold: Hold, now_s: float, left_s: float | None, *, sure: bool) -> float | None:
    """The moment [s] at which the soak is, or was, complete; None where that is not to be told any more, or not yet."""
    longest_s = count.longest_seen_s if sure else count.longest_s
    if longest_s < hold.required_s:
        return None if left_s is None else now_s + left_s
    had_s = count.soak_s - (count.unseen_s if sure else 0.0)
    until_s = now_s if count.in_band or count.last_s is None else count.last_s
    return until_s - (had_s - hold.required_s) if had_s >= hold.required_s else None


def _until_s(count: Count, hold: Hold, now_s: float, from_s: float | None) -> float | None:
    """The moment [s] at which a stay in the band is as long as the recipe allows; None where it does not run."""
    if hold.at_most_s is None:
        return None
    if count.in_band:
        return now_s + hold.at_most_s - count.above_s
    if from_s is None or count.longest_s >= hold.required_s:
        return None
    then_s = count.above_s + max(hold.required_s - count.soak_s, 0.0)
    return from_s + hold.at_most_s - then_s


def _gone_on(count: Count, now_c: float, hold: Hold, now_s: float, aim: Aim) -> Count:
    """A count with what passed since it was made: no more than the time between two looks at the run."""
    if not count.in_band or count.last_s is None or now_c < hold.lower_c or aim.phase == "before":
        return count
    more_s = max(now_s - count.last_s, 0.0)
    return replace(
        count,
        soak_s=count.soak_s + more_s,
        longest_s=max(count.longest_s, count.soak_s + more_s),
        longest_seen_s=max(count.longest_seen_s, count.soak_s - count.unseen_s + more_s),
        above_s=count.above_s + more_s,
        last_s=now_s,
    )


def _left(
    work: LotTemperature,
    hold: Hold,
    counts: tuple[Count, Count],
    nows_c: tuple[float, float],
    chamber_c: float,
    now_s: float,
) -> tuple[float | None, float | None]:
    """Time left by the best estimate and to be sure [s]: then the packet is slow, and unseen time does not count."""
    until: tuple[float | None, float | None] = (None, None)
    if work.track is not None and min(nows_c) < hold.lower_c:
        until = work.track.reaches_in_s(hold.lower_c, chamber_c)
    best, sure = (
        _left_of(count, hold, now_c, now_s, until_s, sure=side == 1)
        for side, (count, now_c, until_s) in enumerate(zip(counts, nows_c, until, strict=True))
    )
    return best, sure


def _left_of(
    count: Count, hold: Hold, now_c: float, now_s: float, until_s: float | None, *, sure: bool
) -> float | None:
    dip_s = 0.0 if count.last_s is None else now_s - count.last_s
    had_s = count.soak_s - (count.unseen_s if sure else 0.0) if dip_s <= hold.dip_s else 0.0
    longest_s = count.longest_seen_s if sure else count.longest_s
    left_s = 0.0 if longest_s >= hold.required_s else max(hold.required_s - had_s, 0.0)
    if now_c >= hold.lower_c or left_s == 0.0:
        return left_s
    return None if until_s is None else until_s + left_s
