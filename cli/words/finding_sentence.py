"""What an audit found, as the one sentence that stands above its picture."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING

from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.audit.auditing import Audit
    from soakwitness.analysis.evidence.batch_evidence import Evidence

LEAST_HRC = 0.5


def finding_sentences(audit: Audit, evidence: Evidence, unit: Unit) -> tuple[str, str]:
    """Who came out how and why; and the strongest sentence that speaks for it, empty where nothing is claimed."""
    first = audit.causes[0] if audit.causes else None
    why = first.pro[0].text(unit) if first is not None and first.claimed and first.pro else ""
    return f"{_beside(audit, evidence)} {audit.says}".strip(), why


def _beside(audit: Audit, evidence: Evidence) -> str:
    from soakwitness.analysis.evidence.hardness_at_stages import Stage, stage_value

    stages: tuple[Stage, Stage] = ("final", "as quenched")
    for stage in stages:
        bad = [v for p in evidence.suspects if (v := stage_value(p, stage)) is not None]
        good = [v for p in (*evidence.good, *evidence.siblings) if (v := stage_value(p, stage)) is not None]
        if bad and good and abs(off := median(bad) - median(good)) >= LEAST_HRC:
            verb = "are" if len(audit.suspects) > 1 else "is"
            how = "softer" if off < 0 else "harder"
            return f"{_names(audit.suspects)} {verb} {abs(off):.1f} HRC {how} {stage_words(stage)} than good ones."
    return f"{_names(audit.suspects)}:" if audit.suspects else ""


def stage_words(stage: str) -> str:
    """A stage of hardness in a sentence."""
    return "in the end" if stage == "final" else stage


def _names(pieces: tuple[str, ...]) -> str:
    if len(pieces) <= 2:
        return " and ".join(pieces)
    return f"{pieces[0]} to {pieces[-1]} ({len(pieces)})"
