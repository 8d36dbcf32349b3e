"""Counts over random runs: what the verification says of a soak against the truth."""

from __future__ import annotations

from collections.abc import Iterable

from soakwitness.analysis.verification.results.verification import HoldResult
from soakwitness.analysis.verification.verifying import verify
from tests.synthetic import Case, HoldTruth, soak_case
from tests.verification_runs import run_of

DECISIVE = 0.12
NAMES = (
    "holds",
    "missed",
    "truth outside",
    "false pass",
    "false fail",
    "not proven",
    "undecided beyond 12 %",
    "best off",
)


def soak_tally(seeds: Iterable[int], *, wire: str | None = None) -> dict[str, int]:
    """Verify random runs and count what went wrong.

    With ``wire`` only a tolerance class is known: the verdict is the one as read, and the truth is what a perfect
    reading of the same sensor would show, its constant error included.
    """
    tally = dict.fromkeys(NAMES, 0)
    for seed in seeds:
        case = soak_case(seed, error=wire is None)
        found = verify(run_of(case, wire=wire), case.recipe)
        for hold, truth in zip(found.holds, case.truth, strict=True):
            tally["holds"] += 1
            for name in _wrong(case, hold, truth):
                tally[name] += 1
    return tally


def _wrong(case: Case, hold: HoldResult, truth: HoldTruth | None) -> list[str]:
    if truth is None or hold.soak_s is None:
        return ["missed"]
    names = []
    soak, margin = hold.soak_s, truth.soak_s / hold.required_s - 1
    if not soak.low <= truth.soak_s <= soak.high:
        names.append("truth outside")
    if hold.verdict == "pass" and margin < 0:
        names.append("false pass")
    if hold.verdict == "fail" and margin >= 0:
        names.append("false fail")
    if hold.verdict == "not proven":
        names.append("not proven")
        if abs(margin) > DECISIVE:
            names.append("undecided beyond 12 %")
    if case.error_c == 0 and abs(soak.best - truth.soak_s) > case.period_s + _noise_s(case):
        names.append("best off")
    return names


def _noise_s(case: Case) -> float:
    """What noise and rounding can do to two edges that are crossed at the slowest rate of the run [s]."""
    return 2 * (2 * case.noise_c + case.resolution_c / 2) / max(case.rate_c_per_s, 1e-3)
