"""What the hardness pattern says for and against a cause. Careful: many causes leave the same pattern."""

from __future__ import annotations

from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.stage_changes import TOLD_APART_HRC
from soakwitness.analysis.audit.contrasts.weighing import FAIR, HINT, LIGHT, Scale


def soft_as_quenched(case: Case, scale: Scale) -> None:
    """Weigh a cause that would make pieces soft as quenched, and leave them so."""
    first, last = case.as_quenched, case.final
    if first.direction == "low":
        scale.speaks_for(LIGHT, f"They were soft already as quenched: {first.says}.")
    elif first.direction == "normal" and (first.change or 0.0) > -TOLD_APART_HRC:
        scale.speaks_against(FAIR, f"As quenched they were as hard as they should be: {first.says}.")
    elif last.direction == "low":
        scale.speaks_for(HINT, f"They are soft: {last.says}.")
        scale.lacks("Hardness as quenched, which would tell hardening from tempering.")
    if last.direction == "high":
        scale.speaks_against(FAIR, f"They are too hard, not too soft: {last.says}.")


def soft_after_temper(case: Case, scale: Scale) -> None:
    """Weigh a cause that takes hardness away after a good quench."""
    first, last = case.as_quenched, case.final
    if last.direction == "low":
        scale.speaks_for(LIGHT if first.direction == "normal" else HINT, f"They are soft in the end: {last.says}.")
    after = case.changes.after
    if after is not None and after <= -TOLD_APART_HRC and first.direction != "normal":
        scale.speaks_for(HINT, f"Between quench and end they lost {-after:.1f} points more than the good ones.")
    elif first.direction == "low":
        scale.speaks_against(FAIR, f"They were soft before any temper: {first.says}.")
    if last.direction == "high":
        scale.speaks_against(FAIR, f"They are too hard, not too soft: {last.says}.")


def hard_in_the_end(case: Case, scale: Scale) -> None:
    """Weigh a cause that leaves pieces too hard."""
    last = case.final
    if last.direction == "high":
        scale.speaks_for(LIGHT, f"They are too hard in the end: {last.says}.")
    elif last.direction == "low":
        scale.speaks_against(FAIR, f"They are too soft, not too hard: {last.says}.")
