"""Findings on what the run or its record lacks: hold missing, run ended early, not on record, wrong unit suspected."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from soakwitness.analysis.recipes.model import Hold, Ramp, Recipe
from soakwitness.analysis.traces import COLDEST_C, HOTTEST_C
from soakwitness.analysis.verification.absence import Absence
from soakwitness.analysis.verification.edges import Readings
from soakwitness.analysis.verification.findings.view import View, duration
from soakwitness.analysis.verification.model import Finding, HoldResult, Severity
from soakwitness.analysis.verification.placing import place_holds


def find(view: View, absences: dict[int, Absence]) -> list[Finding]:
    """All findings of this topic.

    Parameters
    ----------
    view : View
        The verification.
    absences : dict
        Why holds are absent, by step.

    Returns
    -------
    list of Finding
        In the order of the steps.
    """
    found: list[Finding] = []
    for hold in view.holds:
        if not hold.found:
            found.append(_absent(view, hold, absences[hold.step]))
    return [*found, *_cut_short(view)]


def _absent(view: View, hold: HoldResult, absence: Absence) -> Finding:
    severity: Severity = "note" if not hold.judged else "fail" if absence.shown else "warn"
    if absence.kind == "wrong unit":
        return Finding(
            "wrong unit suspected",
            "warn",
            hold.step,
            f"The {view.hold_words(hold)} is not there, but {absence.says}: the readings look like the other unit.",
            "Check the unit of the readings; import again with --unit F or C as it is.",
        )
    if absence.kind in ("ended", "cut"):
        what = "run" if absence.kind == "ended" else "record"
        return Finding(
            "run ended early",
            severity,
            hold.step,
            f"The {what} ended before the {view.hold_words(hold)}: {absence.says}.",
            "Look for a power cut, an alarm or an aborted program at that time.",
            at_s=absence.at_s,
        )
    if absence.kind == "missing":
        return Finding(
            "hold missing",
            severity,
            hold.step,
            f"The {view.hold_words(hold)} is missing: {absence.says}.",
            "Check the program in the controller against: soakwitness recipe program.",
            at_s=absence.at_s,
        )
    return Finding(
        "not on record",
        "note" if not hold.judged else "warn",
        hold.step,
        f"The {view.hold_words(hold)} is not on record: {absence.says}.",
        "If another logger has that time, import its file: not on record is not proven, nor is it missing.",
        at_s=absence.at_s,
    )


def _cut_short(view: View) -> list[Finding]:
    """The record ends inside a hold."""
    scene = view.scene
    for hold, placed in zip(view.holds, scene.placed, strict=True):
        if placed is not None and placed.edges is not None and not placed.edges.left and hold.soak_s is not None:
            return [
                Finding(
                    "run ended early",
                    "warn" if hold.judged else "note",
                    hold.step,
                    f"The record ends inside the {view.hold_words(hold)}, after {duration(hold.soak_s.best)} of "
                    f"{duration(hold.required_s)} soak.",
                    "Record until the furnace has cooled, or mark the pull.",
                    at_s=scene.end_s,
                )
            ]
    return []


def in_other_unit(view: View) -> tuple[int, str] | None:
    """Look for the recipe's holds at their numbers in the other unit.

    Parameters
    ----------
    view : View
        The verification.

    Returns
    -------
    tuple or None
        How many more holds are found so, and in words what they look like; None if not more.

    Notes
    -----
    A reading in degF taken for degC stands at 1.8 T + 32 of the target T (1050 degC looks like 1922), one in degC taken
    for degF at (T - 32) / 1.8; rates and tolerances differ by 1.8.
    """
    now = sum(p is not None and p.edges is not None for p in view.scene.placed)
    as_written = _as_written(view)
    for scale, words in (
        (1.8, "the trace stands where degrees F would"),
        (1 / 1.8, "the trace stands where degrees C read as F would"),
    ):
        recipe = _in_unit(view.scene.recipe, scale)
        placed = place_holds(as_written, recipe)
        there = sum(p is not None and p.edges is not None for p in placed)
        if there > now and there >= max(1, len(placed) // 2):
            pairs = [
                f"{view.temp(shown.target_c)} for {view.temp(meant.target_c)}"
                for p, shown, meant in zip(placed, recipe.holds, view.scene.recipe.holds, strict=True)
                if p is not None
            ]
            return there - now, f"{words} ({', '.join(pairs)})"
    return None


def _as_written(view: View) -> Readings:
    """The chamber's readings, those kept too that no thermocouple can make in degC: 1922 is 1050 degC in degF."""
    scene = view.scene
    value = scene.run.values.get(scene.chamber_name)
    if value is None or np.nanmax(value) <= HOTTEST_C:
        return scene.chamber
    possible = np.isfinite(value) & (value >= COLDEST_C) & (value <= HOTTEST_C * 1.8 + 32.0)
    return replace(scene.chamber, t_s=scene.run.t_s[possible], temp_c=value[possible], thin=None)


def _in_unit(recipe: Recipe, scale: float) -> Recipe:
    def temp(c: float) -> float:
        return c * 1.8 + 32.0 if scale > 1 else (c - 32.0) / 1.8

    def step(s: Ramp | Hold) -> Ramp | Hold:
        if isinstance(s, Ramp):
            rate = None if s.rate_c_per_h is None else s.rate_c_per_h * scale
            return replace(s, to_c=temp(s.to_c), rate_c_per_h=rate)
        return replace(s, target_c=temp(s.target_c), below_c=s.below_c * scale, above_c=s.above_c * scale)

    return replace(recipe, steps=tuple(step(s) for s in recipe.steps))
