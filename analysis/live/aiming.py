"""Which hold of the recipe the furnace is at, or on its way to. Standard library only."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.live.followed_sensors import FollowedSensor
from soakwitness.analysis.live.standing import Standing
from soakwitness.analysis.live.state import Phase
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.verification.rules.course import coldest_c
from soakwitness.analysis.verification.rules.states import ROOM_C, part_of

HEATS_AGAIN_C, MOST_OF_IT = 15.0, 0.5
COOLED_SHARE = 0.5  # of the way from the band down to room temperature: no door does that to a furnace


@dataclass(frozen=True)
class Aim:
    """The hold at hand by its place among the recipe's, None after the last, and where the chamber stands to it.

    ``shown`` is the hold whose place on the chamber it has: another, where pieces went in again for the next cycle
    while the furnace stayed hot.
    """

    number: int | None
    phase: Phase
    shown: int | None = None


def aim_of(standing: Standing, chamber: FollowedSensor, recipe: Recipe, rounds: int) -> Aim:
    """Say which hold is at hand; ``rounds`` counts the cycles that went in while the furnace stayed hot."""
    holds = recipe.holds
    if not holds:
        return Aim(None, "before")
    found = [number for number, placed in enumerate(standing.chamber.places) if placed is not None]
    place = part_of(chamber.searched().state, len(holds))
    if not found:
        return Aim(place[0] if place is not None else 0, "before")
    last = found[-1]
    if rounds and last + rounds < len(holds):
        return Aim(last + rounds, _phase(standing, chamber, last), last)
    edges = standing.edges(last)
    if edges is not None and not edges.left:
        return Aim(last, _phase(standing, chamber, last), last)
    if edges is not None and edges.left_upward:
        return Aim(last + 1, "before") if last + 1 < len(holds) else Aim(last, "above", last)
    if place is not None and place[0] > last and place[1] != 1:
        return Aim(place[0], "before")
    return _after(standing, chamber, recipe, last)


def _phase(standing: Standing, chamber: FollowedSensor, number: int) -> Phase:
    hold, now_c = standing.chamber.holds[number], chamber.kept.temp_c[-1]
    return "below" if now_c < hold.lower_c else "above" if now_c > hold.upper_c else "in"


def _after(standing: Standing, chamber: FollowedSensor, recipe: Recipe, last: int) -> Aim:
    """What comes once the furnace has left a hold downwards: it again, the next one, or the first of a new attempt."""
    holds, kept = recipe.holds, chamber.kept
    hold, edges = standing.chamber.holds[last], standing.edges(last)
    since_s = edges.leave_s if edges is not None else kept.t_s[0]
    lowest_c, now_c = coldest_c(kept, *kept.between(since_s, kept.t_s[-1])), kept.temp_c[-1]
    done = standing.chamber_count(last).longest_s >= hold.required_s
    colder = last + 1 < len(holds) and holds[last + 1].target_c < hold.lower_c
    if colder and done:
        return Aim(last + 1, "before")
    if lowest_c >= ROOM_C + COOLED_SHARE * (hold.lower_c - ROOM_C):
        return Aim(last, "below", last)
    if last + 1 < len(holds) and (done or _most_of_it(standing, recipe, last)):
        return Aim(last + 1, "before")
    if now_c > lowest_c + HEATS_AGAIN_C:
        first = next(at for at, other in enumerate(holds) if other.cycle == holds[last].cycle)
        return Aim(first, "before")
    return Aim(None, "below") if done else Aim(last, "below", last)


def _most_of_it(standing: Standing, recipe: Recipe, last: int) -> bool:
    """The next hold is at the same level, and this one had most of its soak: a short soak, not a broken one."""
    hold, following = recipe.holds[last], recipe.holds[last + 1]
    same = abs(following.target_c - hold.target_c) <= hold.above_c
    return same and standing.chamber_count(last).soak_s >= MOST_OF_IT * hold.required_s
