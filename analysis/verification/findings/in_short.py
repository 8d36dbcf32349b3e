"""A whole verification in one sentence, with the next act and what stays unknown: what a person reads first.

It judges nothing: it chooses among what was found and says it briefly.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from soakwitness.analysis.metallurgy.equivalents import TEMPER_BELOW_C
from soakwitness.analysis.verification.findings.reasons import CHECK_IT, Reason, failed_hold, open_hold, passed
from soakwitness.analysis.verification.findings.view import hold_words
from soakwitness.analysis.verification.results.verification import (
    Finding,
    HoldResult,
    InShort,
    RampResult,
    Verification,
)
from soakwitness.firmware_bridge.common.wording import Says

RAMP_HEADS = {"slow ramp": "Too slow", "fast ramp": "Too fast"}
OWN_HEADS = {
    "late quench": "Late to the quench",
    "slow cooling": "Cooled too slowly",
    "tempered before it was cool": "Tempered too soon",
}
WORTH_SAYING = ("run ended early", "calibration overdue", "loaded before recovery", "sensor fault", "sensors differ")
MOST_LETTERS = 200
TEST_HARDNESS = Says("Test the hardness of these pieces before they go on.")
HOT_ACTS = {
    True: Says("It may have softened: test the hardness before it goes on."),
    False: Says("Expect more retained austenite: test hardness before and after the cold treatment."),
}


def in_short(found: Verification) -> InShort:
    """The sentence, the next act and what is not known."""
    told, act = {"pass": _pass, "fail": _fail, "not proven": _not_proven}[found.verdict](found)
    return InShort(says=told.says, next=act, not_known=_not_known(found), shows_cause=told.shows_cause)


def _pass(found: Verification) -> tuple[Reason, Says | None]:
    holds = [h for h in found.holds if h.judged]
    first = "Pass, by estimate." if found.by_estimate else "Pass."
    says = Says.of("{first} {what}", first=first, what=passed(found, holds)) if holds else Says(first)
    worth = [f for f in found.findings if f.code in WORTH_SAYING]
    if not worth and _of(found.findings, "no calibration"):
        return Reason(says), CHECK_IT
    return Reason(says), worth[0].next if worth else None


def _fail(found: Verification) -> tuple[Reason, Says | None]:
    holds = [h for h in found.holds if h.judged and h.verdict == "fail"]
    holds = holds or [h for h in found.holds if not h.judged and h.limits_verdict == "fail"]
    if holds:
        # The hottest hold makes the blade; of two at one temperature the first.
        hold = max(holds, key=lambda h: h.target_c)
        of_it = [f for f in found.findings if f.step == hold.step]
        told = failed_hold(found, hold, of_it)
        return replace(told, says=_with_another(found, hold, told.says)), _act(hold, told.says, told.leads)
    ramps = [s for s in found.steps if isinstance(s, RampResult) and s.verdict == "fail"]
    for finding in found.findings:
        if ramps and finding.step == ramps[0].step and finding.code in RAMP_HEADS:
            says = Says.of("{head}: {says}.", head=RAMP_HEADS[finding.code], says=finding.brief or finding.says)
            return Reason(says, finding, _shows_pace_cause(finding)), finding.next
    for finding in found.findings:
        if finding.severity == "fail":
            says = Says.of(
                "{head}: {says}.", head=OWN_HEADS.get(finding.code, "Fail"), says=finding.brief or finding.says
            )
            return Reason(says, finding, finding.code != "slow cooling"), finding.next
    return Reason(Says("Fail.")), None


def _shows_pace_cause(finding: Finding) -> bool:
    """Whether a ramp's finding says what its pace came from: the output, or the setpoint."""
    return bool(finding.brief is not None and dict(finding.brief.values).get("cause"))


def _with_another(found: Verification, hold: HoldResult, says: Says) -> Says:
    """A sentence with the next thing that failed beside this hold, where there is room for it."""
    others: list[Says] = [
        Says.of("the {hold} {what}", hold=hold_words(h), what="failed" if h.found else "is missing")
        for h in found.holds
        if h is not hold and h.judged and h.verdict == "fail"
    ]
    failed = [f for f in found.findings if f.severity == "fail" and f.code in OWN_HEADS]
    others += [f.brief for f in failed if f.brief is not None]
    if not others:
        return says
    more = f", and {len(others) - 1} more" if len(others) > 1 else ""
    both = Says.of("{says} Also: {other}{more}.", says=says, other=others[0], more=more)
    return both if len(both.text("F")) <= MOST_LETTERS else says


def _act(hold: HoldResult, says: Says, leads: Finding | None) -> Says:
    """What to do about a hold that failed: about heat what it did to the steel, else what its finding advises."""
    if says.template.startswith("Too hot"):
        return HOT_ACTS[hold.target_c < TEMPER_BELOW_C]
    return leads.next if leads is not None else TEST_HARDNESS


def _not_proven(found: Verification) -> tuple[Reason, Says | None]:
    holds = [h for h in found.holds if h.judged and h.verdict == "not proven"]
    if holds:
        hold = max(holds, key=lambda h: (h.found, h.target_c))
        return open_hold(found, hold, [f for f in found.findings if f.step in (hold.step, None)])
    first = found.proves[0] if found.proves else Says("nothing in this recipe is judged.")
    return Reason(Says.of("Not proven. What would prove it: {what}", what=first)), None


def _not_known(found: Verification) -> tuple[Says, ...]:
    """What the verdict rests on without knowing it, in few words each."""
    says: list[Says] = []
    holds = {h.step for h in found.holds if not h.found}
    if found.decided_on == "reading":
        says.append(
            Says("how true the sensor reads" if found.temperature_from == "control" else "how true the sensors read")
        )
    if {h.temperature_from for h in found.holds if h.judged} == {"control"}:
        says.append(Says("the steel's own temperature"))
    if found.beside_unknown:
        says.append(Says("what stood beside each packet"))
    if not found.record.sealed:
        says.append(Says("whether the record is whole (it is not sealed)"))
    says += [f.brief for f in _of(found.findings, "not on record") if f.brief is not None and f.step not in holds]
    return tuple(dict.fromkeys(says))


def _of(findings: Iterable[Finding], code: str) -> list[Finding]:
    return [f for f in findings if f.code == code]
