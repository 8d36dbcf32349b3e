"""Counts over runs of the foreign generator: what the verification says against the truth it was not shown."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.recipes.file import parse_recipe
from soakwitness.analysis.verification.model import Bounds, HoldResult, Verification
from soakwitness.analysis.verification.verifying import verify
from tests.campaigns.foreign_runs import ForeignRun, HoldTruth, as_run, foreign_run

NEAR_S = 120.0
NAMED = ("door", "power", "cycling", "undershoot")
Tally = dict[str, list[object]]


def foreign_tally(seeds: Iterable[int]) -> Tally:
    """Verify runs of the foreign generator; what happened, each with where it did.

    A verdict is false where it is none of those that would be right, in runs that are clear: nothing decisive is near
    its limit, for every sensor error within U. The others are counted apart.
    """
    tally: Tally = defaultdict(list)
    for seed in seeds:
        case = foreign_run(seed)
        tally["runs"].append(seed)
        try:
            found = verify(as_run(case), parse_recipe(case.recipe_toml, str(seed)))
        except NotEnoughData:
            tally["no readings"].append(seed)
            continue
        for name in _verdict(case, found):
            tally[name].append(seed)
        for hold, truth in zip(found.holds, case.truth, strict=True):
            for name in _hold(case, found, hold, truth):
                tally[name].append((seed, hold.step))
            for name in _causes(case, hold):
                tally[name].append((seed, hold.step))
    return tally


def _verdict(case: ForeignRun, found: Verification) -> Iterable[str]:
    clear = "" if case.clear else ", not clear"
    if case.clear:
        yield "clear"
    for verdict in ("pass", "fail"):
        if found.verdict == verdict and verdict not in case.expected:
            yield f"false {verdict}{clear}"
    if case.clear and found.verdict == "not proven" and "not proven" not in case.expected:
        yield "not decided though clear"


def _hold(case: ForeignRun, found: Verification, hold: HoldResult, truth: HoldTruth) -> Iterable[str]:
    yield "holds"
    if case.wrong_unit or not truth.done:
        return
    gone = any(f.code in ("hold missing", "run ended early") and f.step == hold.step for f in found.findings)
    if gone and not hold.found:
        yield "standing hold called missing"
    comparable = truth.soak_s is not None and truth.too_hot_by_c < 0 and truth.seen_whole and hold.found
    left_s, enter_s = hold.control_leave_s, truth.enter_s
    if hold.temperature_from == "load" and left_s is not None and enter_s is not None and enter_s > left_s:
        yield "load came after the chamber left"  # by definition it has no soak then; the truth counts its passing
        return
    if comparable and hold.soak_s is not None and case.expanded_u_c is not None:
        yield "soaks"
        if not _within(truth.soak_s or 0.0, hold.soak_s, case.period_s):
            yield "soak outside low..high"


def _within(soak_s: float, bounds: Bounds, sample_s: float) -> bool:
    return bounds.low - sample_s <= soak_s <= bounds.high + sample_s


def _causes(case: ForeignRun, hold: HoldResult) -> Iterable[str]:
    for dip in hold.dips:
        if dip.looks_like in NAMED:
            yield "causes named"
            near = {d.cause for d in case.dips if d.start_s - NEAR_S <= dip.end_s and d.end_s + NEAR_S >= dip.start_s}
            if dip.looks_like not in near:
                yield "cause named wrongly"
