"""Suspects that have different things to explain are looked at apart: by run, by tempers, by where they lost."""

from __future__ import annotations

from dataclasses import replace
from statistics import median

from soakwitness.analysis.audit.contrasts.stage_changes import TOLD_APART_HRC
from soakwitness.analysis.evidence.batch_evidence import Evidence, PieceEvidence
from soakwitness.analysis.evidence.hardness_at_stages import stage_value

Group = tuple[Evidence, tuple[PieceEvidence, ...]]
CLEARLY_SOFT_HRC = 1.5


def groups_of(evidence: Evidence) -> tuple[Group, ...]:
    """Evidence for each group of suspects, with all suspects that have the same to explain, in whichever run.

    The largest group comes first. Pieces of the other groups are neither suspects nor good ones in it.
    """
    patterns = _by_pattern(evidence)
    found: list[Group] = []
    for alike in patterns:
        runs = dict.fromkeys(p.harden for p in alike)
        known = [r for r in runs if r in evidence.runs]
        for run in known or [None]:
            own = tuple(p for p in alike if run is None or p.harden == run)
            order = tuple(dict.fromkeys([*([run] if run else []), *evidence.suspect_runs]))
            found.append((replace(evidence, suspects=own, suspect_runs=order), alike))
    if len(found) <= 1:
        return ((evidence, evidence.suspects),)
    return tuple(sorted(found, key=lambda g: -len(g[0].suspects)))


def _by_pattern(evidence: Evidence) -> list[tuple[PieceEvidence, ...]]:
    """Suspects parted by whether they were soft as quenched; else by their tempers, where those differ."""
    if len(evidence.suspects) < 2:
        return [evidence.suspects]
    usual = [v for p in (*evidence.good, *evidence.siblings) if (v := stage_value(p, "as quenched")) is not None]
    first = {p.id: stage_value(p, "as quenched") for p in evidence.suspects}
    if usual and all(v is not None for v in first.values()):
        middle = median(usual)
        soft = tuple(p for p in evidence.suspects if (first[p.id] or 0.0) <= middle - CLEARLY_SOFT_HRC)
        well = tuple(p for p in evidence.suspects if (first[p.id] or 0.0) > middle - TOLD_APART_HRC)
        if soft and well and len(soft) + len(well) == len(evidence.suspects):
            return [soft, well]
        return [evidence.suspects]
    if any(v is not None for v in first.values()):
        return [evidence.suspects]
    return _by_tempers(evidence)


def _by_tempers(evidence: Evidence) -> list[tuple[PieceEvidence, ...]]:
    """Some tempered with the good ones of their run, others not: two things may have happened."""
    beside = {p.tempers for p in evidence.siblings if p.tempers}
    same = tuple(p for p in evidence.suspects if p.tempers in beside)
    other = tuple(p for p in evidence.suspects if p.tempers and p.tempers not in beside)
    if same and other and len(same) + len(other) == len(evidence.suspects):
        return [same, other]
    return [evidence.suspects]
