"""What a reader of the plan must know beside its figures."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from soakwitness.analysis.recipes.recipe import Ramp
from soakwitness.firmware_bridge.common.wording import Diff, Rate, Says, Temp, counted, duration, listed, percent

if TYPE_CHECKING:
    from soakwitness.analysis.planning.plan import HoldPlan, PieceTimes, Plan

SLOWER = 0.9  # of the rate asked: so much less is said
LEAST_BELOW = 0.03  # of a hold
LEAST_LEVEL_C = 1.0
NEVER_SAID = 0.01
TAKEN_STEP_C = 25.0
UNKNOWN_C = 50.0  # above what a climb is known to: from there on it is said


def says_of(plan: Plan) -> tuple[Says, ...]:
    """Doubts first, then what was assumed."""
    return (*not_both(plan), *beside_it(plan))


def beside_it(plan: Plan) -> tuple[Says, ...]:
    """All but what cannot be had together."""
    return (
        *_never(plan),
        *_slow_ramps(plan),
        *_unknown_climb(plan),
        *_overshoot(plan),
        *_swing(plan),
        *_level(plan),
        *_own_minutes(plan),
        *_places(plan),
    )


def not_both(plan: Plan) -> Iterator[Says]:
    """Holds in which the least soak and the most cannot both be sure."""
    for hold in plan.holds:
        torn = [one for one in hold.pieces if not one.both]
        if torn:
            worst = max(torn, key=lambda one: one.earliest_s - (one.latest_s or 0.0))
            yield _torn(hold, worst, torn)


def _torn(hold: HoldPlan, worst: PieceTimes, torn: list[PieceTimes]) -> Says:
    alike = len(torn) == len(hold.pieces) > 1
    names = "all of them" if alike else listed(one.piece.name for one in torn)
    return Says.plain(
        f"Not both can be sure ({names}): at least {duration(hold.required_s)} and at most "
        f"{duration(hold.at_most_s)}. The plan keeps the most, so that {duration(worst.soak.low_s)} is possible"
        + (". A measured packet would narrow it" if not worst.piece.packet.fitted else "")
    )


def _never(plan: Plan) -> Iterator[Says]:
    for hold in plan.holds:
        for one in hold.pieces:
            if one.never >= NEVER_SAID:
                yield Says.plain(
                    f"{one.piece.name} is not in the band of step {hold.step} within three hours by "
                    f"{percent(one.never)} of the estimates: is its thickness right, and the band not too narrow?"
                )


def _slow_ramps(plan: Plan) -> Iterator[Says]:
    """Ramps that are asked faster than the furnace can climb."""
    known, from_c = plan.inputs.furnace, 20.0
    for step in plan.inputs.recipe.steps:
        if step.cycle > 1:
            return
        if isinstance(step, Ramp) and step.rate_c_per_h is not None and step.to_c > from_c:
            at = [from_c + TAKEN_STEP_C * n for n in range(int((step.to_c - from_c) / TAKEN_STEP_C) + 1)]
            slow = [temp_c for temp_c in at if known.rate_c_per_h(temp_c) < SLOWER * step.rate_c_per_h]
            if slow:
                yield Says.of(
                    "Step {step} asks for {asked}; from {at} on this furnace climbs at about {can} at full power. A "
                    "controller that does not wait for the furnace would begin to count too early",
                    step=str(step.number),
                    asked=Rate(step.rate_c_per_h),
                    at=Temp(slow[0], 0),
                    can=Rate(known.rate_c_per_h(max(slow))),
                )
        from_c = step.to_c if isinstance(step, Ramp) else step.target_c


def _unknown_climb(plan: Plan) -> Iterator[Says]:
    known, target_c = plan.inputs.furnace, plan.last.target_c
    if target_c > known.climb_to_c + UNKNOWN_C:
        yield Says.of(
            "How the furnace climbs above {known} is a guess, and with it when it is at {target}. A time that was seen "
            "nearer to it makes that sure",
            known=Temp(known.climb_to_c),
            target=Temp(target_c),
        )


def _overshoot(plan: Plan) -> Iterator[Says]:
    known = plan.inputs.furnace
    if not known.arrivals:
        return
    for hold in plan.inputs.recipe.holds:
        most_c = hold.above_c if hold.max_overshoot_c is None else hold.max_overshoot_c
        usual = known.arrival_at(hold.target_c).overshoot.value
        if hold.cycle == 1 and usual > most_c:
            yield Says.of(
                "The furnace usually goes {usual} over; step {step} allows {most}. A slower last ramp helps",
                usual=Diff(usual),
                step=str(hold.number),
                most=Diff(most_c),
            )


def _swing(plan: Plan) -> Iterator[Says]:
    hold, known = plan.last, plan.inputs.furnace
    swing_c = known.arrival_at(hold.target_c).swing_c
    if hold.below_share >= LEAST_BELOW and not known.arrivals:
        yield Says.plain(
            "No run tells whether the furnace swings in a hold: some minutes are for one that does. A logged run may "
            "save them"
        )
    elif hold.below_share >= LEAST_BELOW:
        yield Says.of(
            "In a hold the furnace swings by {swing} to either side, and the band of the last one begins {below} below "
            "its target: the minutes count on what a blade that follows it may lose. A wider band below asks for fewer",
            swing=Diff(swing_c),
            below=Diff(hold.target_c - hold.lower_c),
        )


def _level(plan: Plan) -> Iterator[Says]:
    level = plan.inputs.furnace.arrival_at(plan.last.target_c).level
    if plan.inputs.furnace.arrivals and abs(level.value) >= LEAST_LEVEL_C:
        yield Says.of(
            "In the last hold the display usually stands {off} {side} what is set",
            off=Diff(abs(level.value)),
            side="above" if level.value > 0.0 else "below",
        )


def _own_minutes(plan: Plan) -> Iterator[Says]:
    program, known = plan.inputs.recipe.program, plan.inputs.set_to_c
    if program.extra_s:
        yield Says.plain(
            f"The recipe's {duration(program.extra_s)} extra are not added: the minutes here have the packet in them"
        )
    if program.offset_c and known:
        yield Says.of(
            "The recipe's offset of {offset} is left out where the sensor's error is known: it would count twice",
            offset=Diff(program.offset_c, signed=True),
        )


def _places(plan: Plan) -> Iterator[Says]:
    upright = [one for one in plan.inputs.pieces if one.packet.heated_faces == 2]
    if plan.inputs.rack is None and len(upright) > 1:
        yield Says.plain(
            f"No rack is known: {counted(len(upright), 'packet')} are taken to stand far from each other, and side by "
            "side they lag more. Describe it: [rack] in the furnace file"
        )
