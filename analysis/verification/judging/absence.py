"""Why a hold is not there: missing, ended before it, or simply not on record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.verification.inputs.readings import Readings, gaps
from soakwitness.analysis.verification.inputs.uncertain_gaps import UncertainGap
from soakwitness.analysis.verification.rules.passing import longer_than_passing_s
from soakwitness.analysis.verification.rules.places import Placed
from soakwitness.analysis.verification.rules.states import ROOM_C
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration, moment

FALLEN_C = 5.0
STEADY_FALL_C, STEADY_FALL_S = 15.0, 180.0
AGAIN_SHARE = 0.6
LINGERED = 0.5
HIDES_SHARE = 0.8  # of what is asked: a shorter gap hides no whole hold


@dataclass(frozen=True)
class Absence:
    """Why one hold was not found: skipped, the furnace cooled before it, the record was cut before it, and so on.

    ``on_record`` False: the record does not cover it, so nothing is shown. ``lingered``: the trace went through the
    band without a stop, but slowly enough to have held for half of what is asked.
    """

    kind: Literal["missing", "ended", "cut", "not on record", "wrong unit"]
    says: Says
    at_s: float | None = None
    lingered: bool = False

    @property
    def on_record(self) -> bool:
        """Whether the record shows that it was not done."""
        return self.kind in ("missing", "ended")

    @property
    def shown(self) -> bool:
        """Whether it is shown beyond doubt that the hold was not done."""
        return self.on_record and not self.lingered


def absence_of(run: GatheredRun, number: int) -> Absence:
    """Say why a hold was not found, by its index among the recipe's holds."""
    hold, placed, trace = run.recipe.holds[number], run.chamber.placed, run.chamber.readings
    before = [p for p in placed[:number] if p is not None]
    after = [p for p in placed[number + 1 :] if p is not None]
    since = _end_of(before[-1]) if before else run.chamber.first_s
    until = _begin_of(after[0]) if after else run.end_s
    rows_s = float(run.record.t_s[-1])
    unseen = [*gaps(trace, since, until), *([(run.end_s, rows_s)] if not after and run.went_on else [])]
    long = [g for g in unseen if g[1] - g[0] >= HIDES_SHARE * hold.required_s]
    if long:
        a, b = long[0]
        says = Says(f"there is a gap of {duration(b - a)} where it may have been")
        return Absence("not on record", says, a)
    longer = next(
        (g for g in run.uncertain if g.longer and since <= g.start_s < until and _meets(trace, g, hold)), None
    )
    if longer is not None:
        return Absence("not on record", Says("there is a gap of unknown length where it may have been"), longer.start_s)
    if not before and float(trace.temp_c[0]) >= hold.lower_c and _from_cold(run, number):
        says = Says.of("the record begins at {first}", first=Temp(float(trace.temp_c[0])))
        return Absence("not on record", says, run.chamber.first_s)
    if after:
        lingered = longer_than_passing_s(trace, hold, since, until) >= LINGERED * hold.required_s
        doubt = ", but so slowly that a hold this short would not show" if lingered else ""
        says = Says.of(
            "the furnace went on to {next} without it{doubt}", next=Temp(after[0].hold.target_c), doubt=doubt
        )
        return Absence("missing", says, until, lingered)
    inside = bool(before and before[-1].edges and not before[-1].edges.left)
    return _at_the_end(run, number, since, inside=inside)


def _meets(trace: Readings, gap: UncertainGap, hold: Hold) -> bool:
    """Whether what was read on both sides of a gap lies around the hold or in it."""
    low, high = trace.between(gap.start_s, gap.end_s)
    beside = trace.temp_c[low : high + 1]
    return bool(beside.size) and float(beside.min()) <= hold.upper_c and float(beside.max()) >= hold.lower_c


def _end_of(placed: Placed) -> float:
    return placed.edges.leave_s if placed.edges else placed.stays[-1].end_s


def _begin_of(placed: Placed) -> float:
    return placed.edges.enter_s if placed.edges else placed.stays[0].start_s


def _from_cold(run: GatheredRun, number: int) -> bool:
    """Whether the recipe climbs to this hold from below."""
    holds = run.recipe.holds
    return number == 0 or holds[number].target_c > holds[number - 1].target_c


def _at_the_end(run: GatheredRun, number: int, since_s: float, *, inside: bool) -> Absence:
    trace, hold, placed = run.chamber.readings, run.recipe.holds[number], run.chamber.placed
    low, high = trace.between(since_s, run.end_s)
    part = trace.temp_c[low:high]
    last = float(trace.temp_c[-1])
    if _stopped_reading(run):
        says = Says.of("sensor {name} read nothing from {at} on", name=run.chamber.name, at=moment(run.end_s))
        return Absence("not on record", says, run.end_s)
    if inside:
        return Absence("not on record", Says("the record ends in the hold before it"), run.end_s)
    pulled = _all_pulled_s(run)
    width = hold.below_c + hold.above_c
    gone_on_c = float(part[: trace.between(since_s, pulled or run.end_s)[1] - low].max(initial=-np.inf))
    if gone_on_c > hold.upper_c + width and _from_cold(run, number):
        says = Says.of("the furnace went on to {reached} without it", reached=Temp(gone_on_c))
        return Absence("missing", says, run.end_s)
    if pulled is not None:
        return Absence("ended", Says(f"all pieces were out at {moment(pulled)}"), pulled)
    another = hold.cycle > 1 and not any(p is not None and p.hold.cycle == hold.cycle for p in placed)
    if another and not _heated_again(trace.temp_c[low:high], hold):
        says = Says(f"this run shows round {hold.cycle - 1}; the next may be in another run")
        return Absence("not on record", says, run.end_s)
    hottest = float(part.max()) if part.size else last
    reached = Temp(hottest)
    falls_to_it = not _from_cold(run, number) and last > hold.upper_c
    if part.size and not falls_to_it and _fell(trace.t_s[low:high], part):
        if hottest >= hold.lower_c and not any(p is not None for p in placed):
            says = Says.of("the furnace reached {reached} but did not hold", reached=reached)
            return Absence("missing", says, run.end_s)
        at_s = float(trace.t_s[low + int(part.argmax())])
        stood = next((p.hold for p in reversed(placed[:number]) if p is not None), None)
        if stood is not None and hottest <= stood.upper_c:
            return Absence("ended", Says.of("it cooled after the hold at {stood}", stood=Temp(stood.target_c)), at_s)
        return Absence("ended", Says.of("it reached {reached} and then cooled", reached=reached), at_s)
    if hottest > hold.upper_c and _from_cold(run, number):
        says = Says.of("the furnace went on to {reached} without it", reached=reached)
        return Absence("missing", says, run.end_s)
    return Absence("cut", Says.of("the record ends at {last}, on the way", last=Temp(last)), run.end_s)


def _all_pulled_s(run: GatheredRun) -> float | None:
    """When the last piece came out [s], where every one is known to be out; else None."""
    pulls = [stay.pull_s for stay in run.stays]
    known = [p for p in pulls if p is not None and p <= run.end_s]
    return max(known) if known and len(known) == len(pulls) else None


def _heated_again(temp_c: FloatArray, hold: Hold) -> bool:
    """Whether a furnace that had cooled was heated again, most of the way to a hold: another round was begun."""
    if not temp_c.size:
        return False
    lowest = int(temp_c.argmin())
    goal = AGAIN_SHARE * (hold.target_c - ROOM_C)
    return float(temp_c[lowest:].max()) - float(temp_c[lowest]) > 0.3 * goal and float(temp_c[lowest:].max()) > goal


def _fell(t_s: FloatArray, temp_c: FloatArray) -> bool:
    """Whether a furnace cools at the end of the record: by a share of its heat, or steadily for minutes."""
    lowest = int(temp_c.argmin())
    if float(temp_c[lowest:].max()) - float(temp_c[lowest]) > STEADY_FALL_C:  # it was heated again since
        t_s, temp_c = t_s[lowest:], temp_c[lowest:]
    hottest, last = float(temp_c.max()), float(temp_c[-1])
    if hottest - last > max(FALLEN_C, 0.05 * (hottest - ROOM_C)):
        return True
    since = np.flatnonzero(temp_c >= hottest - 2.0)
    return hottest - last > STEADY_FALL_C and float(t_s[-1] - t_s[int(since[-1])]) > STEADY_FALL_S


def _stopped_reading(run: GatheredRun) -> bool:
    """Whether the chamber's sensor read nothing any more while the record went on, and the furnace was hot."""
    trace = run.chamber.readings
    return run.went_on and float(trace.temp_c[-1]) > (float(trace.temp_c.max()) + ROOM_C) / 2.0
