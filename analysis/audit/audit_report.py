"""An audit as plain data for other programs: schema ``soakwitness/audit/1``."""

from __future__ import annotations

from typing import Any

from soakwitness.analysis.audit.auditing import Audit
from soakwitness.analysis.audit.contrasts.differences import DifferenceRow
from soakwitness.analysis.audit.contrasts.weighing import Opinion
from soakwitness.firmware_bridge.common.units import Unit

SCHEMA = "soakwitness/audit/1"


def as_json(audit: Audit, unit: Unit = "C") -> dict[str, Any]:
    """Turn an audit into plain data.

    Returns causes with rank, the likeliest first; ``claimed`` those that the record carries. Differences in degC, K, s.
    """
    return {
        "schema": SCHEMA,
        "says": audit.says,
        "run": audit.run,
        "suspects": list(audit.suspects),
        "siblings": list(audit.siblings),
        "good": list(audit.good),
        "good_runs": list(audit.good_runs),
        "causes": [_cause(rank, opinion, unit) for rank, opinion in enumerate(audit.causes, start=1)],
        "differences": [_row(row, unit) for row in audit.differences],
        "what_now": [
            {"pieces": list(pieces), "step": step.says, "caution": step.caution, "basis": step.basis}
            for pieces, step in audit.now
        ],
        "next_tests": list(audit.next_tests),
        "notes": list(audit.notes),
    }


def _cause(rank: int, opinion: Opinion, unit: Unit) -> dict[str, Any]:
    return {
        "rank": rank,
        "cause": opinion.cause,
        "claimed": opinion.claimed,
        "weight": opinion.score,
        "for": [says.text(unit) for says in opinion.pro],
        "against": [says.text(unit) for says in opinion.con],
        "missing": [says.text(unit) for says in opinion.missing],
        "next": opinion.next,
        "explained_by": opinion.explained_by,
        "pieces": list(opinion.pieces),
        "explains": _explains(opinion),
    }


def _explains(opinion: Opinion) -> dict[str, Any] | None:
    """Points of hardness [HRC] that a cause can explain of those that were lost (negative: gained)."""
    found = opinion.explains
    if found is None:
        return None
    return {"least": round(found.least, 2), "most": round(found.most, 2), "of": round(found.points, 2),
            "basis": found.basis, "says": found.says}  # fmt: skip


def _row(row: DifferenceRow, unit: Unit) -> dict[str, Any]:
    return {
        "figure": row.name.text(unit),
        "kind": row.kind,
        "suspect": row.beside.value,
        "good_median": row.beside.good_median,
        "good_mad": row.beside.good_mad,
        "good_count": row.beside.good_count,
        "spreads": row.beside.spreads,
    }
