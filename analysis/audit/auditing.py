"""The audit: weighs every cause, ranks them, and claims none that the record does not carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

from soakwitness.analysis.audit.catalogue import CAUSES, NOTHING
from soakwitness.analysis.audit.causes.in_piece import within_repeatability
from soakwitness.analysis.audit.causes.in_sensor import lone_sensor_note
from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.differences import DifferenceRow, differences_table
from soakwitness.analysis.audit.contrasts.stage_changes import TOLD_APART_HRC
from soakwitness.analysis.audit.contrasts.weighing import CLAIM, FAIR, LIGHT, Opinion, Scale
from soakwitness.analysis.audit.grouping import groups_of
from soakwitness.analysis.audit.leading import (
    LEADS,
    Weighed,
    let_effects_follow,
    let_little_carbon_explain,
    let_partners_share,
    weighed,
)
from soakwitness.analysis.audit.next_tests import next_tests, tests_for
from soakwitness.analysis.audit.what_now import NowStep, what_now
from soakwitness.analysis.evidence.batch_evidence import Evidence, PieceEvidence
from soakwitness.firmware_bridge.common.wording import Says, counted

REACH_WEIGHT = 1.0
ODD = 0.8


@dataclass(frozen=True)
class Audit:
    """What an audit found: causes, the likeliest first; ``claimed`` ones are carried by the record.

    ``notes`` say what the record cannot show; ``differences`` is the table of figures beside the good ones'. ``now``:
    what to do with which pieces, in order; ``next_tests``: the tests a smith would do first.
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
    now: tuple[tuple[tuple[str, ...], NowStep], ...] = ()
    next_tests: tuple[str, ...] = ()

    @property
    def claimed(self) -> tuple[Opinion, ...]:
        """Causes that are claimed."""
        return tuple(c for c in self.causes if c.claimed)


def audit(evidence: Evidence) -> Audit:
    """Look for what the suspects had that the good ones had not.

    Each cause collects weighted sentences for and against it, and says how much hardness it can have cost. It is
    claimed from a sum of 2.5 on, if it can explain half of the loss or, with another one, most of it. A cause that is
    the effect of a claimed one (a short soak after a power cut) stands below it. Where nothing is claimed, "the record
    shows nothing" stands first and the rest is named as possible only. Suspects that were lost at different stages are
    looked at apart.

    Returns causes ranked, the table of differences, and what the record cannot show.
    """
    groups = groups_of(evidence)
    found = [_look(part, everyone) for part, everyone in groups]
    return found[0] if len(found) == 1 else _merged(evidence, found)


def _look(evidence: Evidence, everyone: tuple[PieceEvidence, ...]) -> Audit:
    """Audit suspects of one run that have the same to explain."""
    case = Case(evidence, everyone)
    scales = [(cause, scale) for cause in CAUSES if (scale := cause.weigh(case)) is not None and scale.pro]
    for cause, scale in scales:
        if cause.shows_in_hardness:
            _hardness_is_good(case, scale)
    found = [weighed(case, cause, scale) for cause, scale in scales]
    let_little_carbon_explain(case, found)
    let_effects_follow(found)
    let_partners_share(case, found)
    opinions = [_opinion(case, one) for one in sorted(found, key=_order)]
    claimed = [o for o in opinions if o.claimed]
    rows = differences_table(case)
    odd = _out_of_the_ordinary(case, rows, opinions)
    why = Says.plain(_why_nothing(case, bool(claimed), odd))
    test = "None is needed." if case.nothing_wrong else tests_for(case, NOTHING)[0]
    nothing = Opinion(NOTHING, CLAIM, False, (why,), (), (), test)
    causes = [*opinions, nothing] if claimed else [nothing, *opinions]
    return Audit(
        run=case.run.run if case.run else None,
        suspects=tuple(p.id for p in evidence.suspects),
        siblings=tuple(p.id for p in case.siblings),
        good=tuple(p.id for p in evidence.good),
        good_runs=tuple(r.run for r in case.good),
        causes=tuple(causes),
        differences=rows,
        notes=tuple(_notes(case)),
        says=_says(case, opinions, odd),
        now=tuple((tuple(p.id for p in case.suspects_here), step) for step in _steps(case, claimed)),
        next_tests=_tests(case, claimed),
    )


def _steps(case: Case, claimed: list[Opinion]) -> tuple[NowStep, ...]:
    return what_now(case, claimed[0].cause if claimed else None) if case.suspects_here else ()


def _tests(case: Case, claimed: list[Opinion]) -> tuple[str, ...]:
    """No test where there is nothing to explain."""
    return () if case.nothing_wrong and not claimed else next_tests(case, [o.cause for o in claimed])


def _order(one: Weighed) -> tuple[bool, bool, float]:
    """Claimed ones first, roots before their effects; then by what speaks for it and how much it explains."""
    reach = one.explains.reach if one.explains else 1.0
    return not one.alone, one.alone and one.root is not None, -(one.score + REACH_WEIGHT * reach * one.alone)


def _merged(evidence: Evidence, found: list[Audit]) -> Audit:
    """One answer out of several groups of suspects; a cause of some of them says of which."""
    best: dict[str, Opinion] = {}
    for one in found:
        for opinion in one.causes:
            own = replace(opinion, pieces=one.suspects if opinion.claimed else ())
            known = best.get(opinion.cause)
            if known is None:
                best[opinion.cause] = own
            elif own.claimed and known.claimed:
                first = own if own.score > known.score else known
                best[opinion.cause] = replace(first, pieces=(*known.pieces, *own.pieces))
            elif (own.claimed, own.score) > (known.claimed, known.score):
                best[opinion.cause] = own
    everyone = {p.id for p in evidence.suspects}
    opinions = [replace(o, pieces=() if set(o.pieces) == everyone else o.pieces) for o in best.values()]
    leaders = [c.cause for one in found for c in one.causes[:1] if c.claimed]
    opinions.sort(key=lambda o: (not o.claimed, o.cause not in leaders, o.explained_by is not None, -o.score))
    claimed = [o for o in opinions if o.claimed]
    nothing = best[NOTHING]
    rest = [o for o in opinions if o.cause != NOTHING]
    largest = max(found, key=lambda one: len(one.suspects))
    return replace(
        largest,
        suspects=tuple(p.id for p in evidence.suspects),
        siblings=tuple(dict.fromkeys(s for one in found for s in one.siblings)),
        causes=tuple([*rest, nothing] if claimed else [nothing, *rest]),
        notes=tuple(dict.fromkeys((_SPLIT, *(n for one in found for n in one.notes)))),
        says=_says_of_groups(found),
        now=tuple(n for one in found for n in one.now),
        next_tests=tuple(dict.fromkeys(t for tests in zip_longest(*(o.next_tests for o in found)) for t in tests if t))[
            :4
        ],
    )


_SPLIT = "The suspects have different things to explain and were looked at apart."


def _says_of_groups(found: list[Audit]) -> str:
    says = []
    for one in found:
        leader = one.causes[0]
        says.append(f"{leader.cause if leader.claimed else 'nothing on record'} ({_names(one.suspects)})")
    if len({s.split(" (")[0] for s in says}) == 1:
        return found[0].says
    return f"Most likely two things: {'; '.join(says)}." if len(says) == 2 else f"Most likely: {'; '.join(says)}."


def _names(pieces: tuple[str, ...]) -> str:
    return ", ".join(pieces) if len(pieces) <= 3 else f"{pieces[0]}, {pieces[1]} and {len(pieces) - 2} more"


def _hardness_is_good(case: Case, scale: Scale) -> None:
    """Where there is nothing to explain, nothing is a cause."""
    if case.nothing_wrong:
        scale.speaks_against(FAIR, "The pieces are as hard as they should be: there is nothing to explain.")
    elif within_repeatability(case) and not {"low", "high"} & {case.softness, case.as_quenched.direction}:
        scale.speaks_against(FAIR, "Suspects and good ones differ by less than the tester can repeat.")


def _opinion(case: Case, one: Weighed) -> Opinion:
    scale = one.scale
    return Opinion(
        cause=one.cause.name,
        score=round(one.score, 2),
        claimed=one.alone,
        pro=tuple(s.says for s in sorted(scale.pro, key=lambda s: -s.weight)),
        con=tuple(s.says for s in sorted(scale.con, key=lambda s: -s.weight)),
        missing=tuple(scale.missing),
        next=tests_for(case, one.cause.name)[0],
        explained_by=one.root,
        explains=one.explains,
    )


def _out_of_the_ordinary(case: Case, rows: Sequence[DifferenceRow], opinions: list[Opinion]) -> list[str]:
    """What is odd on record, claimed or not: causes named, findings that the good runs have not, figures apart."""
    odd = [o.cause for o in opinions if o.score >= ODD]
    findings = case.run.findings if case.run else ()
    odd += [f.code for f in findings if f.severity == "fail" and case.good_share_with(f.code) <= 0.5]
    odd += [row.name.text("C") for row in rows if row.stands_out]
    return list(dict.fromkeys(odd))


def _why_nothing(case: Case, claimed: bool, odd: list[str]) -> str:
    if claimed:
        return "Only if the causes above turn out not to be true."
    if case.nothing_wrong:
        besides = "what is out of the ordinary on record is named below" if odd else "nothing on record is unusual"
        return f"The pieces are as hard as they should be; {besides}."
    if case.run is None:
        return "No run of these pieces is on record."
    count = len(case.good)
    beside = f"beside {counted(count, 'good run')}" if count else "and no good run is there to compare"
    if not odd:
        return f"Nothing on record sets this run apart, {beside}."
    more = f" and {len(odd) - 3} more" if len(odd) > 3 else ""
    named = f"out of the ordinary: {', '.join(odd[:3])}{more}"
    return f"Nothing on record is enough to be called the cause, {beside}; {named}."


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


def _says(case: Case, opinions: list[Opinion], odd: list[str]) -> str:
    claimed = [o for o in opinions if o.claimed]
    if claimed and case.changes.largest is None:
        others = _then([o for o in claimed[1:] if o.explained_by is None])
        return f"What stands out: {claimed[0].cause}{others}; no hardness is on record that it could explain."
    if claimed:
        return _most_likely(claimed)
    if case.nothing_wrong:
        return "The pieces are as they should be."
    lost = case.changes.largest
    partly = [o for o in opinions if o.explains is not None and o.explains.most >= 0.05 and o.pro]
    first = next(iter(sorted(partly, key=lambda o: o.score < LIGHT)), None)
    if lost is None or abs(lost) < TOLD_APART_HRC or first is None:
        return "The record shows nothing that explains it." if odd else "The record shows nothing."
    return f"The record shows nothing that explains it: {first.cause} {first.explains.says if first.explains else ''}."


def _most_likely(claimed: list[Opinion]) -> str:
    first = claimed[0]
    second = next((o for o in claimed[1:] if o.explained_by is None), None)
    little = first.explains is not None and first.explains.reach < LEADS
    if second is not None and little:
        return f"Most likely: {first.cause} and {second.cause} together."
    return f"Most likely: {first.cause}{_then([o for o in claimed[1:] if o.explained_by is None])}."


def _then(others: list[Opinion]) -> str:
    """Further causes by name; what is only an effect of the first is left to the list."""
    return f" (then {', '.join(o.cause for o in others[:2])})" if others else ""
