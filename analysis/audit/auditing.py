"""The audit: weighs every cause, ranks them, and claims none that the record does not carry."""

from __future__ import annotations

from dataclasses import dataclass

from soakwitness.analysis.audit.catalogue import CAUSES, NOTHING, NOTHING_NEXT, Cause
from soakwitness.analysis.audit.causes.in_piece import within_repeatability
from soakwitness.analysis.audit.causes.in_sensor import lone_sensor_note
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.differences import DifferenceRow, differences_table
from soakwitness.analysis.audit.contrasts.weighing import CLAIM, FAIR, Opinion, Scale
from soakwitness.analysis.evidence.batch_evidence import Evidence
from soakwitness.firmware_bridge.common.wording import Says, counted

BELOW_ROOT = 0.5


@dataclass(frozen=True)
class Audit:
    """What an audit found: causes, the likeliest first; ``claimed`` ones are carried by the record.

    ``notes`` say what the record cannot show; ``differences`` is the table of figures beside the good ones'.
    """

    run: str | None
    suspects: tuple[str, ...]
    siblings: tuple[str, ...]
    good: tuple[str, ...]
    good_runs: tuple[str, ...]
    causes: tuple[Opinion, ...]
    differences: tuple[DifferenceRow, ...]
    notes: tuple[str, ...]
    says: str

    @property
    def claimed(self) -> tuple[Opinion, ...]:
        """Causes that are claimed."""
        return tuple(c for c in self.causes if c.claimed)


def audit(evidence: Evidence) -> Audit:
    """Look for what the suspects had that the good ones had not.

    Each cause collects weighted sentences for and against it; from a sum of 2.5 on it is claimed. A cause that is the
    effect of a claimed one (a short soak after a power cut) stands below it. Where nothing is claimed, "the record
    shows nothing" stands first and the rest is named as possible only.

    Returns causes ranked, the table of differences, and what the record cannot show.
    """
    case = Case(evidence)
    weighed = [(cause, scale) for cause in CAUSES if (scale := cause.weigh(case)) is not None and scale.pro]
    for cause, scale in weighed:
        if cause.shows_in_hardness:
            _hardness_is_good(case, scale)
    opinions = _ranked(weighed)
    claimed = [o for o in opinions if o.claimed]
    odd = any(sum(s.weight for s in scale.pro) >= FAIR for _, scale in weighed)
    nothing = Opinion(
        NOTHING, CLAIM, False, (Says.plain(_why_nothing(case, bool(claimed), odd)),), (), (), NOTHING_NEXT
    )
    causes = [*opinions, nothing] if claimed else [nothing, *opinions]
    return Audit(
        run=case.run.run if case.run else None,
        suspects=tuple(p.id for p in evidence.suspects),
        siblings=tuple(p.id for p in case.siblings),
        good=tuple(p.id for p in evidence.good),
        good_runs=tuple(r.run for r in case.good),
        causes=tuple(causes),
        differences=differences_table(case),
        notes=tuple(_notes(case)),
        says=_says(case, claimed),
    )


def _hardness_is_good(case: Case, scale: Scale) -> None:
    """Where there is nothing to explain, nothing is a cause."""
    if case.nothing_wrong:
        scale.speaks_against(FAIR, "The pieces are as hard as they should be: there is nothing to explain.")
    elif within_repeatability(case) and not {"low", "high"} & {case.softness, case.as_quenched.direction}:
        scale.speaks_against(FAIR, "Suspects and good ones differ by less than the tester can repeat.")


def _ranked(weighed: list[tuple[Cause, Scale]]) -> list[Opinion]:
    scores = {cause.name: scale.score for cause, scale in weighed}
    roots: dict[str, str] = {}
    for cause, scale in weighed:
        if scale.score < CLAIM:
            continue
        for effect in cause.explains:
            mutual = any(c.name == effect and cause.name in c.explains and s.score > scale.score for c, s in weighed)
            if effect in scores and not mutual:
                ceiling = scale.score - BELOW_ROOT
                if scores[effect] > ceiling or effect not in roots:
                    roots.setdefault(effect, cause.name)
                scores[effect] = min(scores[effect], ceiling)
    opinions = [_opinion(cause, scale, scores[cause.name], roots.get(cause.name)) for cause, scale in weighed]
    return sorted(opinions, key=lambda o: -o.score)


def _opinion(cause: Cause, scale: Scale, score: float, root: str | None) -> Opinion:
    return Opinion(
        cause=cause.name,
        score=round(score, 2),
        claimed=score >= CLAIM,
        pro=tuple(s.says for s in sorted(scale.pro, key=lambda s: -s.weight)),
        con=tuple(s.says for s in sorted(scale.con, key=lambda s: -s.weight)),
        missing=tuple(scale.missing),
        next=cause.next,
        explained_by=root,
    )


def _why_nothing(case: Case, claimed: bool, odd: bool) -> str:
    if claimed:
        return "Only if the causes above turn out not to be true."
    if case.nothing_wrong:
        besides = "what is out of the ordinary on record is named below" if odd else "nothing on record is unusual"
        return f"The pieces are as hard as they should be; {besides}."
    if case.run is None:
        return "No run of these pieces is on record."
    count = len(case.good)
    beside = f"beside {counted(count, 'good run')}" if count else "and no good run is there to compare"
    sure = (
        "Nothing on record is strong enough to be called the cause" if odd else "Nothing on record sets this run apart"
    )
    return f"{sure}, {beside}."


def _notes(case: Case) -> list[str]:
    notes = []
    if case.evidence.chosen:
        notes.append(case.evidence.chosen)
    lone = lone_sensor_note(case)
    if lone:
        notes.append(lone)
    elsewhere = {p.harden for p in case.evidence.suspects if p.harden} - {case.run.run if case.run else None}
    if elsewhere:
        notes.append(f"Suspects come from several runs; this looks at {case.run.run if case.run else 'none'}.")
    if case.as_quenched.suspect is None and case.final.suspect is not None:
        notes.append("Hardness as quenched was not measured: hardening and tempering cannot be told apart by hardness.")
    return notes


def _says(case: Case, claimed: list[Opinion]) -> str:
    if claimed:
        others = f" (then {', '.join(o.cause for o in claimed[1:3])})" if len(claimed) > 1 else ""
        return f"Most likely: {claimed[0].cause}{others}."
    return "The pieces are as they should be." if case.nothing_wrong else "The record shows nothing."
