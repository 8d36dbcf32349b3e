"""Findings on what the run or its record lacks: hold missing, run ended early, not on record, wrong unit suspected."""

from __future__ import annotations

from collections.abc import Mapping

from soakwitness.analysis.verification.findings.view import View, hold_words
from soakwitness.analysis.verification.judging.absence import Absence
from soakwitness.analysis.verification.results.verification import Finding, HoldResult, Severity
from soakwitness.firmware_bridge.common.wording import Says, duration


def find(view: View, absences: Mapping[int, Absence]) -> list[Finding]:
    """All findings of this topic, in the order of the steps; ``absences`` by step."""
    found = [_absent(hold, absences[hold.step]) for hold in view.holds if not hold.found]
    return [*found, *_cut_short(view)]


def _absent(hold: HoldResult, absence: Absence) -> Finding:
    severity: Severity = "note" if not hold.judged else "fail" if absence.shown or hold.verdict == "fail" else "warn"
    words = {"hold": hold_words(hold), "why": absence.says}
    if absence.kind == "wrong unit":
        return Finding(
            "wrong unit suspected",
            "warn",
            hold.step,
            Says.of("The {hold} is not there, but {why}: the readings look like the other unit.", **words),
            Says("Check the unit of the readings; import again with --unit F or C as it is."),
        )
    if absence.kind in ("ended", "cut"):
        what = "run" if absence.kind == "ended" else "record"
        return Finding(
            "run ended early",
            severity,
            hold.step,
            Says.of("The {what} ended before the {hold}: {why}.{hot}", what=what, hot=_hot_words(hold), **words),
            Says("Look for a power cut, an alarm or an aborted program at that time."),
            at_s=absence.at_s,
            brief=absence.says,
        )
    if absence.kind == "missing":
        return Finding(
            "hold missing",
            severity,
            hold.step,
            Says.of("The {hold} is missing: {why}.{hot}", hot=_hot_words(hold), **words),
            Says("Check the program in the controller against: soakwitness recipe program."),
            at_s=absence.at_s,
            brief=absence.says,
        )
    return Finding(
        "not on record",
        "note" if not hold.judged else "warn",
        hold.step,
        Says.of("The {hold} is not on record: {why}.", **words),
        Says("If another logger has that time, import its file: not on record is not proven, nor is it missing."),
        at_s=absence.at_s,
        brief=absence.says,
    )


def _hot_words(hold: HoldResult) -> str:
    return " The furnace stood over its limit there." if "too hot" in hold.unmet else ""


def _load_left(view: View, hold: HoldResult) -> bool:
    """Whether the load sensor that decides a hold saw it end, though the chamber was read no more."""
    load = next((load for load in view.run.loads if load.name == hold.measured_by), None)
    return load is not None and hold.leave_s is not None and hold.leave_s < load.last_s


def _cut_short(view: View) -> list[Finding]:
    """The record ends inside a hold; a sensor that stopped reading while it went on is a finding of its own."""
    run = view.run
    if run.went_on:
        return []
    for hold, placed in zip(view.holds, run.chamber.placed, strict=True):
        if placed and placed.edges and not placed.edges.left and hold.soak_s and not _load_left(view, hold):
            if hold.all_out or any(later.found for later in view.holds[view.holds.index(hold) + 1 :]):
                return []
            met = hold.soak_s.best >= hold.required_s
            return [
                Finding(
                    "run ended early",
                    "warn" if hold.judged and not met else "note",
                    hold.step,
                    Says.of(
                        "The record ends inside the {hold}, after {had} of {asked} soak{met}.",
                        hold=hold_words(hold),
                        had=duration(hold.soak_s.best),
                        asked=duration(hold.required_s),
                        met=": the time is met, the take-out is not on record" if met else "",
                    ),
                    Says("Enter the pull: soakwitness mark pull --at TIME; or record until the furnace has cooled."),
                    at_s=run.end_s,
                )
            ]
    return []
