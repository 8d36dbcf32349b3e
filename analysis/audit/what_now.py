"""What to do with the pieces now, in the trade's steps: the cheap and harmless ones first, with their cautions."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.stage_changes import TOLD_APART_HRC
from soakwitness.analysis.metallurgy.hardening_again import ANNEAL_FIRST

COMMON = "common practice"


@dataclass(frozen=True)
class NowStep:
    """One step for some pieces. ``caution`` may be empty; ``basis`` is where it is from."""

    says: str
    caution: str = ""
    basis: str = COMMON


KEEP = NowStep(
    "Set the pieces aside, marked, and put none of them back into any heat before the next tests are done.",
)
GRIND = NowStep(
    "Grind 0.2 mm off at one place of one piece, cold, and test there again.",
    "A skin that lost carbon or a dent beside it reads soft on a hard blade.",
)
MEASURE = NowStep(
    "Read the tester on its block, then measure the pieces and a good blade again, one after the other.",
    "Nothing was wrong with blades that only the tester calls soft: give them no more heat.",
)
TEMPER = NowStep(
    "Temper one piece once more as the recipe says, cool it, measure; then the others.",
    "Start no hotter than the recipe: what a temper takes does not come back.",
)
COLD = NowStep(
    "Cool one piece well below zero now, an hour at least, temper it at once as the recipe says, and measure.",
    "After a temper it gains less than fresh from the quench; it may crack: try one, thin edges last.",
)
AGAIN = NowStep(
    "Anneal one piece as the supplier says, harden it again with a good charge, measure as quenched; then the others.",
    ANNEAL_FIRST,
)
SOFT_USE = NowStep(
    "Or leave them as they are where that hardness will do, and say so to who gets them.",
    "What was tempered away comes back only by annealing and hardening again.",
)
SKIN = NowStep(
    "Grind the soft skin off all over, cold, and test again.",
    "Measure what is left of the thickness first; below the drawing's size it is scrap.",
)
BURNT = NowStep(
    "Grind the edge back, wet and cold, until it reads as hard as the blade behind it.",
    "Where the blade gets too narrow before that, it is scrap.",
)
FIND_STEEL = NowStep(
    "Find out what the bar is before any more heat; then harden one piece by that steel's own recipe.",
    "Sell none of it under the other steel's name; a bar that nobody can name is scrap.",
)
SCRAP = NowStep(
    "What is still outside after that, or shows a crack in oil and chalk or under a lens, is scrap.",
    "A cracked blade is never annealed back to life.",
)
NOTHING_TO_DO = NowStep("Nothing: the pieces are as hard as they should be.", "", "their hardness on record")

OF_CAUSE: dict[str, tuple[NowStep, ...]] = {
    "hardness tester": (MEASURE,),
    "leaking foil": (SKIN, SCRAP),
    "overheated in finish grinding": (BURNT,),
    "mixed or wrong bar": (FIND_STEEL, SCRAP),
    "temper missed": (TEMPER,),
    "temper too cold": (TEMPER,),
    "temper too hot": (SOFT_USE, AGAIN, SCRAP),
    "tempering oven reads wrong": (SOFT_USE, AGAIN, SCRAP),
    "cold treatment late or warm": (COLD, AGAIN, SCRAP),
    "cold treatment left out": (COLD, AGAIN, SCRAP),
    "too hot": (COLD, AGAIN, SCRAP),
    "held too long": (COLD, AGAIN, SCRAP),
    "temper late": (SCRAP,),
}


def what_now(case: Case, leader: str | None) -> tuple[NowStep, ...]:
    """Steps for the suspects, by the leading cause and by which side they are off."""
    if case.nothing_wrong:
        return (NOTHING_TO_DO,)
    own = OF_CAUSE.get(leader or "")
    if own is not None and own[0] is MEASURE:
        return own
    first = () if _ground(case) or leader in ("leaking foil", "overheated in finish grinding") else (GRIND,)
    if case.softness == "high":
        return (TEMPER,) if leader != "hardness tester" else (MEASURE,)
    if own is not None:
        if own[0] is SOFT_USE and (case.changes.final or 0.0) > 0:
            own = (TEMPER,)
        return (*first, *own)
    if leader is not None:
        return (*first, AGAIN, SCRAP)
    return (KEEP, *first, *((COLD,) if _may_gain_by_cold(case) else ()))


def _ground(case: Case) -> bool:
    """Whether a test under the skin is on record."""
    return any(h.ground_off_mm or "grinding" in h.stage for p in case.suspects_here for h in p.hardness)


def _may_gain_by_cold(case: Case) -> bool:
    """Whether a cold treatment is part of the recipe's way and nothing was lost in the temper."""
    asked = case.recipe is not None and "cold treatment" in case.recipe.order
    return asked and (case.changes.after is None or case.changes.after > -TOLD_APART_HRC)
