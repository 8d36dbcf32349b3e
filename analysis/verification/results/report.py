"""A verification as plain data for other programs: schema ``soakwitness/verify/1``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from soakwitness.analysis.rules import RULES_VERSION
from soakwitness.analysis.verification.results.known_error import KnownError, KnownPlace
from soakwitness.analysis.verification.results.verification import (
    RULE_REFERENCES,
    Bounds,
    Dip,
    Finding,
    HoldResult,
    InBand,
    PieceResult,
    RampResult,
    RunComparison,
    TooHot,
    Verification,
)
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import Says

SCHEMA = "soakwitness/verify/1"


def as_json(verification: Verification, unit: Unit = "C") -> dict[str, Any]:
    """Turn a verification into plain data.

    Parameters
    ----------
    verification : Verification
        What ``verify`` found; times [s], temperatures [degC].
    unit : str
        ``C`` or ``F``, of the sentences; every number stays in degC and kelvin.

    Returns
    -------
    dict
        Every key of the schema, None where a figure is not known; more keys beside them.
    """
    v = verification
    return {
        "schema": SCHEMA,
        "run": v.run,
        "recipe": v.recipe,
        "verdict": v.verdict,
        "in_short": {
            "says": v.in_short.says.text(unit),
            "next": None if v.in_short.next is None else v.in_short.next.text(unit),
            "not_known": [says.text(unit) for says in v.in_short.not_known],
        },
        "decided_on": v.decided_on,
        "temperature_from": v.temperature_from,
        "steps": [_ramp(s) if isinstance(s, RampResult) else _hold(s, unit) for s in v.steps],
        "findings": [_finding(f, unit) for f in v.findings],
        "record": {
            "rows": v.record.rows,
            "bad_rows": v.record.bad_rows,
            "gaps_s": v.record.gaps_s,
            "sealed": v.record.sealed,
            "intact": v.record.intact,
        },
        "as_read": v.as_read,
        "by_estimate": v.by_estimate,
        "sensor": v.sensor,
        "sensor_error": {
            "source": v.known.source,
            "says": v.known.says.text(unit),
            "expanded_c": {str(h.step): h.known.expanded_c for h in v.holds},
        },
        "decision_rule": {"says": v.rule, "references": list(RULE_REFERENCES)},
        "rules": RULES_VERSION,
        "would_prove": [says.text(unit) for says in v.proves],
        "not_seen": [says.text(unit) for says in v.not_seen],
        "quench_cooling_s": _bounds(v.quench_cooling_s),
        "compared": [_comparison(c, unit) for c in v.compared],
    }


def _known(known: KnownError, unit: Unit) -> dict[str, Any]:
    lapsed = known.lapsed
    found = {
        "source": known.source,
        "says": known.says.text(unit),
        "correction_c": known.correction_c,
        "expanded_c": known.expanded_c,
        "lapsed": None if lapsed is None else {"correction_c": lapsed.correction_c, "expanded_c": lapsed.expanded_c},
    }
    return found if known.place is None else found | {"place": _place(known.place, unit)}


def _place(place: KnownPlace, unit: Unit) -> dict[str, Any]:
    return {
        "difference_c": place.difference_c,
        "expanded_c": place.expanded_c,
        "holds_error": place.holds_error,
        "says": place.says.text(unit),
    }


def _too_hot(hot: TooHot | None) -> dict[str, float] | None:
    if hot is None:
        return None
    return {
        "by_c": hot.by_c,
        "limit_c": hot.limit_c,
        "reached_c": hot.reached_c,
        "at_s": hot.at_s,
        "over_s": hot.over_s,
    }


def _bounds(bounds: Bounds | None) -> dict[str, float | None] | None:
    """A figure with its bounds; the upper one is None where nobody knows how long a gap was."""
    if bounds is None:
        return None
    return {"low": bounds.low, "best": bounds.best, "high": None if bounds.endless else bounds.high}


def _in_band(figures: InBand | None) -> dict[str, Any]:
    if figures is None:
        return {"continuous": None, "cumulative": None, "above_lower_edge": None}
    return {
        "continuous": _bounds(figures.continuous),
        "cumulative": _bounds(figures.cumulative),
        "above_lower_edge": _bounds(figures.above_lower_edge),
    }


def _ramp(ramp: RampResult) -> dict[str, Any]:
    return {
        "step": ramp.step,
        "kind": "ramp",
        "to_c": ramp.to_c,
        "found": ramp.found,
        "start_s": ramp.start_s,
        "end_s": ramp.end_s,
        "rate_c_per_h": ramp.rate_c_per_h,
        "end_to_end_rate_c_per_h": ramp.end_to_end_rate_c_per_h,
        "required_rate_c_per_h": ramp.required_rate_c_per_h,
        "curved": ramp.curved,
        "verdict": ramp.verdict,
        "cycle": ramp.cycle,
    }


def _hold(hold: HoldResult, unit: Unit) -> dict[str, Any]:
    stands = hold.error_it_stands_c
    return {
        "step": hold.step,
        "kind": "hold",
        "target_c": hold.target_c,
        "band_c": list(hold.band_c),
        "found": hold.found,
        "on_record": hold.on_record,
        "required_s": hold.required_s,
        "at_most_s": hold.at_most_s,
        "judged": hold.judged,
        "enter_s": hold.enter_s,
        "leave_s": hold.leave_s,
        "control_enter_s": hold.control_enter_s,
        "control_leave_s": hold.control_leave_s,
        "in_band_s": _in_band(hold.in_band_s),
        "soak_s": _bounds(hold.soak_s),
        "overshoot_c": hold.overshoot_c,
        "overshoot_is_at_least": hold.overshoot_is_at_least,
        "max_overshoot_c": hold.max_overshoot_c,
        "above_band_s": hold.above_band_s,
        "level_c": hold.level_c,
        "lag_s": _bounds(hold.lag_s),
        "never_reached": hold.never_reached,
        "noise_c": hold.noise_c,
        "as_read": hold.as_read,
        "at_true_temperature": hold.at_true_temperature,
        "error_it_stands_c": None if stands is None else list(stands),
        "verdict": hold.verdict,
        "decided_on": hold.known.basis,
        "sensor_error": _known(hold.known, unit),
        "too_hot": _too_hot(hold.too_hot),
        "measured_by": hold.measured_by,
        "temperature_from": hold.temperature_from,
        "dips": [_dip(d) for d in hold.dips],
        "pieces": [_piece(p) for p in hold.pieces],
        "would_prove": [says.text(unit) for says in hold.proves],
        "cycle": hold.cycle,
    }


def _dip(dip: Dip) -> dict[str, Any]:
    return {
        "start_s": dip.start_s,
        "end_s": dip.end_s,
        "lowest_c": dip.lowest_c,
        "effect": dip.effect,
        "looks_like": dip.looks_like,
    }


def _piece(piece: PieceResult) -> dict[str, Any]:
    return {
        "piece": piece.piece,
        "charge": piece.charge,
        "soak_s": _bounds(piece.soak_s),
        "longest_s": _bounds(piece.longest_s),
        "lag_s": _bounds(piece.lag_s),
        "load_s": piece.load_s,
        "pull_s": piece.pull_s,
        "plates_s": piece.plates_s,
        "quench_delay_s": piece.quench_delay_s,
        "pull_c": piece.pull_c,
        "as_read": piece.as_read,
        "at_true_temperature": piece.at_true_temperature,
        "verdict": piece.verdict,
        **({"inferred_within_s": dict(piece.bounds)} if piece.bounds else {}),
    }


def _finding(finding: Finding, unit: Unit) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity,
        "step": finding.step,
        "says": finding.says.text(unit),
        "next": finding.next.text(unit),
        "at_s": finding.at_s,
        "until_s": finding.until_s,
        "pieces": list(finding.pieces),
    }


def findings_from(answer: Mapping[str, Any]) -> tuple[Finding, ...]:
    """Findings of plain data that ``as_json`` made, their sentences in the unit they were written in."""
    return tuple(
        Finding(
            f["code"],
            f["severity"],
            f["step"],
            Says.plain(f["says"]),
            Says.plain(f["next"]),
            f["at_s"],
            f["until_s"],
            tuple(f["pieces"]),
        )
        for f in answer.get("findings", ())
    )


def _comparison(comparison: RunComparison, unit: Unit) -> dict[str, Any]:
    return {"run": comparison.run, "same": comparison.same, "says": [says.text(unit) for says in comparison.says]}
