"""Which causes may lead: what each can explain of the loss, and whether good pieces of the same run contradict it."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from soakwitness.analysis.audit.catalogue import Cause
from soakwitness.analysis.audit.causes.in_soak import mass_of
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.dose import Explained, explained
from soakwitness.analysis.audit.contrasts.sharing import split_by
from soakwitness.analysis.audit.contrasts.stage_changes import TOLD_APART_HRC
from soakwitness.analysis.audit.contrasts.statistics import apart
from soakwitness.analysis.audit.contrasts.weighing import CLAIM, FAIR, LIGHT, Scale
from soakwitness.analysis.evidence.batch_evidence import PieceEvidence

LEADS = 0.5
"""Share of the loss that a cause must be able to explain to stand first alone."""
BESIDE, TOGETHER = 0.25, 0.7
"""Shares from which it may stand beside another one, and that the two together must reach; what explains a whole point
for sure stands beside any."""
NOT_CLAIMED = CLAIM - 0.1
LITTLE = 0.3
"""Share of its score that a cause keeps which explains nothing: it stays named, far below."""
BELOW_ROOT = 0.5
DISSOLVE_LESS = (
    "short soak", "too cold", "packet lag ate the soak", "loaded before the furnace had recovered", "program edited",
    "controller offset changed", "wrong thermocouple type", "reversed or wrong extension lead", "thermocouple drift",
    "control sensor reads wrong", "low mains voltage or aged element", "heating circuit tripped", "overloaded charge",
    "door opened", "power cut", "place in the furnace", "record gap",
)  # fmt: skip
RESIDUAL = ("tempering oven reads wrong", "cold treatment left out")


def explains(case: Case, cause: Cause, scale: Scale) -> Explained | None:
    """How much of the loss at its stage a cause can explain; None where loss or dose are not known."""
    change = case.changes.at(cause.stage)
    if scale.dose is None or change is None or not cause.shows_in_hardness:
        return None
    if cause.stage == "all" and abs(change) < case.changes.uneven:
        change = -case.changes.uneven
    if abs(change) >= TOLD_APART_HRC:
        return explained(scale.dose, change)
    # its stage left the pieces as they should be: what is lost was lost elsewhere
    whole = case.changes.largest
    if whole is None or abs(whole) < TOLD_APART_HRC:
        return explained(scale.dose, change) if change else None
    return Explained(0.0, 0.0, -whole, "hardness at that stage is as it should be")


def too_small(case: Case, cause: Cause) -> bool:
    """Whether the difference that is to be explained is one that no tester tells apart."""
    change = case.changes.largest
    small = change is not None and abs(change) < TOLD_APART_HRC and case.changes.uneven < TOLD_APART_HRC
    return small and cause.shows_in_hardness


def contradicted_by_siblings(case: Case) -> str | None:
    """Sentence on good pieces of the same run, where nothing on record says why a whole furnace spared them."""
    count = len(_clearly_better(case))
    if not count or _why_spared(case):
        return None
    return f"{count} other piece{'s' if count > 1 else ''} of the same run came out well, and nothing says why."


def _clearly_better(case: Case) -> list[PieceEvidence]:
    """Siblings that a tester tells apart from every suspect; where all lie in one row no line is drawn."""
    own = [v for p in case.suspects_here if (v := case.piece_value(p)) is not None]
    known = [(p, v) for p in case.siblings if (v := case.piece_value(p)) is not None]
    if not own:
        return list(case.siblings)
    if (case.changes.largest or 0.0) > 0:
        return [p for p, v in known if v <= min(own) - TOLD_APART_HRC]
    return [p for p, v in known if v >= max(own) + TOLD_APART_HRC]


def weigh_siblings(case: Case, cause: Cause, scale: Scale) -> None:
    """Enter what good siblings say against a cause of the whole furnace."""
    says = contradicted_by_siblings(case) if cause.whole_run else None
    if says is not None:
        scale.speaks_against(FAIR if len(_clearly_better(case)) >= 2 else LIGHT, says)


def _why_spared(case: Case) -> bool:
    """Whether thickness, soak or charge sets the suspects apart from the good ones of their run."""
    own, well = ([m for p in part if (m := mass_of(p)) is not None] for part in (case.suspects_here, case.siblings))
    if own and well and apart(own, well) > 0.9 and min(own) > 1.15 * max(well):
        return True
    shares = [
        [f.soak_share for f in map(case.figures_of, part) if f is not None and f.soak_share is not None]
        for part in (case.suspects_here, case.siblings)
    ]
    if all(shares) and apart(shares[0], shares[1]) < -0.6 and median(shares[0]) < 0.9 * median(shares[1]):
        return True
    return split_by(case, lambda p: p.charge) is not None


@dataclass
class Weighed:
    """One cause with its scale, what it can explain, and the score it stands by.

    ``alone``: strong enough, and able to explain enough; ``partly``: strong enough, but only beside another one.
    """

    cause: Cause
    scale: Scale
    explains: Explained | None
    score: float
    alone: bool = False
    partly: bool = False
    root: str | None = None


def weighed(case: Case, cause: Cause, scale: Scale) -> Weighed:
    """Weigh a cause by what the record says of it and by what it can explain."""
    weigh_siblings(case, cause, scale)
    found = explains(case, cause, scale)
    reach = 1.0 if found is None else found.reach
    strong = scale.score >= CLAIM
    spared = cause.whole_run and contradicted_by_siblings(case) is not None
    may = strong and not too_small(case, cause) and not spared
    alone = may and reach >= LEADS
    score = scale.score if alone else min(scale.score, NOT_CLAIMED) * (LITTLE + (1.0 - LITTLE) * reach)
    sure = found is not None and found.least >= TOLD_APART_HRC
    return Weighed(cause, scale, found, score, alone, may and not alone and (reach >= BESIDE or sure))


def let_little_carbon_explain(case: Case, found: list[Weighed]) -> None:
    """Steel that dissolved too little keeps less austenite, and gains less through the cold for that alone.

    Where such a cause is claimed, what was lost after the quench is a cause of its own from two points on.
    """
    after, first = case.changes.after, case.changes.as_quenched
    if after is None or first is None or first > -TOLD_APART_HRC or abs(after) >= 2.0 * TOLD_APART_HRC:
        return
    if case.changes.temper is None and any(w.alone and w.cause.name in DISSOLVE_LESS for w in found):
        for one in found:
            if one.cause.name in RESIDUAL and one.alone:
                one.alone, one.score = False, min(one.score, NOT_CLAIMED)
                one.scale.speaks_against(FAIR, "Steel that dissolved too little gains less through the cold as well.")


def let_effects_follow(found: list[Weighed]) -> None:
    """Set causes that are only the effect of a claimed one below it."""
    for one in found:
        for other in found:
            if not one.alone or other.cause.name not in one.cause.explains:
                continue
            if one.cause.name in other.cause.explains and other.scale.score > one.scale.score and other.alone:
                continue
            if other.score > one.score - BELOW_ROOT or other.root is None:
                other.root = other.root or one.cause.name
            other.score = min(other.score, one.score - BELOW_ROOT)
            other.partly = False
            other.alone = other.alone and other.score >= CLAIM


def let_partners_share(case: Case, found: list[Weighed]) -> None:
    """Claim two causes together: where neither explains the loss alone, or each what was lost at its own stage."""
    partly = sorted((w for w in found if w.partly), key=lambda w: -w.score)
    leaders = [w for w in found if w.alone and w.root is None]
    if leaders:
        _claim(partly)
        _claim_the_other_stage(case, leaders, found)
        return
    for one in partly:
        others = [w for w in partly if w is not one and not _related(one.cause, w.cause)]
        reach = [w.explains.reach for w in (one, *others[:1]) if w.explains]
        if others and sum(reach) >= TOGETHER:
            _claim([one, others[0]])
            return


def _claim(these: list[Weighed]) -> None:
    for one in these:
        one.alone, one.score = True, max(one.score, CLAIM)


def _claim_the_other_stage(case: Case, leaders: list[Weighed], found: list[Weighed]) -> None:
    """Hardness was lost before the quench was over and again after it: the leader explains one of the two only."""
    first, after = case.changes.as_quenched, case.changes.after
    if first is None or after is None or min(abs(first), abs(after)) < TOLD_APART_HRC or first * after < 0:
        return
    late = {_is_late(w.cause) for w in leaders}
    if len(late) == 1 and "all" not in {w.cause.stage for w in leaders}:
        other = [w for w in found if _is_late(w.cause) not in late and w.scale.score >= FAIR and not w.root]
        other = [w for w in other if w.explains is None or w.explains.reach >= LEADS]
        _claim(sorted((w for w in other if not w.alone), key=lambda w: -w.score)[:1])


def _is_late(cause: Cause) -> bool:
    return cause.stage in ("cold", "temper", "after")


def _related(one: Cause, other: Cause) -> bool:
    return one.name in other.explains or other.name in one.explains
