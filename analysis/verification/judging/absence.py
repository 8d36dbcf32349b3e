"""Why a hold is not there: missing, ended before it, or simply not on record; or the readings are in the other unit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from soakwitness.analysis.recipes.recipe import Hold, Ramp, Recipe
from soakwitness.analysis.record.run import FloatArray
from soakwitness.analysis.record.traces import COLDEST_C, HOTTEST_C
from soakwitness.analysis.verification.holds.placing import Placed, place_holds
from soakwitness.analysis.verification.inputs.readings import GAP_PERIODS, Readings, gaps
from soakwitness.analysis.verification.rules.passing import longer_than_passing_s
from soakwitness.analysis.verification.rules.states import ROOM_C
from soakwitness.analysis.verification.sensors.context import VerificationContext
from soakwitness.firmware_bridge.common.units import from_celsius, from_kelvin, to_celsius, to_kelvin
from soakwitness.firmware_bridge.common.wording import Says, Temp, duration, joined, moment

FALLEN_C = 5.0
STEADY_FALL_C, STEADY_FALL_S = 15.0, 180.0
AGAIN_SHARE = 0.6
LINGERED = 0.5
HIDES_SHARE = 0.8  # of what is asked: a shorter gap hides no whole hold
STAYED = 0.5  # of what is asked, in the other unit: less may be chance
ROOM_FROM_C, ROOM_TO_C = 3.0, 45.0
FIRST_S = 60.0


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


def absence_of(context: VerificationContext, number: int) -> Absence:
    """Say why a hold was not found, by its index among the recipe's holds."""
    hold, placed, trace = context.recipe.holds[number], context.chamber.placed, context.chamber.readings
    before = [p for p in placed[:number] if p is not None]
    after = [p for p in placed[number + 1 :] if p is not None]
    since = _end_of(before[-1]) if before else context.start_s
    until = _begin_of(after[0]) if after else context.end_s
    rows_s = float(context.run.t_s[-1])
    unseen = [*gaps(trace, since, until), *([(context.end_s, rows_s)] if not after and went_on(context) else [])]
    long = [g for g in unseen if g[1] - g[0] >= HIDES_SHARE * hold.required_s]
    if long:
        a, b = long[0]
        says = Says(f"there is a gap of {duration(b - a)} where it may have been")
        return Absence("not on record", says, a)
    if not before and float(trace.temp_c[0]) >= hold.lower_c and _from_cold(context, number):
        says = Says.of("the record begins at {first}", first=Temp(float(trace.temp_c[0])))
        return Absence("not on record", says, context.start_s)
    if after:
        lingered = longer_than_passing_s(trace, hold, since, until) >= LINGERED * hold.required_s
        doubt = ", but so slowly that a hold this short would not show" if lingered else ""
        says = Says.of(
            "the furnace went on to {next} without it{doubt}", next=Temp(after[0].hold.target_c), doubt=doubt
        )
        return Absence("missing", says, until, lingered)
    inside = bool(before and before[-1].edges and not before[-1].edges.left)
    return _at_the_end(context, number, since, inside=inside)


def _end_of(placed: Placed) -> float:
    return placed.edges.leave_s if placed.edges else placed.stays[-1].end_s


def _begin_of(placed: Placed) -> float:
    return placed.edges.enter_s if placed.edges else placed.stays[0].start_s


def _from_cold(context: VerificationContext, number: int) -> bool:
    """Whether the recipe climbs to this hold from below."""
    holds = context.recipe.holds
    return number == 0 or holds[number].target_c > holds[number - 1].target_c


def _at_the_end(context: VerificationContext, number: int, since_s: float, *, inside: bool) -> Absence:
    trace, hold, placed = context.chamber.readings, context.recipe.holds[number], context.chamber.placed
    low, high = trace.between(since_s, context.end_s)
    part = trace.temp_c[low:high]
    last = float(trace.temp_c[-1])
    if _stopped_reading(context):
        says = Says.of("sensor {name} read nothing from {at} on", name=context.chamber.name, at=moment(context.end_s))
        return Absence("not on record", says, context.end_s)
    if inside:
        return Absence("not on record", Says("the record ends in the hold before it"), context.end_s)
    pulled = _all_pulled_s(context)
    width = hold.below_c + hold.above_c
    gone_on_c = float(part[: trace.between(since_s, pulled or context.end_s)[1] - low].max(initial=-np.inf))
    if gone_on_c > hold.upper_c + width and _from_cold(context, number):
        says = Says.of("the furnace went on to {reached} without it", reached=Temp(gone_on_c))
        return Absence("missing", says, context.end_s)
    if pulled is not None:
        return Absence("ended", Says(f"all pieces were out at {moment(pulled)}"), pulled)
    another = hold.cycle > 1 and not any(p is not None and p.hold.cycle == hold.cycle for p in placed)
    if another and not _heated_again(trace.temp_c[low:high], hold):
        says = Says(f"this run shows round {hold.cycle - 1}; the next may be in another run")
        return Absence("not on record", says, context.end_s)
    hottest = float(part.max()) if part.size else last
    reached = Temp(hottest)
    falls_to_it = not _from_cold(context, number) and last > hold.upper_c
    if part.size and not falls_to_it and _fell(trace.t_s[low:high], part):
        if hottest >= hold.lower_c and not any(p is not None for p in placed):
            says = Says.of("the furnace reached {reached} but did not hold", reached=reached)
            return Absence("missing", says, context.end_s)
        at_s = float(trace.t_s[low + int(part.argmax())])
        stood = next((p.hold for p in reversed(placed[:number]) if p is not None), None)
        if stood is not None and hottest <= stood.upper_c:
            return Absence("ended", Says.of("it cooled after the hold at {stood}", stood=Temp(stood.target_c)), at_s)
        return Absence("ended", Says.of("it reached {reached} and then cooled", reached=reached), at_s)
    if hottest > hold.upper_c and _from_cold(context, number):
        says = Says.of("the furnace went on to {reached} without it", reached=reached)
        return Absence("missing", says, context.end_s)
    return Absence("cut", Says.of("the record ends at {last}, on the way", last=Temp(last)), context.end_s)


def _all_pulled_s(context: VerificationContext) -> float | None:
    """When the last piece came out [s], where every one is known to be out; else None."""
    pulls = [stay.pull_s for stay in context.stays]
    known = [p for p in pulls if p is not None and p <= context.end_s]
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


def _stopped_reading(context: VerificationContext) -> bool:
    """Whether the chamber's sensor read nothing any more while the record went on, and the furnace was hot."""
    trace = context.chamber.readings
    return went_on(context) and float(trace.temp_c[-1]) > (float(trace.temp_c.max()) + ROOM_C) / 2.0


def went_on(context: VerificationContext) -> bool:
    """Whether the record went on after the chamber's last reading."""
    return float(context.run.t_s[-1]) - context.end_s > max(GAP_PERIODS * context.chamber.readings.period_s, FIRST_S)


def in_other_unit(context: VerificationContext) -> Says | None:
    """What the holds look like at their numbers in the other unit, where more of them stand there; None if not.

    A reading in degF taken for degC stands at 1.8 T + 32 of the target T (1050 degC looks like 1922), one in degC taken
    for degF at (T - 32) / 1.8; rates and tolerances differ by 1.8. A record that begins at room temperature as it is,
    and would not in the other unit, is in its own.
    """
    now = sum(p is not None and p.edges is not None for p in context.chamber.placed)
    trace = _as_written(context)
    first = trace.temp_c[: max(3, trace.between(trace.t_s[0], trace.t_s[0] + FIRST_S)[1])]
    begins_c = float(np.median(first))
    for unit, words in (
        ("F", "the trace stands where degrees F would"),
        ("C", "the trace stands where degrees C read as F would"),
    ):
        meant_c = to_celsius(begins_c, "F") if unit == "F" else from_celsius(begins_c, "F")
        if _is_room(begins_c) and not _is_room(meant_c):
            continue
        recipe = _in_unit(context.recipe, unit)
        placed = place_holds(trace, recipe)
        there = [p for p in placed if p is not None and p.edges is not None and _stayed(p)]
        if len(there) > now and len(there) >= max(1, len(placed) // 2):
            pairs = [
                Says.of("{shown} for {meant}", shown=Temp(shown.target_c), meant=Temp(meant.target_c))
                for p, shown, meant in zip(placed, recipe.holds, context.recipe.holds, strict=True)
                if p is not None
            ]
            return Says.of("{words} ({pairs})", words=words, pairs=joined(pairs, ", "))
    return None


def _is_room(temp_c: float) -> bool:
    return ROOM_FROM_C <= temp_c <= ROOM_TO_C


def _stayed(placed: Placed) -> bool:
    """Whether a hold was held for a good part of what is asked."""
    return sum(s.end_s - s.start_s for s in placed.stays) >= STAYED * placed.hold.required_s


def _as_written(context: VerificationContext) -> Readings:
    """The chamber's readings, those kept too that no thermocouple can make in degC: 1922 is 1050 degC in degF."""
    value = context.run.values.get(context.chamber.name)
    trace = context.chamber.readings
    if value is None or np.nanmax(value) <= HOTTEST_C:
        return trace
    possible = np.isfinite(value) & (value >= COLDEST_C) & (value <= from_celsius(HOTTEST_C, "F"))
    return replace(trace, t_s=context.run.t_s[possible], temp_c=value[possible])


def _in_unit(recipe: Recipe, unit: str) -> Recipe:
    """The recipe with its numbers as they look in degF (``F``), or as degC read for degF (``C``)."""
    temp, size = (from_celsius, from_kelvin) if unit == "F" else (to_celsius, to_kelvin)

    def step(s: Ramp | Hold) -> Ramp | Hold:
        if isinstance(s, Ramp):
            rate = None if s.rate_c_per_h is None else size(s.rate_c_per_h, "F")
            return replace(s, to_c=temp(s.to_c, "F"), rate_c_per_h=rate)
        return replace(s, target_c=temp(s.target_c, "F"), below_c=size(s.below_c, "F"), above_c=size(s.above_c, "F"))

    return replace(recipe, steps=tuple(step(s) for s in recipe.steps))
