"""Several heats of one record as one verification: each step by its worst, every piece by its own heat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from soakwitness.analysis.verification.findings.view import sorted_findings
from soakwitness.analysis.verification.judging import requirements as req
from soakwitness.analysis.verification.results.verification import Finding, HoldResult, StepResult, Verification
from soakwitness.firmware_bridge.common.wording import Says, counted, joined, moment


def merged(heats: Sequence[Verification]) -> Verification:
    """Charges of several heats: the run is as good as the worst of them."""
    worst = max(heats, key=_weakness)
    steps = tuple(_step([v.steps[place] for v in heats]) for place in range(len(worst.steps)))
    findings = dict.fromkeys(f for v in heats for f in v.findings)
    cooled = [v.quench_cooling_s for v in heats if v.quench_cooling_s is not None]
    return replace(
        worst,
        steps=steps,
        findings=sorted_findings(list(findings)),
        not_seen=tuple(dict.fromkeys(says for v in heats for says in v.not_seen)),
        proves=tuple(dict.fromkeys(says for v in heats for says in v.proves)) if worst.verdict == "not proven" else (),
        as_read=req.worst(v.as_read for v in heats),
        quench_cooling_s=max(cooled, key=lambda b: b.best, default=None),
        beside_unknown=any(v.beside_unknown for v in heats),
    )


def chosen(heats: Sequence[Verification], begins_s: Sequence[float]) -> Verification:
    """Heats in which nothing was marked: a requirement once met stays met, what was too hot once stays too hot.

    Said is which of them was judged, by where each begins [s], and that nobody marked what was in it.
    """
    hot = [v for v in heats if any(h.limits_verdict == "fail" for h in v.holds)]
    ways = list(zip(heats, begins_s, strict=True))
    found, begin_s = min(
        ways,
        key=lambda one: (0 if one[0] in hot else 1, req.ORDER.index(one[0].verdict), -one[1]),
    )
    others = [at for v, at in ways if v is not found]
    says = Says.plain(
        f"The record holds {counted(len(heats), 'heat')} by this recipe and no marks of what was in them: judged is "
        f"that from {moment(begin_s)}, not that from {joined([moment(at) for at in others], ' and ')}."
    )
    finding = Finding(
        "not on record",
        "note",
        None,
        says,
        Says("Enter the loads and pulls: soakwitness mark load PIECE --at TIME; then each charge has its own heat."),
        at_s=others[0],
    )
    return replace(found, findings=sorted_findings([*found.findings, finding]))


def with_unmarked(found: Verification, begins_s: Sequence[float]) -> Verification:
    """Say which heats, by where each begins [s], were left out, because no charge was marked in them."""
    if not begins_s:
        return found
    finding = Finding(
        "not on record",
        "note",
        None,
        Says.plain(
            f"The heat from {joined([moment(at) for at in begins_s], ' and ')} by this recipe has no marks: "
            "what was in it is not judged."
        ),
        Says("Enter its loads and pulls: soakwitness mark load PIECE --at TIME."),
        at_s=begins_s[0],
    )
    return replace(found, findings=sorted_findings([*found.findings, finding]))


def _weakness(verification: Verification) -> tuple[int, bool]:
    return req.ORDER.index(verification.verdict), verification.decided_on == "reading"


def _step(many: Sequence[StepResult]) -> StepResult:
    holds = [step for step in many if isinstance(step, HoldResult)]
    if not holds:
        return max(many, key=lambda ramp: req.ORDER.index(ramp.verdict or "pass"))
    worst = max(holds, key=lambda h: (req.ORDER.index(h.verdict), -(h.soak_s.best if h.soak_s else 0.0)))
    hottest = max((h.too_hot for h in holds if h.too_hot is not None), key=lambda hot: hot.by_c, default=None)
    return replace(
        worst,
        pieces=tuple(p for h in holds for p in h.pieces),
        too_hot=hottest,
        as_read=req.worst(h.as_read for h in holds),
        at_true_temperature=req.worst(h.at_true_temperature for h in holds),
        limits_verdict=req.worst(h.limits_verdict for h in holds),
        unmet=tuple(dict.fromkeys(name for h in holds if h.verdict == worst.verdict for name in h.unmet)),
        unproven=tuple(dict.fromkeys(name for h in holds for name in h.unproven)),
        sensors=tuple(dict.fromkeys(one for h in holds for one in h.sensors)),
    )
