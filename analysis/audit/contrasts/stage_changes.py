"""What happened to hardness beside the good ones, and at which stage: as quenched, in the cold, in the temper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

from soakwitness.analysis.audit.contrasts.dose import Stage
from soakwitness.analysis.evidence.batch_evidence import PieceEvidence
from soakwitness.analysis.evidence.hardness_at_stages import after_cold_value, stage_value

TOLD_APART_HRC = 1.0
"""A difference smaller than this has no "most likely": two readings of one tester differ by as much."""


@dataclass(frozen=True)
class Changes:
    """Suspects minus good ones [HRC], negative for softer; None where not known.

    ``cold``, ``temper``, ``after``: what a step did to the suspects minus what it did to the good ones, so that what
    was there before it, and a tester that was off throughout, falls out. ``uneven``: widest range over one piece.
    """

    as_quenched: float | None = None
    cold: float | None = None
    temper: float | None = None
    after: float | None = None
    final: float | None = None
    uneven: float = 0.0

    def at(self, stage: Stage) -> float | None:
        """What a cause that acts at a stage has to explain."""
        whole = self.final if self.final is not None else self.as_quenched
        if stage == "hardening":
            return self.as_quenched if self.as_quenched is not None else self.final
        if stage in ("cold", "temper"):
            own = self.cold if stage == "cold" else self.temper
            if own is not None:
                return own
        if stage in ("after", "cold", "temper"):
            if self.after is not None:
                return self.after
            return None if self.final is None else self.final - (self.as_quenched or 0.0)
        return whole

    @property
    def largest(self) -> float | None:
        """The change that is to be explained: in the end, or as quenched where the end came out well."""
        return max((c for c in (self.final, self.as_quenched) if c is not None), key=abs, default=None)


def changes(
    suspects: Sequence[PieceEvidence],
    good: Sequence[PieceEvidence],
    *,
    as_quenched: float | None,
    final: float | None,
    uneven: float = 0.0,
) -> Changes:
    """What the steps did to suspects and to good ones; ``as_quenched``, ``final``: differences there [HRC]."""
    after = _step(suspects, good, _after)
    cold, temper = _step(suspects, good, cold_gain), _step(suspects, good, temper_loss)
    return Changes(as_quenched, cold, temper, after, final, uneven)


def cold_gain(piece: PieceEvidence) -> float | None:
    """What the cold treatment brought [HRC]."""
    return _minus(after_cold_value(piece), stage_value(piece, "as quenched"))


def temper_loss(piece: PieceEvidence) -> float | None:
    """What the tempers changed after the cold treatment [HRC], negative as a rule."""
    return _minus(stage_value(piece, "final"), after_cold_value(piece))


def _after(piece: PieceEvidence) -> float | None:
    return _minus(stage_value(piece, "final"), stage_value(piece, "as quenched"))


def _minus(later: float | None, earlier: float | None) -> float | None:
    return None if later is None or earlier is None else later - earlier


def _step(
    suspects: Sequence[PieceEvidence], good: Sequence[PieceEvidence], get: Callable[[PieceEvidence], float | None]
) -> float | None:
    own, theirs = ([v for p in part if (v := get(p)) is not None] for part in (suspects, good))
    return median(own) - median(theirs) if own and theirs else None
